//! What the page shows: the sheet as cards, what is heard of it, what was found.

use serde::Serialize;
use sheet::Step;
use ts_rs::TS;

use super::{Codec, Ear, Hearing};

/// Everything that the page shows apart from the sound itself.
#[derive(Clone, Debug, Serialize, TS)]
pub struct View {
    /// The song and the state of its sheet.
    pub song: Song,
    /// Named passages, in order.
    pub sections: Vec<Section>,
    /// Stems, then buses, in the order of the sheet.
    pub nodes: Vec<Node>,
    /// What is printed.
    pub prints: Vec<Print>,
    /// Names of references.
    pub references: Vec<String>,
    /// What was printed before, newest first, then versions that were rendered to be heard.
    pub earlier: Vec<Earlier>,
    /// What is heard, and how.
    pub hearing: Hearing,
    /// The machine's sound device that plays; none where the page does.
    pub device: Option<String>,
    /// Codecs that it can be heard through.
    pub codecs: Vec<Codec>,
    /// What is heard of the network.
    pub ear: Ear,
    /// What is wrong with the sheet or worth knowing.
    pub findings: Vec<Finding>,
    /// Whether the sheet is still the one that advice was given on; none while nobody has asked for any.
    pub advice_holds: Option<bool>,
    /// What listeners have written, by time.
    pub notes: Vec<Note>,
    /// Versions of the sheet that were kept, the newest first.
    pub versions: Vec<Version>,
    /// Processors that a chain can take: name and title.
    pub catalogue: Vec<Offer>,
}

/// The song.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Song {
    /// Title.
    pub title: String,
    /// Artist.
    pub artist: String,
    /// Sample rate.
    pub rate_hz: u32,
    /// Length without the tail.
    pub length_s: f64,
    /// How long it sounds on.
    pub tail_s: f64,
    /// Name of the sheet's file.
    pub sheet: String,
    /// Whether something was changed since it was saved.
    pub unsaved: bool,
    /// What undoing would take back, in words.
    pub undo: Option<String>,
    /// What would be done again.
    pub redo: Option<String>,
    /// Whether the file was changed by somebody else while changes here are unsaved.
    pub changed_outside: bool,
    /// Whether changes of an earlier session were never saved and can be taken up.
    pub unsaved_before: bool,
}

/// A named passage: it lasts until the next.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Section {
    /// Name.
    pub name: String,
    /// Start.
    pub from_s: f64,
}

/// What a node is on the map.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "lowercase")]
#[ts(rename_all = "lowercase")]
pub enum Role {
    /// A recording.
    Source,
    /// A sum on the main way.
    Bus,
    /// A sum that only sends feed.
    Return,
}

/// A stem or bus.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Node {
    /// Name.
    pub name: String,
    /// What it is on the map.
    pub role: Role,
    /// The bus it goes to.
    pub to: Option<String>,
    /// Buses that get a copy.
    pub sends: Vec<String>,
    /// Whether the sheet silences it.
    pub mute: bool,
    /// Whether silence in it is no fault.
    pub expect_silence: bool,
    /// Its card.
    pub card: Card,
}

/// A print.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Print {
    /// Name.
    pub name: String,
    /// The bus it draws from.
    pub from: String,
    /// Its card.
    pub card: Card,
}

/// Everything of one node or print, as sentences.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Card {
    /// Where its chain stands in the sheet: entries are put there.
    #[ts(type = "(string | number)[]")]
    pub chain: Vec<Step>,
    /// What it does beside its chain.
    pub sentence: Vec<Phrase>,
    /// Its copies to other buses.
    pub sends: Vec<Send>,
    /// Its processors, in order.
    pub processors: Vec<Processor>,
    /// Numbers that move over the song.
    pub rides: Vec<Ride>,
}

/// A copy to another bus.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Send {
    /// Where it stands in the sheet.
    #[ts(type = "(string | number)[]")]
    pub path: Vec<Step>,
    /// The bus.
    pub to: String,
    /// How it is taken.
    pub sentence: Vec<Phrase>,
}

/// A processor of a chain.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Processor {
    /// Where it stands in the sheet.
    #[ts(type = "(string | number)[]")]
    pub path: Vec<Step>,
    /// Its name in the sheet.
    pub name: String,
    /// Its name in text.
    pub title: String,
    /// What it is for.
    pub summary: String,
    /// What to be careful about.
    pub caution: String,
    /// Whether it is taken out.
    pub off: bool,
    /// Where its figure is, if it has one; another address for other settings.
    pub figure: Option<String>,
    /// Its settings.
    pub sentence: Vec<Phrase>,
    /// What it listens to, if that can be something else than its own input.
    pub key: Option<Key>,
    /// Parameters that the sentence does not name.
    pub more: Vec<Control>,
    /// What its rows are called, if it has rows: `bands`, `band`.
    pub rows_name: Option<(String, String)>,
    /// Its rows.
    pub rows: Vec<Row>,
}

/// What a processor listens to.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Key {
    /// Where it stands in the sheet.
    #[ts(type = "(string | number)[]")]
    pub path: Vec<Step>,
    /// The stem or bus; none for its own input.
    pub of: Option<String>,
}

/// A row of a processor, for instance a band.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Row {
    /// Where it stands in the sheet.
    #[ts(type = "(string | number)[]")]
    pub path: Vec<Step>,
    /// Its settings.
    pub sentence: Vec<Phrase>,
    /// Parameters that the sentence does not name.
    pub more: Vec<Control>,
}

/// A number that moves over the song.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Ride {
    /// Where it stands in the sheet.
    #[ts(type = "(string | number)[]")]
    pub path: Vec<Step>,
    /// What moves, as the sheet writes it: `level_db`.
    pub what: String,
    /// Times in seconds and values.
    pub points: Vec<(f64, f64)>,
}

/// A part of a sentence.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Phrase {
    /// Whether everything in it is at rest: the sentence is whole without it.
    pub at_rest: bool,
    /// Words and controls.
    pub pieces: Vec<Piece>,
}

/// Words, or a control in their midst.
#[derive(Clone, Debug, Serialize, TS)]
#[serde(rename_all = "lowercase")]
#[ts(rename_all = "lowercase")]
pub enum Piece {
    /// Words.
    Words(String),
    /// A control.
    Control(Control),
}

/// Something that can be set.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Control {
    /// Where it stands in the sheet.
    #[ts(type = "(string | number)[]")]
    pub path: Vec<Step>,
    /// Its name in plain words: `threshold`.
    pub name: String,
    /// What it does to the sound.
    pub sentence: String,
    /// What it takes, and its value.
    pub takes: Takes,
    /// Whether a ride moves it: the value here does not count.
    pub ridden: bool,
}

/// What a control takes.
#[derive(Clone, Debug, Serialize, TS)]
#[serde(tag = "kind", rename_all = "lowercase")]
#[ts(rename_all = "lowercase")]
pub enum Takes {
    /// A number in a range.
    Number {
        /// Value.
        value: f64,
        /// Symbol of its unit, or nothing.
        unit: String,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
        /// Value at rest.
        rest: f64,
        /// Whether equal ratios, not equal steps, sound alike (frequencies, times).
        by_ratio: bool,
    },
    /// One word of several.
    Choice {
        /// The word.
        value: String,
        /// All words.
        options: Vec<String>,
    },
    /// On or off.
    Switch {
        /// State.
        value: bool,
    },
    /// A file's path from the sheet's folder.
    File {
        /// Path, if one is named.
        value: Option<String>,
    },
}

/// A print of a past revision, or of a version of the sheet.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Earlier {
    /// Its name among the programmes.
    pub name: String,
    /// The print.
    pub print: String,
    /// The revision, `r002`, or the version's name.
    pub revision: String,
    /// What the run was called.
    pub label: Option<String>,
    /// Whether it is a version of the sheet, rendered to be heard.
    pub is_version: bool,
}

/// A processor that can be put into a chain.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Offer {
    /// Its name in the sheet.
    pub name: String,
    /// Its name in text.
    pub title: String,
    /// What it is for.
    pub summary: String,
}

/// A note of a listener.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Note {
    /// Its letter on the strip.
    pub letter: String,
    /// Where it stands in the song as it is now.
    pub at_s: f64,
    /// Where it ends, for a span.
    pub to_s: Option<f64>,
    /// Who wrote it.
    pub who: String,
    /// The print that was heard.
    pub version: String,
    /// What it says.
    pub text: String,
    /// `open`, `done` or `declined`.
    pub state: String,
    /// What the engineer says to it.
    pub answer: Option<String>,
}

/// A version of the sheet that was kept under a name.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Version {
    /// Its name.
    pub name: String,
    /// When it was kept: seconds since 1970, universal time.
    pub kept_s: f64,
}

/// One result of a check.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Finding {
    /// `note`, `warn` or `fail`.
    pub severity: String,
    /// Code.
    pub code: String,
    /// What it is about.
    pub at: String,
    /// What is the matter.
    pub message: String,
    /// What to do.
    pub remedy: String,
    /// Where in the song, if it is about a place in it.
    pub at_s: Option<f64>,
    /// The revision that it was found in; none for what is found in the sheet as it is now.
    pub revision: Option<String>,
    /// Whether advice has found it.
    pub advised: bool,
}
