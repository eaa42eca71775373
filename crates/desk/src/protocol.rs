//! What the page and the desk say to each other, each message once. `examples/protocol.rs` writes the page's types from
//! here, and a test holds them equal.

use serde::{Deserialize, Serialize};
use sheet::{Edit, Step};
use ts_rs::TS;

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
    /// What is heard, and how.
    pub hearing: Hearing,
    /// What is heard of the network.
    pub ear: Ear,
    /// What is wrong with the sheet or worth knowing.
    pub findings: Vec<Finding>,
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
    /// Its copies to other buses, a sentence each.
    pub sends: Vec<Vec<Phrase>>,
    /// Its processors, in order.
    pub processors: Vec<Processor>,
    /// Numbers that move over the song.
    pub rides: Vec<Ride>,
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
    /// Its settings.
    pub sentence: Vec<Phrase>,
    /// Parameters that the sentence does not name.
    pub more: Vec<Control>,
    /// What its rows are called, if it has rows: `bands`, `band`.
    pub rows_name: Option<(String, String)>,
    /// Its rows.
    pub rows: Vec<Row>,
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

/// One result of a check.
#[derive(Clone, Debug, Serialize, TS)]
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
}

/// What is played of what stands at the end: the listening sentence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
pub struct Hearing {
    /// Name of a print or reference.
    pub programme: String,
    /// Whether all are turned down to the loudness of the quietest.
    pub matched: bool,
    /// What it is heard through.
    pub through: Through,
    /// Passage that is played over and over, in seconds.
    pub span_s: Option<(f64, f64)>,
    /// Level of listening.
    pub monitor_db: f64,
}

/// What a programme is heard through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(rename_all = "kebab-case")]
#[ts(rename_all = "kebab-case")]
pub enum Through {
    /// As it is.
    Nothing,
    /// Both channels as one.
    Mono,
    /// Only what differs between the channels, in both.
    Side,
    /// One small speaker: no bass, no air, one channel.
    SmallSpeaker,
}

/// What is heard of the network. It never reaches a print.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, TS)]
pub struct Ear {
    /// Nodes that are heard alone, in their place.
    pub alone: Vec<String>,
    /// Nodes that are silent.
    pub silent: Vec<String>,
    /// Processors that are left out: node or print, and place in its chain.
    pub without: Vec<(String, usize)>,
}

/// What the page asks for.
#[derive(Clone, Debug, Deserialize, TS)]
#[serde(tag = "ask", rename_all = "lowercase")]
#[ts(rename_all = "lowercase")]
pub enum Asked {
    /// Play on.
    Play,
    /// Stop where it is.
    Pause,
    /// Go to a place.
    Seek {
        /// Seconds from the start of the song.
        to_s: f64,
    },
    /// Hear something, or in another way.
    Hear {
        /// All of it.
        hearing: Hearing,
    },
    /// Hear more or less of the network.
    Listen {
        /// All of it.
        ear: Ear,
    },
    /// Change the sheet.
    Edit {
        /// Changes, one after the other: all are made, or none.
        #[ts(type = "Edit[]")]
        edits: Vec<Edit>,
        /// What is done, in words, for undoing.
        words: String,
        /// Whether it goes on with the change before, as while a number is drawn.
        goes_on: bool,
    },
    /// Take the last change back.
    Undo,
    /// Make it again.
    Redo,
    /// Write the sheet.
    Save,
    /// Take the file as it is now, instead of the changes here.
    Reload,
    /// Take up the changes that an earlier session did not save.
    Recover,
    /// Print the sheet as it is saved.
    Print,
}

/// What the page is told.
#[derive(Clone, Debug, Serialize, TS)]
#[serde(tag = "tell", rename_all = "lowercase")]
#[ts(rename_all = "lowercase")]
pub enum Told {
    /// Everything, after each change.
    View {
        /// The view.
        view: Box<View>,
    },
    /// What sounds now, twenty times a second.
    Now {
        /// The state.
        now: Now,
    },
    /// The loudness of everything over the song, whenever it has been surveyed.
    Sounds {
        /// It.
        sounds: Sounds,
    },
    /// Something cannot be done.
    Refused {
        /// Why, and what to do.
        finding: Finding,
    },
    /// Work under way.
    Progress {
        /// What is done.
        what: String,
        /// The part that is done, 0 to 1.
        part: f64,
    },
    /// A print run has ended.
    Printed {
        /// The revision: `r003`.
        revision: String,
        /// Whether no finding stands in the way.
        sound: bool,
    },
}

/// What sounds now.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub struct Now {
    /// Whether it plays.
    pub playing: bool,
    /// Place in the song.
    pub at_s: f64,
    /// For each node of the view: momentary and short-term loudness at its output.
    pub nodes: Vec<(Option<f64>, Option<f64>)>,
    /// For each print, then each reference.
    pub programmes: Vec<(Option<f64>, Option<f64>)>,
    /// Gain reduction: node or print, place in its chain, dB.
    pub reductions: Vec<(String, usize, f64)>,
    /// What is heard, ahead of matching and monitor level.
    pub heard: Meters,
    /// Gain of matching, without the monitor level.
    pub matched_db: f64,
}

/// Meters of what is heard since it started or jumped.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub struct Meters {
    /// Momentary loudness.
    pub momentary_lufs: Option<f64>,
    /// Short-term loudness.
    pub short_term_lufs: Option<f64>,
    /// Integrated loudness.
    pub integrated_lufs: Option<f64>,
    /// Loudness range.
    pub loudness_range_lu: Option<f64>,
    /// Highest true peak.
    pub true_peak_dbtp: Option<f64>,
    /// Peak over short-term loudness, of the last 3 s.
    pub psr_db: Option<f64>,
    /// Correlation of left and right in the last 0.4 s.
    pub correlation: Option<f64>,
    /// The same below 200 Hz.
    pub low_correlation: Option<f64>,
}

/// The loudness of everything over the song.
#[derive(Clone, Debug, Default, Serialize, TS)]
pub struct Sounds {
    /// Steps a second in the histories.
    pub a_second: f64,
    /// Prints, then references.
    pub programmes: Vec<Sound>,
    /// Stems and buses.
    pub nodes: Vec<Sound>,
}

/// The loudness of one thing over the song.
#[derive(Clone, Debug, Serialize, TS)]
pub struct Sound {
    /// Its name.
    pub name: String,
    /// Integrated loudness.
    pub integrated_lufs: Option<f64>,
    /// Loudness range.
    pub loudness_range_lu: Option<f64>,
    /// True peak.
    pub true_peak_dbtp: Option<f64>,
    /// Momentary loudness, from the first frame on.
    pub momentary_lufs: Vec<Option<f32>>,
}

/// The page's types.
#[must_use]
pub fn as_typescript() -> String {
    let config = ts_rs::Config::default();
    let mut text = String::from(
        "// Made by `cargo run -p desk --example protocol` from crates/desk/src/protocol.rs. Change that, not this.\n\n\
         export type Path = (string | number)[];\n\
         export type Plain = boolean | number | string | Plain[] | { [key: string]: Plain };\n\
         export type Edit =\n  | { edit: \"set\"; path: Path; value: Plain }\n  | { edit: \"insert\"; path: Path; at: number; \
         value: Plain }\n  | { edit: \"remove\"; path: Path }\n  | { edit: \"move\"; path: Path; to: number }\n  | { edit: \
         \"rename\"; from: string; to: string };\n",
    );
    let all = [
        View::decl(&config),
        Song::decl(&config),
        Section::decl(&config),
        Role::decl(&config),
        Node::decl(&config),
        Print::decl(&config),
        Card::decl(&config),
        Processor::decl(&config),
        Row::decl(&config),
        Ride::decl(&config),
        Phrase::decl(&config),
        Piece::decl(&config),
        Control::decl(&config),
        Takes::decl(&config),
        Offer::decl(&config),
        Finding::decl(&config),
        Hearing::decl(&config),
        Through::decl(&config),
        Ear::decl(&config),
        Asked::decl(&config),
        Told::decl(&config),
        Now::decl(&config),
        Meters::decl(&config),
        Sounds::decl(&config),
        Sound::decl(&config),
    ];
    for declaration in all {
        text.push_str("\nexport ");
        text.push_str(&declaration);
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_page_has_these_types() {
        let written = include_str!("../../pages/web/desk/protocol.ts");
        let rerun = "run `cargo run -p desk --example protocol > crates/pages/web/desk/protocol.ts`";
        assert!(written == super::as_typescript(), "{rerun}");
    }
}
