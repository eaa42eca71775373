//! What is left in an a cappella that nobody sings: instruments that were forgotten, noise, and what could not be split.
//!
//! An alternate is an a cappella if its name says so, or if it keeps nothing but stems whose names are those of voices. A
//! return that only removed stems feed falls silent with them; what feeds the others is told. Two passages of the song
//! prove the rest:
//!
//! - with **free** dynamics the network plays with every stem silent: what sounds then is noise;
//! - with **held** dynamics and `mute`, the residue goes along (see `docs/stems.md`): what tape made of all stems together,
//!   and noise. With `only` it does not.
//!
//! Both are stated over what is kept. Below -60 dB nobody hears them under a voice: common practice, no source.

use engine::{Fault, Folder, Plan, Port, Role, Setup, Sink, Stream, Taken};
use serde::Serialize;
use sheet::{Alternate, Dynamics, Sheet};
use units::{Frame, Problem, Severity, db_from_power};

use super::taps::reached_by;
use super::twins::Named;
use crate::intake::{Group, group_of};
use crate::parts;
use crate::returns::returns_of;

/// Words of a name that make an alternate an a cappella, without blanks.
const NAMES: [&str; 3] = ["acappella", "acapella", "accapella"];
/// What is heard, and what runs ahead of it and is not counted, in seconds.
const PASSAGE_S: f64 = 3.0;
const AHEAD_S: f64 = 1.0;
/// From here on what is left is worth a warning.
const LEFT_DB: f64 = -60.0;

/// A return of an a cappella that still sounds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StillFed {
    /// The return.
    pub name: String,
    /// The kept stems that feed it.
    pub by: Vec<String>,
}

/// What an a cappella holds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeftoverRecord {
    /// The alternate.
    pub alternate: String,
    /// The stems that it keeps.
    pub kept: Vec<String>,
    /// Those whose names are those of instruments.
    pub instruments: Vec<String>,
    /// The returns that still sound.
    pub returns: Vec<StillFed>,
    /// What no kept stem makes, in power over what they make; none where nothing is left.
    pub left_db: Option<f64>,
}

/// What all of them share.
pub(super) struct Listening<'a> {
    pub sheet: &'a Sheet,
    pub plan: &'a Plan,
    pub sources: &'a Folder,
    pub threads: usize,
    /// Stems as they were heard behind their faders.
    pub stems: &'a Named<'a>,
    /// The gain of a print whose loudness is sought.
    pub gain_db: &'a dyn Fn(&str) -> Option<f64>,
}

impl Listening<'_> {
    /// The records of all a cappellas of a sheet.
    pub(super) fn records(&self) -> Result<Vec<LeftoverRecord>, Fault> {
        let mut all = Vec::new();
        for alternate in &self.sheet.alternates {
            let Some(port) = self.plan.prints.iter().find(|port| *port.name == *alternate.of) else { continue };
            let muted = parts::changes(self.sheet, self.plan, port, alternate).muted;
            let kept: Vec<String> =
                parts::heard(self.plan, port).into_iter().filter(|stem| !muted.contains(stem)).collect();
            if is_a_cappella(alternate, &kept) {
                all.push(self.record(alternate, port, kept, &muted)?);
            }
        }
        Ok(all)
    }

    fn record(
        &self,
        alternate: &Alternate,
        port: &Port,
        kept: Vec<String>,
        muted: &[String],
    ) -> Result<LeftoverRecord, Fault> {
        let sounds = |stem: &&String| {
            let heard = self.stems.iter().find(|(name, _)| name == *stem);
            heard.is_some_and(|(_, part)| part.loudness.integrated_lufs().is_some())
        };
        let is_instrument = |stem: &&String| sings(stem) == Some(false);
        Ok(LeftoverRecord {
            alternate: alternate.name.as_str().to_owned(),
            instruments: kept.iter().filter(sounds).filter(is_instrument).cloned().collect(),
            returns: self.still_fed(port, &kept, muted),
            left_db: self.left_db(alternate, port, &kept)?,
            kept,
        })
    }

    fn still_fed(&self, port: &Port, kept: &[String], muted: &[String]) -> Vec<StillFed> {
        let steps = &self.plan.steps;
        let is_kept = |index: &usize| steps[*index].role == Role::Stem && kept.contains(&steps[*index].name);
        let stems: Vec<usize> = (0..steps.len()).filter(is_kept).collect();
        let (reached, needed) = (reached_by(self.plan, &stems), self.plan.needed_for(&[port.step]));
        let returns = returns_of(self.sheet);
        let is_return = |name: &str| returns.contains(name) && !muted.iter().any(|muted| muted == name);
        let fed = |(index, step): (usize, &engine::Step)| {
            let by: Vec<String> =
                stems.iter().zip(&reached[index]).filter(|(_, on)| **on).map(|(s, _)| steps[*s].name.clone()).collect();
            let sounds = step.role == Role::Bus && needed[index] && is_return(&step.name) && !by.is_empty();
            sounds.then(|| StillFed { name: step.name.clone(), by })
        };
        steps.iter().enumerate().filter_map(fed).collect()
    }

    /// What no kept stem makes over what they make, in the loudest passage of the loudest of them.
    fn left_db(&self, alternate: &Alternate, port: &Port, kept: &[String]) -> Result<Option<f64>, Fault> {
        let held = alternate.dynamics == Dynamics::Held;
        if held && !alternate.only.is_empty() {
            return Ok(None);
        }
        let Some(from_secs) = self.loudest_secs(kept) else { return Ok(None) };
        let mut plan = self.plan.clone();
        if let Some(gain_db) = (self.gain_db)(&port.name) {
            plan.settle(port, gain_db, None);
        }
        let (made, left) = if held {
            let step = parts::without(&mut plan, port, alternate);
            let heard = parts::heard(self.plan, port);
            let rest = heard.into_iter().filter(|stem| !kept.contains(stem)).collect();
            let powers = self.powers(&plan, step, from_secs, vec![kept.to_vec(), rest])?;
            (powers[1], powers[3])
        } else {
            let changes = parts::changes(self.sheet, &plan, port, alternate);
            let step = plan.variant(port, &alternate.name, &changes).step;
            let made = self.powers(&plan, step, from_secs, Vec::new())?[0];
            plan.steps.iter_mut().filter(|step| step.role == Role::Stem).for_each(|stem| stem.trim.muted = true);
            (made, self.powers(&plan, step, from_secs, Vec::new())?[0])
        };
        Ok((made > 0.0 && left > 0.0).then(|| db_from_power(left / made)))
    }

    /// Start of the passage in which the loudest of the kept stems is at its loudest.
    fn loudest_secs(&self, kept: &[String]) -> Option<f64> {
        let loudness = |part: &measure::blend::Part| part.loudness.max_momentary_lufs();
        let heard = self.stems.iter().filter(|(name, _)| kept.iter().any(|stem| stem == name));
        let (_, part) =
            heard.max_by(|a, b| loudness(a.1).partial_cmp(&loudness(b.1)).unwrap_or(std::cmp::Ordering::Equal))?;
        let history = part.loudness.history();
        let point = history
            .iter()
            .filter(|point| point.momentary_lufs.is_some())
            .max_by(|a, b| a.momentary_lufs.partial_cmp(&b.momentary_lufs).unwrap_or(std::cmp::Ordering::Equal))?;
        Some((point.secs - PASSAGE_S / 2.0).max(0.0))
    }

    /// Power of every lane at a step in a passage.
    fn powers(&self, plan: &Plan, step: usize, from_secs: f64, followers: Vec<Vec<String>>) -> Result<Vec<f64>, Fault> {
        let rate_hz = plan.rate_hz;
        let plan = plan.passage(((from_secs - AHEAD_S) * rate_hz) as i64, ((AHEAD_S + PASSAGE_S) * rate_hz) as u64);
        let lanes = if followers.is_empty() { 1 } else { followers.len() + 2 };
        let mut sink = PowerSink { skip: (AHEAD_S * rate_hz) as usize, powers: vec![0.0; lanes] };
        let setup = Setup { followers, ..Setup::default() };
        let stream = Stream::open(&plan, self.sources, &[step], &setup)?;
        stream.run(self.threads, vec![Box::new(&mut sink)], &|_| ())?;
        Ok(sink.powers)
    }
}

/// Sums of squares of every lane.
struct PowerSink {
    skip: usize,
    powers: Vec<f64>,
}

impl Sink for &mut PowerSink {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        let skip = self.skip.min(taken.lane(0).len());
        self.skip -= skip;
        let power = |frames: &[Frame]| frames.iter().map(|[left, right]| left * left + right * right).sum::<f64>();
        self.powers.iter_mut().enumerate().for_each(|(lane, sum)| *sum += power(&taken.lane(lane)[skip..]));
        Ok(())
    }
}

/// Whether a stem is sung, as far as its name tells.
fn sings(stem: &str) -> Option<bool> {
    Some(group_of(stem)).filter(|group| *group != Group::Other).map(Group::is_voice)
}

fn is_a_cappella(alternate: &Alternate, kept: &[String]) -> bool {
    let letters: String = alternate.name.chars().filter(|c| c.is_alphabetic()).flat_map(char::to_lowercase).collect();
    let voices = !kept.is_empty() && kept.iter().all(|stem| sings(stem) == Some(true));
    NAMES.iter().any(|name| letters.contains(name)) || voices
}

/// Code `a-cappella-leftover` (warn): an a cappella keeps an instrument that sounds, or what no kept stem makes lies within
/// 60 dB of what they make. Common practice, no source.
pub(super) fn findings(record: &LeftoverRecord) -> Vec<Problem> {
    let at = format!("alternate {}", record.alternate);
    let found =
        |message, remedy: &str| Problem::new(Severity::Warn, "a-cappella-leftover", &at, message, remedy.to_owned());
    let names: Vec<String> = record.instruments.iter().map(|stem| format!("“{stem}”")).collect();
    let instruments = (!names.is_empty()).then(|| {
        let message = format!("{} still sounds in it, with all that it sends to.", names.join(", "));
        found(message, "Mute it too, or name what is kept with `only`.")
    });
    let left = record.left_db.filter(|db| *db >= LEFT_DB).map(|db| {
        let message = format!(
            "Something that no kept stem makes lies {:.0} dB under them: noise, or what tape made of all.",
            -db
        );
        found(message, "Name what is kept with `only` and hold the dynamics, or turn the hiss off.")
    });
    instruments.into_iter().chain(left).collect()
}
