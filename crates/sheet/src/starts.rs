//! Starting points: complete chains for tasks, in our own words, each with what it does to the demo song.
//!
//! Each is a file in `starts/`, read by the reader of chains, so that what stands there is what a sheet may hold.
//! `starts/measured.toml` is written by the check that measures them and never by hand.

use std::fmt::Write as _;

use serde::Serialize;
use units::{Problem, Severity, Spec};

use crate::edit::{Edit, Plain, Step};
use crate::model::{Link, Sheet};
use crate::nearest::nearest;
use crate::reader::{self, read_start};
use crate::tree::{self, Tree, Written};

/// The files, in the order in which lists show them: main path, returns, parts, endings.
const FILES: [&str; 14] = [
    include_str!("../starts/weight-and-brightness.toml"),
    include_str!("../starts/gentle-glue.toml"),
    include_str!("../starts/low-end-in-the-middle.toml"),
    include_str!("../starts/crushed-copy.toml"),
    include_str!("../starts/push-without-the-voice.toml"),
    include_str!("../starts/room-behind-the-band.toml"),
    include_str!("../starts/short-wide-delay.toml"),
    include_str!("../starts/dirt-as-harmonics.toml"),
    include_str!("../starts/hall-for-a-few-players.toml"),
    include_str!("../starts/slap-for-a-voice.toml"),
    include_str!("../starts/softer-esses.toml"),
    include_str!("../starts/drums-that-hit.toml"),
    include_str!("../starts/bass-for-small-speakers.toml"),
    include_str!("../starts/loud-tape-ending.toml"),
];

/// What each does to the demo song: name = sentence.
const MEASURED: &str = include_str!("../starts/measured.toml");

/// Room for a line of text.
const COLUMNS: usize = 96;

/// A complete chain for a task. As JSON, its chain is the text.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Start {
    /// What it is called.
    pub name: String,
    /// What it is for, in one sentence.
    pub task: String,
    /// The kinds of music that it suits.
    pub suits: String,
    /// The stem or bus whose chain it joins, that feeds it, or that its print draws from.
    pub at: String,
    /// Where it goes.
    #[serde(flatten)]
    pub spot: Spot,
    /// Its processors.
    #[serde(skip)]
    pub chain: Vec<Link>,
    /// The same as TOML, as it would stand in a sheet.
    #[serde(rename = "chain")]
    pub chain_text: String,
    /// What to listen for and to adjust first.
    pub adjust: String,
    /// What to be careful about.
    pub caution: Option<String>,
    /// What it does to the demo song, measured.
    pub measured: String,
}

/// Where a starting point goes.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "lowercase", tag = "place")]
pub enum Spot {
    /// Into the chain of a stem or bus.
    Insert,
    /// On a bus of its own beside the path.
    Return {
        /// The bus's name.
        bus: String,
        /// Its level, to blend from.
        level_db: f64,
    },
    /// At the end of a print of its own.
    Ending {
        /// The print's name.
        print: String,
        /// The loudness that it asks for.
        lufs: f64,
    },
}

/// All starting points.
///
/// # Panics
/// If one of our own files is wrong, which a test rules out.
#[must_use]
pub fn starts(catalogue: &[&'static Spec]) -> Vec<Start> {
    let measured = tree::parse(MEASURED).expect("measured.toml is TOML");
    let sentence = |name: &str| measured.get(name).and_then(|entry| entry.item.text()).unwrap_or_default().to_owned();
    let read = |text: &&str| read_start(text, catalogue).unwrap_or_else(|problems| panic!("{text}\n{problems:#?}"));
    FILES.iter().map(read).map(|start| Start { measured: sentence(&start.name), ..start }).collect()
}

/// The starting point of a name, in small or large letters.
///
/// # Errors
/// If there is none: the nearest right name, or all of them.
pub fn start(name: &str, catalogue: &[&'static Spec]) -> Result<Start, Box<Problem>> {
    let all = starts(catalogue);
    if let Some(found) = all.iter().find(|start| start.name.eq_ignore_ascii_case(name.trim())) {
        return Ok(found.clone());
    }
    let names = || all.iter().map(|start| start.name.as_str());
    let remedy = match nearest(name, names()) {
        Some(near) => format!("Did you mean “{near}”?"),
        None => format!("There are {}.", names().collect::<Vec<_>>().join(", ")),
    };
    let message = format!("There is no starting point called “{name}”.");
    Err(Box::new(Problem::new(Severity::Fail, "unknown-start", name, message, remedy)))
}

impl Start {
    /// One sentence for each processor, from the processors' own templates.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let one = |link: &Link| {
            let settings = &link.settings;
            format!("{}: {}.", settings.spec().title, settings.whole_sentence())
        };
        self.chain.iter().map(one).collect()
    }

    /// The piece of a sheet that it is, with its words as comments above it.
    #[must_use]
    pub fn fragment(&self) -> String {
        let mut text = String::new();
        comment(&mut text, &self.task);
        comment(&mut text, &format!("On the demo song: {}", self.measured));
        self.sentences().iter().for_each(|sentence| comment(&mut text, &format!("- {sentence}")));
        comment(&mut text, &format!("Adjust: {}", self.adjust));
        if let Some(caution) = &self.caution {
            comment(&mut text, &format!("Mind: {caution}"));
        }
        let (at, chain) = (&self.at, &self.chain_text);
        let _ = match &self.spot {
            Spot::Insert => {
                write!(text, "\n# For `{at}`, or add its lines to the chain that is there:\nchain = {chain}\n")
            }
            Spot::Return { bus, level_db } => write!(
                text,
                "\n[[bus]]\nname = {}\nto = \"mix\"\nlevel_db = {}\nchain = {chain}\n\n# And for `{at}`, which feeds \
                 it:\n# sends = [{{ to = {} }}]\n",
                Plain::from(bus.as_str()),
                Plain::from(*level_db),
                Plain::from(bus.as_str()),
            ),
            Spot::Ending { print, lufs } => write!(
                text,
                "\n[[print]]\nname = {}\nkind = \"approval\"\nfrom = {}\nchain = {chain}\nloudness = {{ lufs = {} }}\n\
                 files = [{{ format = \"wav\", bits = 24 }}]\n",
                Plain::from(print.as_str()),
                Plain::from(at.as_str()),
                Plain::from(*lufs),
            ),
        };
        text
    }

    /// A sheet's text with the starting point in it; nothing else of the text moves. It goes to the stem or bus `at`,
    /// or where it usually goes. The text must be that of the sheet.
    ///
    /// # Errors
    /// If the sheet has no such place, or would not read afterwards.
    pub fn into_text(
        &self,
        text: &str,
        sheet: &Sheet,
        at: Option<&str>,
        catalogue: &[&'static Spec],
    ) -> Result<String, Box<Problem>> {
        let mut after = text.to_owned();
        for edit in self.edits(sheet, at.unwrap_or(&self.at))? {
            after = edit.apply(&after)?;
        }
        match reader::read(&after, catalogue) {
            (Some(_), _) => Ok(after),
            (None, problems) => Err(Box::new(problems.into_iter().next().unwrap_or_else(|| {
                let remedy = "Paste it by hand.".to_owned();
                Problem::new(Severity::Fail, "start", &self.name, "The sheet would not read.".to_owned(), remedy)
            }))),
        }
    }

    fn edits(&self, sheet: &Sheet, at: &str) -> Result<Vec<Edit>, Box<Problem>> {
        let Some((_, node)) = sheet.node(at) else {
            let message = format!("The sheet has no stem or bus called “{at}”, where {} goes.", self.name);
            let names: Vec<&str> = sheet.nodes.iter().map(|node| node.name.as_str()).collect();
            let remedy = match nearest(at, names.iter().copied()) {
                Some(near) => format!("Name another with --at, for instance “{near}”."),
                None => format!("Name another with --at: {}.", names.join(", ")),
            };
            return Err(Box::new(Problem::new(Severity::Fail, "unknown-name", at, message, remedy)));
        };
        let of_node = |key: &str| [if node.is_stem() { "stem" } else { "bus" }, at, key].map(Step::from).to_vec();
        let links = plain_chain(&self.chain_text);
        Ok(match &self.spot {
            Spot::Insert => {
                let insert =
                    |(index, value)| Edit::Insert { path: of_node("chain"), at: node.chain.len() + index, value };
                links.into_iter().enumerate().map(insert).collect()
            }
            Spot::Return { bus, level_db } => {
                let bus = free(bus, |name| sheet.node(name).is_some());
                let to = sheet.prints.first().map(|print| &print.from).or(node.to.as_ref());
                let to = to.map_or("mix", |to| to.as_str());
                let entry = Plain::table([
                    ("name", Plain::from(bus.as_str())),
                    ("to", Plain::from(to)),
                    ("level_db", Plain::from(*level_db)),
                    ("chain", Plain::List(links)),
                ]);
                let send = Plain::table([("to", Plain::from(bus.as_str()))]);
                vec![
                    Edit::Insert { path: vec!["bus".into()], at: sheet.buses().count(), value: entry },
                    Edit::Insert { path: of_node("sends"), at: node.sends.len(), value: send },
                ]
            }
            Spot::Ending { print, lufs } => {
                let print = free(print, |name| sheet.prints.iter().any(|print| print.name == *name));
                let file = Plain::table([("format", Plain::from("wav")), ("bits", Plain::from(24.0))]);
                let entry = Plain::table([
                    ("name", Plain::from(print.as_str())),
                    ("kind", Plain::from("approval")),
                    ("from", Plain::from(at)),
                    ("chain", Plain::List(links)),
                    ("loudness", Plain::table([("lufs", Plain::from(*lufs))])),
                    ("files", Plain::List(vec![file])),
                ]);
                vec![Edit::Insert { path: vec!["print".into()], at: sheet.prints.len(), value: entry }]
            }
        })
    }
}

/// The name, or with a number behind it if it is taken.
fn free(wanted: &str, taken: impl Fn(&str) -> bool) -> String {
    let numbered = (2..).map(|number| format!("{wanted} {number}"));
    std::iter::once(wanted.to_owned()).chain(numbered).find(|name| !taken(name)).unwrap_or_default()
}

/// The processors of a chain's text as values.
fn plain_chain(text: &str) -> Vec<Plain> {
    let table = tree::parse(&format!("chain = {text}"));
    let chain = table.ok().and_then(|table| table.get("chain").map(|entry| plain(&entry.item)));
    if let Some(Plain::List(links)) = chain { links } else { Vec::new() }
}

fn plain(written: &Written) -> Plain {
    match &written.value {
        Tree::Table(table) => {
            Plain::Table(table.entries.iter().map(|entry| (entry.key.clone(), plain(&entry.item))).collect())
        }
        Tree::List(items, _) => Plain::List(items.iter().map(plain).collect()),
        Tree::Text(text) | Tree::Date(text) => Plain::Text(text.clone()),
        Tree::Number(number) => Plain::Number(*number),
        Tree::Switch(on) => Plain::Switch(*on),
    }
}

/// Adds a comment, broken into lines.
fn comment(text: &mut String, words: &str) {
    let mut line = String::from("#");
    for word in words.split(' ') {
        if line.chars().count() + 1 + word.chars().count() > COLUMNS {
            let _ = writeln!(text, "{line}");
            line = String::from("#  ");
        }
        line.push(' ');
        line.push_str(word);
    }
    let _ = writeln!(text, "{line}");
}

#[cfg(test)]
mod tests;
