//! Blind tests of two sounds: one is A, one is B, and X is one of them by lot, anew in each round. Who hears no
//! difference guesses, and is right in half of the rounds.
//!
//! The result is the exact one-sided binomial probability of as many right answers by guessing. How many rounds there are
//! is settled before the first: a test that ends when it looks good proves nothing.

use std::io;
use std::path::{Path, PathBuf};

use engine::Fault;
use prints::load::put;
use serde::{Deserialize, Serialize};

use crate::ballot::tail;
use crate::hold::hold;

/// The format of the file.
pub const FORMAT: u32 = 1;
/// A difference counts as heard if guessing does as well in fewer of all tests. The usual level of significance: Rec.
/// ITU-R BS.1534-3.
pub const CHANCE: f64 = 0.05;
/// Fewest and most rounds: with fewer than five, even a test without an error says nothing (1/16 > [`CHANCE`]).
pub const ROUNDS: [usize; 2] = [5, 100];
/// A listener who is right this often stands for those whom a test may miss. Common practice, no source.
const OFTEN: f64 = 0.7;

/// One of the two.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The first.
    A,
    /// The second.
    B,
}

/// A round: what X was, and what the listener took it for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Round {
    /// What X was.
    pub x: Side,
    /// What was answered.
    pub answer: Side,
}

/// A blind test as it was held, without a verdict.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BlindTest {
    /// What A was, in words.
    pub a: String,
    /// What B was, in words.
    pub b: String,
    /// The passage: start and end in seconds.
    pub passage_secs: [f64; 2],
    /// By how much each was turned down, so that both were equally loud.
    pub turned_down_db: [f64; 2],
    /// Rounds that were to be held.
    pub planned: usize,
    /// Rounds that were held, in order.
    pub rounds: Vec<Round>,
    /// When it ended, in universal time.
    pub written: String,
}

/// What a whole test says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// Rounds.
    pub rounds: usize,
    /// Right answers.
    pub right: usize,
    /// Probability of at least as many right answers by guessing: the one-sided binomial tail with p = 1/2.
    pub probability: f64,
    /// Whether the difference was heard.
    pub heard: bool,
    /// How often a test of so many rounds misses a listener who is right in seven rounds of ten.
    pub missed: f64,
}

impl BlindTest {
    /// What it says; none if it was left early.
    #[must_use]
    pub fn verdict(&self) -> Option<Verdict> {
        let rounds = self.rounds.len();
        if rounds < self.planned || rounds == 0 {
            return None;
        }
        let right = self.rounds.iter().filter(|round| round.x == round.answer).count();
        let probability = tail(rounds, right, 0.5);
        let missed = 1.0 - least_right(rounds).map_or(0.0, |least| tail(rounds, least, OFTEN));
        Some(Verdict { rounds, right, probability, heard: probability < CHANCE, missed })
    }

    /// What it says, in sentences.
    #[must_use]
    pub fn sentence(&self) -> String {
        match self.verdict() {
            Some(verdict) => verdict.sentence(),
            None => format!("Left after {} of {} rounds: nothing follows from it.", self.rounds.len(), self.planned),
        }
    }
}

/// Least right answers in so many rounds that count as heard; none if all would not.
fn least_right(rounds: usize) -> Option<usize> {
    (0..=rounds).find(|right| tail(rounds, *right, 0.5) < CHANCE)
}

impl Verdict {
    /// In sentences.
    #[must_use]
    pub fn sentence(&self) -> String {
        let Self { rounds, right, probability, heard, missed } = self;
        let told = format!(
            "Right in {right} of {rounds} rounds; guessing does as well in {} of 100 tests.",
            in_hundred(*probability)
        );
        if *heard {
            return format!("{told} The difference was heard.");
        }
        format!(
            "{told} That shows no difference, and does not show that there is none: who is right in seven rounds of ten is \
             missed by {} of 100 such tests.",
            in_hundred(*missed)
        )
    }
}

/// A probability as tests of a hundred, with so many places that something is left of it.
fn in_hundred(probability: f64) -> String {
    let hundred = 100.0 * probability;
    match hundred {
        x if x >= 10.0 => format!("{x:.0}"),
        x if x >= 0.1 => format!("{x:.1}"),
        _ => "fewer than 0.1".to_owned(),
    }
}

/// All blind tests of a song.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct BlindTests {
    /// Version of this format.
    pub fairprint_blind: u32,
    /// The tests, oldest first.
    pub tests: Vec<BlindTest>,
}

/// Where the blind tests of a sheet's song lie: `sheet.blind.json` beside `sheet.toml`.
#[must_use]
pub fn path_of(sheet: &Path) -> PathBuf {
    sheet.with_extension("blind.json")
}

/// The blind tests of a sheet's song; none yet if there is no file.
///
/// # Errors
/// The file is there and cannot be read.
pub fn load(sheet: &Path) -> Result<BlindTests, Fault> {
    let path = path_of(sheet);
    let at = path.display().to_string();
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return Ok(BlindTests { fairprint_blind: FORMAT, tests: Vec::new() });
        }
        Err(error) => return Err(prints::disk_fault(&path, &error)),
    };
    let refused = |why: String| {
        let message = format!("{at} is no file of blind tests: {why}.");
        Fault::input("faulty-blind-tests", &at, message, "Mend it, or move it away: a new one is begun.".to_owned())
    };
    let found: BlindTests = serde_json::from_str(&text).map_err(|error| refused(error.to_string()))?;
    if found.fairprint_blind == FORMAT {
        Ok(found)
    } else {
        Err(refused(format!("it has the format {}, and {FORMAT} is known", found.fairprint_blind)))
    }
}

/// Adds a test to the file beside the sheet, in one step.
///
/// # Errors
/// The file that is there cannot be read, or the folder cannot be written.
pub fn keep(sheet: &Path, test: &BlindTest) -> Result<(), Fault> {
    let path = path_of(sheet);
    let _held = hold(&path)?;
    let mut all = load(sheet)?;
    all.tests.push(test.clone());
    let text = serde_json::to_string_pretty(&all).unwrap_or_default() + "\n";
    put(&path, text.as_bytes()).map_err(|error| prints::disk_fault(&path, &error))
}

#[cfg(test)]
mod tests;
