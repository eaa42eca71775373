//! What a recall sheet says, as plain data.
//!
//! Everything is resolved as far as the text alone allows: times are seconds, values are inside their ranges, every
//! name that is referred to exists. Names keep the place where they were written, so that a later check can point there.

use std::collections::BTreeSet;
use std::fmt;
use std::ops::Deref;

use units::{At, Place, Problem, Settings};

use crate::keys;

mod prints;

pub use prints::{
    Album, Alternate, CodecChoice, Dither, Dynamics, FileFormat, FileSpec, Loudness, Print, StemGroup, StemPrint,
};

/// A name as the sheet writes it, and where. It reads like a `str`: `node.to.as_deref()` is an `Option<&str>`.
#[derive(Clone, Debug)]
pub struct Name {
    text: String,
    place: Place,
}

impl Name {
    /// A name at a place.
    #[must_use]
    pub fn new(text: impl Into<String>, place: Place) -> Self {
        Self { text: text.into(), place }
    }

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// Where it is written.
    #[must_use]
    pub fn place(&self) -> Place {
        self.place
    }
}

impl From<&str> for Name {
    /// A name that no text holds, for code and tests: its place is the start of the text.
    fn from(text: &str) -> Self {
        Self::new(text, Place::of("", 0..0))
    }
}

impl Deref for Name {
    type Target = str;

    fn deref(&self) -> &str {
        &self.text
    }
}

impl PartialEq for Name {
    fn eq(&self, other: &Self) -> bool {
        self.text == other.text
    }
}

impl PartialEq<str> for Name {
    fn eq(&self, other: &str) -> bool {
        self.text == other
    }
}

impl PartialEq<&str> for Name {
    fn eq(&self, other: &&str) -> bool {
        self.text == *other
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// A whole recall sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// The song.
    pub song: Song,
    /// Files to listen or measure against.
    pub references: Vec<Reference>,
    /// Named passages, in order of time.
    pub sections: Vec<Section>,
    /// The console colour that ends the chain of every stem without one of its own.
    pub console: Option<Link>,
    /// The network: stems, then buses, each in the order of the text.
    pub nodes: Vec<Node>,
    /// What is printed.
    pub prints: Vec<Print>,
    /// Other versions of prints.
    pub alternates: Vec<Alternate>,
    /// Prints in parts.
    pub stem_prints: Vec<StemPrint>,
    /// Findings that the engineer has accepted, with the reason.
    pub accepted: Vec<Accepted>,
}

impl Sheet {
    /// Index and definition of a stem or bus by its name.
    #[must_use]
    pub fn node(&self, name: &str) -> Option<(usize, &Node)> {
        self.nodes.iter().enumerate().find(|(_, node)| node.name == *name)
    }

    /// The stems, in order.
    pub fn stems(&self) -> impl Iterator<Item = &Node> {
        self.nodes.iter().filter(|node| node.is_stem())
    }

    /// The buses, in order.
    pub fn buses(&self) -> impl Iterator<Item = &Node> {
        self.nodes.iter().filter(|node| !node.is_stem())
    }

    /// The processors that a node really has: its chain, and the song's console where the chain of a stem has none.
    pub fn processors<'a>(&'a self, node: &'a Node) -> impl Iterator<Item = &'a Link> {
        let of_song = self.console.as_ref().filter(|console| {
            let is_console = |link: &Link| link.settings.spec() == console.settings.spec();
            node.is_stem() && !node.chain.iter().any(is_console)
        });
        node.chain.iter().chain(of_song)
    }

    /// The family of a stem or bus, as indices: itself and all that is routed to it, through buses too. Sends do not
    /// make a family.
    #[must_use]
    pub fn family(&self, name: &str) -> Vec<usize> {
        let mut family: Vec<usize> = self.node(name).into_iter().map(|(index, _)| index).collect();
        let mut next = 0;
        while let Some(bus) = family.get(next).copied() {
            next += 1;
            let to_it = |node: &Node| node.to.as_ref() == Some(&self.nodes[bus].name);
            let found: Vec<usize> =
                (0..self.nodes.len()).filter(|index| to_it(&self.nodes[*index]) && !family.contains(index)).collect();
            family.extend(found);
        }
        family
    }

    /// The stems of a family: what a stem or bus stands for where sound is told by where it comes from. None for a bus
    /// that only sends feed.
    pub fn stems_of(&self, name: &str) -> impl Iterator<Item = &Node> {
        let stems: Vec<&Node> =
            self.family(name).into_iter().map(|index| &self.nodes[index]).filter(|node| node.is_stem()).collect();
        stems.into_iter()
    }

    /// Every audio file that it names, from its folder: of stems, references and processors.
    #[must_use]
    pub fn files(&self) -> BTreeSet<&str> {
        let of_stems = self.stems().filter_map(|stem| stem.file().map(Name::as_str));
        let of_references = self.references.iter().map(|reference| reference.file.as_str());
        let chains = self.nodes.iter().map(|node| &node.chain).chain(self.prints.iter().map(|print| &print.chain));
        let values = chains.flatten().flat_map(|link| link.settings.values());
        let of_processors = values.filter_map(|value| match value {
            units::Value::File(file) => file.as_deref(),
            _ => None,
        });
        of_stems.chain(of_references).chain(of_processors).collect()
    }

    /// The print of a name.
    #[must_use]
    pub fn print(&self, name: &str) -> Option<&Print> {
        self.prints.iter().find(|print| print.name == *name)
    }

    /// The reference of a name.
    #[must_use]
    pub fn reference(&self, name: &str) -> Option<&Reference> {
        self.references.iter().find(|reference| reference.name == *name)
    }

    /// The entry that accepts a finding: same code, and same place or any.
    #[must_use]
    pub fn acceptance(&self, finding: &Problem) -> Option<&Accepted> {
        let covers = |a: &&Accepted| a.code == *finding.code && a.at.as_ref().is_none_or(|at| *at == finding.at);
        self.accepted.iter().find(covers)
    }
}

/// The song and what its labels say.
#[derive(Clone, Debug, PartialEq)]
pub struct Song {
    /// Title.
    pub title: String,
    /// Artist.
    pub artist: String,
    /// Sample rate of the whole network.
    pub rate_hz: u32,
    /// Tempo in quarter notes a minute, for `bar|beat` times, note values and labels; none if the sheet does not say.
    pub tempo_bpm: Option<f64>,
    /// Beats in a bar, and the note that is one beat (4 = quarter note).
    pub time_signature: (u32, u32),
    /// Album.
    pub album: Option<String>,
    /// Recording code (ISO 3901), 12 characters without hyphens.
    pub isrc: Option<String>,
    /// Musical key, in words.
    pub key: Option<String>,
    /// Writer.
    pub writer: Option<String>,
    /// Producer.
    pub producer: Option<String>,
    /// Mixer.
    pub mixer: Option<String>,
    /// Whom to ask.
    pub contact: Option<String>,
    /// Date, `YYYY-MM-DD`.
    pub date: Option<String>,
    /// Artist's initials for file names.
    pub artist_initials: Option<String>,
    /// Mixer's initials for file names.
    pub mixer_initials: Option<String>,
    /// Time of day of the first frame, for the time reference of broadcast wave files.
    pub start_secs: f64,
}

impl Song {
    /// The tempo that note values follow: a usual one where the sheet names none.
    #[must_use]
    pub fn pulse_bpm(&self) -> f64 {
        self.tempo_bpm.unwrap_or(keys::USUAL_TEMPO_BPM)
    }
}

/// A file to listen or measure against.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    /// Name.
    pub name: Name,
    /// Path from the sheet's folder.
    pub file: Name,
}

/// A named passage: it lasts until the next one starts.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Name.
    pub name: Name,
    /// Start.
    pub from_secs: f64,
}

/// A stem or a bus. The signal runs: sum of inputs (or the file), trim, polarity, delay, chain, *pre tap*, pan, level,
/// *post tap*, `to`. A muted node gives silence at both taps and at `to`.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// Name, unique among stems and buses.
    pub name: Name,
    /// Stem or bus.
    pub kind: NodeKind,
    /// The bus it goes to; none for a bus that only prints draw from.
    pub to: Option<Name>,
    /// Gain ahead of the chain.
    pub trim_db: f64,
    /// Whether polarity is inverted.
    pub inverted: bool,
    /// Delay on purpose.
    pub delay_ms: f64,
    /// Balance: -100 left, 0 centre, 100 right.
    pub pan_percent: f64,
    /// Level after the chain.
    pub level_db: f64,
    /// Whether it is silenced.
    pub mute: bool,
    /// Processors in order.
    pub chain: Vec<Link>,
    /// Copies to other buses.
    pub sends: Vec<Send>,
    /// Movements.
    pub rides: Vec<Ride>,
}

impl Node {
    /// Whether it is a stem.
    #[must_use]
    pub fn is_stem(&self) -> bool {
        matches!(self.kind, NodeKind::Stem { .. })
    }

    /// The path of its file, if it is a stem.
    #[must_use]
    pub fn file(&self) -> Option<&Name> {
        match &self.kind {
            NodeKind::Stem { file, .. } => Some(file),
            NodeKind::Bus => None,
        }
    }

    /// Where the sheet names it.
    #[must_use]
    pub fn place(&self) -> Place {
        self.name.place()
    }
}

/// What feeds a node.
#[derive(Clone, Debug, PartialEq)]
pub enum NodeKind {
    /// A recording.
    Stem {
        /// Path from the sheet's folder.
        file: Name,
        /// Time in the song at which the file starts.
        from_secs: f64,
        /// Whether silence in it is no fault.
        expect_silence: bool,
    },
    /// The sum of what is sent and routed here.
    Bus,
}

/// One processor in a chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Link {
    /// Its parameters.
    pub settings: Settings,
    /// Whether it is bypassed. It still takes its time, so that switching it moves nothing else.
    pub off: bool,
    /// The stem or bus it listens to instead of its own input.
    pub key: Option<Name>,
    /// Where its name stands.
    pub place: Place,
}

/// A copy to another bus.
#[derive(Clone, Debug, PartialEq)]
pub struct Send {
    /// The bus.
    pub to: Name,
    /// Where it is taken.
    pub tap: Tap,
    /// Level on top of the tap.
    pub level_db: f64,
}

/// Where a send is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tap {
    /// After the chain, ahead of pan and level.
    Pre,
    /// After pan and level.
    Post,
}

/// A movement of one number over the song.
#[derive(Clone, Debug, PartialEq)]
pub struct Ride {
    /// What moves.
    pub what: Target,
    /// (seconds, value), in order of time: straight lines between, held outside.
    pub points: Vec<(f64, f64)>,
    /// For the node's level and levels of sends: what the sends drive is driven as before, and the buses that they
    /// lead to move instead.
    pub hold_drive: bool,
    /// Where `what` is written.
    pub place: Place,
}

/// What a ride moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Target {
    /// The node's `level_db`.
    Level,
    /// The node's `trim_db`.
    Trim,
    /// The node's `pan_percent`.
    Pan,
    /// The `level_db` of a send, by its index.
    SendLevel(usize),
    /// A number of a processor.
    Processor {
        /// Index in the chain.
        link: usize,
        /// Parameter.
        at: At,
    },
}

/// A finding that the engineer has accepted.
#[derive(Clone, Debug, PartialEq)]
pub struct Accepted {
    /// Its code.
    pub code: Name,
    /// What it is about; any, when the sheet is silent.
    pub at: Option<String>,
    /// Why.
    pub reason: String,
}
