//! What the page and the desk say to each other, each message once. `examples/protocol.rs` writes the page's types from
//! here, and a test holds them equal.

use serde::{Deserialize, Serialize};
use sheet::Edit;
use ts_rs::TS;

mod blind;
mod through;
mod typescript;
mod view;

pub use blind::*;
pub use through::*;
pub use typescript::as_typescript;
pub use view::*;

/// What is played of what stands at the end: the listening sentence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
pub struct Hearing {
    /// Name of a print, a reference or a print of before.
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

/// A card that lies open, and the passage that is heard.
#[derive(Clone, Debug, PartialEq, Deserialize, TS)]
pub struct Opened {
    /// Name of a stem, bus or print.
    pub name: String,
    /// Start of the passage.
    pub from_s: f64,
    /// Its end.
    pub to_s: f64,
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
    /// Weigh what a part adds to a passage, now and after each change.
    Open {
        /// The card and the passage.
        opened: Opened,
    },
    /// Keep the sheet as it is now under a name.
    Keep {
        /// The name.
        name: String,
    },
    /// Say what has changed since a version was kept.
    Differ {
        /// Its name.
        name: String,
    },
    /// Go back to a version.
    Take {
        /// Its name.
        name: String,
    },
    /// Render a version, so that it can be heard.
    Render {
        /// Its name.
        name: String,
    },
    /// Give advice on the sheet as it is now.
    Advise,
    /// Tell the whole view: something was missed.
    View,
    /// Print the sheet as it is saved.
    Print,
    /// A sound level meter was read.
    Room {
        /// What it reads at the ears while the song plays, in dBA; none to forget it.
        dba: Option<f64>,
    },
    /// Do something in a blind test.
    Blind {
        /// What.
        blindly: Blindly,
    },
}

/// What the page is told.
#[derive(Clone, Debug, Serialize, TS)]
#[serde(tag = "tell", rename_all = "lowercase")]
#[ts(rename_all = "lowercase")]
pub enum Told {
    /// Everything.
    View {
        /// Counts views.
        number: u32,
        /// The view.
        #[ts(type = "View")]
        view: serde_json::Value,
    },
    /// What is different from the view before, after each change.
    Changed {
        /// The number of the view as it is now.
        number: u32,
        /// RFC 6902.
        #[ts(type = "Operation[]")]
        patch: json_patch::Patch,
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
    /// How much the ears have had, now and then while it plays.
    Exposure {
        /// In sentences; none while nobody has measured.
        sentence: Option<String>,
    },
    /// How the blind test stands, after each step of it.
    Blind {
        /// It, if there is one.
        blind: Option<Blind>,
        /// Those that were held before, newest first.
        before: Vec<BlindBefore>,
    },
    /// What has changed since a version was kept.
    Differs {
        /// It.
        differs: Differs,
    },
    /// What the part whose card lies open adds, whenever it has been weighed.
    Adds {
        /// It.
        adds: Adds,
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
    /// Whether the plain sound is heard because what a codec makes of it is not there yet.
    pub plain: bool,
    /// The part of its time that 10 ms of sound took to compute since the last report: on average, at worst, and at worst
    /// without what it waited for the processor.
    pub effort: (f64, f64, f64),
    /// How often sound waited for recordings that came late from the disk.
    pub late: u32,
    /// Momentary and short-term loudness as it leaves the desk. The page has no use for it.
    #[serde(skip)]
    #[ts(skip)]
    pub played: (Option<f64>, Option<f64>),
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
    /// The same in each octave, with its middle in Hz.
    pub octave_correlations: Vec<(f64, Option<f64>)>,
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

/// What has changed since a version was kept.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Differs {
    /// The version.
    pub name: String,
    /// Where, and what, in words.
    pub changes: Vec<(String, String)>,
}

/// What a part adds to a passage of the song.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub struct Adds {
    /// Name of the stem, bus or print.
    pub name: String,
    /// What was heard of the passage.
    pub span_s: (f64, f64),
    /// The print that it was heard in; none if it reaches no print.
    pub print: Option<String>,
    /// The print with it against the print without it.
    pub whole: Figures,
    /// The bus that it joins, and its loudness there over that of all else.
    pub over_rest: Option<(String, f64)>,
    /// Each processor of its chain; none for one that is taken out.
    pub processors: Vec<Option<Added>>,
}

/// What a processor adds.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Added {
    /// Behind it against ahead of it.
    pub in_place: Figures,
    /// The print with it against the print without it.
    pub in_print: Figures,
}

/// A change in words and in numbers; bands are stated at matched loudness.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub struct Figures {
    /// It as a sentence.
    pub sentence: String,
    /// Integrated loudness.
    pub loudness_lu: Option<f64>,
    /// Level below 250 Hz, from there to 4 kHz, and above.
    pub low_mid_high_db: [Option<f64>; 3],
    /// Crest factor.
    pub crest_db: Option<f64>,
    /// Side over mid.
    pub width_db: Option<f64>,
}
