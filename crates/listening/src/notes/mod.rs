//! What listeners send back: notes at moments, approvals of a print, results of blind ballots.
//!
//! One format serves the file that a listener sends and the file beside the sheet that collects them all: JSON with the
//! version `fairprint_notes`. Every entry has an id that the page drew at random, so that a file may be added twice, and
//! files of several people in any order, without duplicates. Only the engineer's side writes `state` and `answer`.

mod add;
mod read;
mod store;
mod times;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use add::{Added, add};
pub use read::{LARGEST_FILE_BYTES, LONGEST_TEXT, MOST_ENTRIES, read};
pub use store::{change, keep_starts, load, path_of, previous_of, save};
pub use times::{learn_starts, place};

/// The format of the file.
pub const FORMAT: u32 = 1;

/// Everything that came back about a song.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Notes {
    /// Version of this format.
    pub fairprint_notes: u32,
    /// Title of the song.
    #[serde(default)]
    pub title: String,
    /// Notes.
    #[serde(default)]
    pub notes: Vec<Note>,
    /// Approvals.
    #[serde(default)]
    pub approvals: Vec<Approval>,
    /// Blind ballots.
    #[serde(default)]
    pub ballots: Vec<Ballot>,
    /// By how many seconds the song starts later in a revision than in the first of this list.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub starts: BTreeMap<String, f64>,
}

/// A note at a moment or over a span.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Note {
    /// Drawn at random by the page.
    pub id: String,
    /// Who wrote it.
    pub who: String,
    /// The revision that was heard: `r001`.
    pub revision: String,
    /// The version that was heard: a print's name.
    pub version: String,
    /// Start, in seconds of that revision.
    pub at_secs: f64,
    /// End, for a span.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_secs: Option<f64>,
    /// What it says.
    pub text: String,
    /// When it was last written, in universal time.
    pub written: String,
    /// What became of it.
    #[serde(default)]
    pub state: State,
    /// What the engineer says to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answer: Option<String>,
    /// When that was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answered: Option<String>,
}

/// What became of a note.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// Nothing yet.
    #[default]
    Open,
    /// It was followed.
    Done,
    /// It was not followed, for the reason in the answer.
    Declined,
}

impl State {
    /// In a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Done => "done",
            Self::Declined => "declined",
        }
    }
}

/// Somebody's word that a print is the one.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Approval {
    /// Drawn at random by the page.
    pub id: String,
    /// Who approves.
    pub who: String,
    /// The revision.
    pub revision: String,
    /// The print.
    pub version: String,
    /// SHA-256 of the print's file, in hexadecimal.
    pub sha256: String,
    /// When, in universal time.
    pub written: String,
}

/// A blind ballot as it was held: which version was chosen in each round, without a verdict. [`crate::ballot`] judges.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ballot {
    /// Drawn at random by the page.
    pub id: String,
    /// Who listened.
    pub who: String,
    /// The revision.
    pub revision: String,
    /// The looped passage: start and end in seconds.
    pub passage_secs: [f64; 2],
    /// The versions that could be chosen.
    pub versions: Vec<String>,
    /// By how much the listener moved each version, in dB on top of matched loudness, before the first round.
    #[serde(default)]
    pub trims_db: BTreeMap<String, f64>,
    /// The rounds, in order.
    pub rounds: Vec<Round>,
    /// When, in universal time.
    pub written: String,
}

/// One choice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Round {
    /// How loud the versions were.
    pub loudness: Loudness,
    /// The versions in the order in which they stood on the page.
    pub order: Vec<String>,
    /// The one that was chosen.
    pub chose: String,
}

/// How loud the versions of a round were.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Loudness {
    /// All at the same loudness.
    Matched,
    /// Each as it will be delivered.
    Delivered,
}

impl Notes {
    /// An empty collection for a song.
    #[must_use]
    pub fn of(title: &str) -> Self {
        Self { fairprint_notes: FORMAT, title: title.to_owned(), ..Self::default() }
    }

    /// Approvals of a print's file.
    pub fn approvals_of<'a>(&'a self, sha256: &'a str) -> impl Iterator<Item = &'a Approval> {
        self.approvals.iter().filter(move |approval| approval.sha256 == sha256)
    }

    /// Says what became of the note whose id starts so, and what the engineer has to say.
    ///
    /// # Errors
    /// No note has such an id, or more than one.
    pub fn answer(&mut self, id: &str, state: State, answer: &str, now: &str) -> Result<&Note, engine::Fault> {
        let meant: Vec<usize> = (0..self.notes.len()).filter(|i| self.notes[*i].id.starts_with(id)).collect();
        let (at, remedy) = match (&meant[..], id) {
            ([at], _) => (Some(*at), ""),
            ([], _) | (_, "") => (None, "`fairprint notes SHEET list` shows the notes with their ids."),
            _ => (None, "More than one note starts so: give more of its id."),
        };
        let Some(at) = at else {
            let message = format!("No one note has the id “{id}”.");
            return Err(engine::Fault::input("unknown-note", id, message, remedy.to_owned()));
        };
        let note = &mut self.notes[at];
        note.state = state;
        note.answer = (!answer.trim().is_empty()).then(|| read::inert(answer.trim()));
        note.answered = Some(now.to_owned());
        Ok(note)
    }
}

/// Answers a note of a song's collection: [`Notes::answer`].
///
/// # Errors
/// No note has such an id, or more than one.
pub fn answer(notes: &mut Notes, id: &str, state: State, words: &str) -> Result<Note, engine::Fault> {
    notes.answer(id, state, words, &crate::now()).cloned()
}

#[cfg(test)]
mod tests;
