//! What the page is told: everything it shows, and how to play it. `web/listening/song.ts` reads the same.

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::audio::{Audio, Cut, FADE_FRAMES};
use crate::notes::{Approval, Notes, State, place};
use crate::revision::Heard;
use crate::versions::{Placed, gains};

/// Format of what the page is told.
const FORMAT: u32 = 1;

/// The song of a page.
#[derive(Debug, Serialize)]
pub(crate) struct Song {
    pub format: u32,
    /// Names this page among others, for what it keeps in the browser.
    pub page: String,
    pub title: String,
    pub artist: String,
    pub revision: String,
    pub label: Option<String>,
    pub date: String,
    pub secs: f64,
    pub sections: Vec<Section>,
    pub matched_lufs: f64,
    pub versions: Vec<SongVersion>,
    pub audio: SongAudio,
    pub notes: Vec<SongNote>,
    pub approvals: Vec<Approval>,
}

#[derive(Debug, Serialize)]
pub(crate) struct Section {
    pub name: String,
    pub at_secs: f64,
}

#[derive(Debug, Serialize)]
pub(crate) struct SongVersion {
    pub name: String,
    /// None for what cannot be approved: it is not a print of ours.
    pub sha256: Option<String>,
    pub lufs: f64,
    pub peak_dbtp: f64,
    pub matched_db: f64,
    pub delivered_db: f64,
    pub silhouette: Vec<u8>,
}

#[derive(Debug, Serialize)]
pub(crate) struct SongAudio {
    pub rate_hz: u32,
    pub frames: u64,
    pub piece_frames: u64,
    pub before_frames: u32,
    pub fade_frames: u32,
    /// In words: `MP3 at 256 kbit/s`.
    pub words: String,
    /// Whether the pieces stand in the page itself; otherwise each is a file in `audio/`.
    pub inside: bool,
}

/// A note that came back, with what became of it.
#[derive(Debug, Serialize)]
pub(crate) struct SongNote {
    pub id: String,
    pub who: String,
    pub revision: String,
    pub version: String,
    /// In this revision's time; none where the song's start cannot be told.
    pub at_secs: Option<f64>,
    pub to_secs: Option<f64>,
    pub text: String,
    pub state: State,
    pub answer: Option<String>,
}

impl Song {
    pub fn of(heard: &Heard, placed: &[Placed], notes: &Notes, audio: Audio, cut: Cut, inside: bool) -> Self {
        let (matched_lufs, gains) = gains(placed);
        let version = |(placed, gains): (&Placed, &crate::versions::Gains)| SongVersion {
            name: placed.version.name.clone(),
            sha256: placed.version.sha256.clone(),
            lufs: hundredths(placed.lufs),
            peak_dbtp: hundredths(placed.peak_dbtp),
            matched_db: hundredths(gains.matched_db),
            delivered_db: hundredths(gains.delivered_db),
            silhouette: placed.silhouette.clone(),
        };
        Self {
            format: FORMAT,
            page: page_id(heard),
            title: heard.title.clone(),
            artist: heard.artist.clone(),
            revision: heard.revision.clone(),
            label: heard.label.clone(),
            date: heard.date.clone(),
            secs: heard.secs(),
            sections: heard.sections.iter().map(|(name, at)| Section { name: name.clone(), at_secs: *at }).collect(),
            matched_lufs,
            versions: placed.iter().zip(&gains).map(version).collect(),
            audio: SongAudio {
                rate_hz: cut.rate_hz,
                frames: cut.frames,
                piece_frames: cut.piece_frames(),
                before_frames: audio.margins()[0],
                fade_frames: FADE_FRAMES,
                words: audio.words(),
                inside,
            },
            notes: notes.notes.iter().map(|note| song_note(notes, note, heard)).collect(),
            approvals: notes.approvals.iter().filter(|given| given.revision == heard.revision).cloned().collect(),
        }
    }

    /// As text that can stand in an HTML page: nothing in it can end its element.
    pub fn to_text(&self) -> String {
        serde_json::to_string(self).unwrap_or_else(|_| "{}".to_owned()).replace('<', "\\u003c")
    }
}

fn song_note(notes: &Notes, note: &crate::notes::Note, heard: &Heard) -> SongNote {
    let here =
        |secs: f64| place(notes, secs, &note.revision, &heard.revision).map(|secs| secs.clamp(0.0, heard.secs()));
    SongNote {
        id: note.id.clone(),
        who: note.who.clone(),
        revision: note.revision.clone(),
        version: note.version.clone(),
        at_secs: here(note.at_secs),
        to_secs: note.to_secs.and_then(here),
        text: note.text.clone(),
        state: note.state,
        answer: note.answer.clone(),
    }
}

/// Loudness and gains to a hundredth: a tenth of what the page is held to.
fn hundredths(db: f64) -> f64 {
    (db * 100.0).round() / 100.0
}

fn page_id(heard: &Heard) -> String {
    let mut hash = Sha256::new();
    for part in [&heard.title, &heard.artist, &heard.revision, &heard.date] {
        hash.update(part.as_bytes());
        hash.update([0]);
    }
    hash.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}
