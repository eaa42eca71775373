//! A blind test, as the page asks for it and sees it. Nothing that the page is told says what X is.

use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::Through;

/// One of the two sounds that are compared.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize, TS)]
pub struct Compared {
    /// Name of a print or reference.
    pub programme: String,
    /// Whether all of the network is heard, or what is heard of it now.
    pub all: bool,
    /// What it is heard through.
    pub through: Through,
}

/// What can be listened to in a blind test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(rename_all = "lowercase")]
#[ts(rename_all = "lowercase")]
pub enum Unknown {
    /// The first.
    A,
    /// The second.
    B,
    /// One of the two.
    X,
}

/// What is done in a blind test.
#[derive(Clone, Debug, Deserialize, TS)]
#[serde(tag = "act", rename_all = "lowercase")]
#[ts(rename_all = "lowercase")]
pub enum Blindly {
    /// Begin one.
    Begin {
        /// A and B.
        sides: [Compared; 2],
        /// How many rounds it has.
        rounds: usize,
    },
    /// Listen to one of the three.
    Hear {
        /// Which.
        what: Unknown,
    },
    /// Say what X is: A, or else B.
    Answer {
        /// Whether it is A.
        is_a: bool,
    },
    /// Leave it, or put its result aside.
    Leave,
}

/// A blind test as the page sees it.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Blind {
    /// What A and B are, in words.
    pub sides: [String; 2],
    /// The passage, in seconds.
    pub passage_s: (f64, f64),
    /// Rounds.
    pub rounds: usize,
    /// Rounds that are answered.
    pub answered: usize,
    /// Whether both have been rendered.
    pub ready: bool,
    /// What is heard.
    pub hears: Option<Unknown>,
    /// What it says, once all is answered.
    pub outcome: Option<String>,
}

/// A test that was held before.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct BlindBefore {
    /// When it ended.
    pub written: String,
    /// What A and B were.
    pub sides: [String; 2],
    /// What it says.
    pub outcome: String,
}
