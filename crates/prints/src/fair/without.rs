//! A print with and without one part of its mix: a stem, a bus, a return, or one processor.
//!
//! The part is muted, or the processor is switched off, in the sheet as it stands in memory; everything else is rendered as
//! it is. Where the print's loudness is found, it is found once, for the print as it is: without the part the same gain
//! drives the same limiter, which then reacts to what is left. The sheet's file is never touched, and nothing is left behind.

use std::path::Path;
use std::time::Instant;

use engine::{Fault, Folder, Plan, Port, Setup, Sink, Stream};
use measure::Comparison;
use serde::Serialize;
use sheet::{Link, Print, Sheet};
use units::Frame;

use crate::finish::{Ended, Finish, Head};
use crate::labels::{Moment, Occasion};
use crate::load::{self, Loaded};
use crate::print::Stopped;
use crate::revision::{Revision, machine};
use crate::spool::{Gauge, Spool, media_fault};

/// What to try.
pub struct Trial<'a> {
    /// The sheet's file.
    pub sheet: &'a Path,
    /// Name of the print.
    pub print: &'a str,
    /// What to leave out: a stem or bus, `NAME`, or a processor of a stem, bus or print, `NAME, PROCESSOR`, with its number
    /// behind it where there are several: `main, equaliser 2`.
    pub without: &'a str,
    /// Threads to share the work among.
    pub threads: usize,
    /// Told what is going on and which part of it is done.
    pub progress: &'a (dyn Fn(&str, f64) + Sync),
}

/// A print with and without a part: A is the print as it is, B the print without.
#[derive(Debug, Serialize)]
pub struct WithoutComparison {
    /// Name of the print.
    pub print: String,
    /// What was left out.
    pub without: String,
    /// Gain ahead of the limiter that both have, where a loudness was to be reached.
    pub gain_ahead_db: Option<f64>,
    /// What differs.
    #[serde(flatten)]
    pub comparison: Comparison,
}

/// Renders a print with and without a part and compares the two.
///
/// # Errors
/// The sheet must be mended first, a name is not in it, or a file or the machine stands in the way.
pub fn compare_without(trial: &Trial<'_>) -> Result<WithoutComparison, Stopped> {
    let mut loaded = load::load(trial.sheet)?;
    if !loaded.is_sound() {
        return Err(Stopped::Sheet(Box::new(loaded)));
    }
    let Some((plan, sources)) = load::plan(&mut loaded) else { return Err(Stopped::Sheet(Box::new(loaded))) };
    let Some(sheet) = &loaded.sheet else { return Err(Stopped::Sheet(Box::new(loaded))) };
    let print = sheet.print(trial.print).ok_or_else(|| unknown_print(sheet, trial.print))?;
    let changed = without(sheet, trial.without)?;
    let work = tempfile::tempdir().map_err(|error| machine(&std::env::temp_dir(), &error))?;
    let revision = Revision::begin(work.path())?;
    let bench = Bench { trial, loaded: &loaded, sheet, sources: &sources, revision: &revision };
    let with = bench.with(&plan, print)?;
    let mut plan = engine::compile(&changed, &sources).map_err(|problems| {
        let first = problems.into_iter().next();
        first.map_or_else(|| unknown_print(sheet, trial.print), |problem| Fault::Input(Box::new(problem)))
    })?;
    let port = port(&plan, print)?;
    let gain = with.gain.filter(|_| port.solve_after.is_some());
    if let Some((gain_db, ceiling_dbtp)) = gain {
        plan.settle(&port, gain_db, ceiling_dbtp);
    }
    let spool = "without.wav";
    bench.head(&plan, port.step, spool, &format!("Rendering it without {}", trial.without))?;
    let without = read(&revision.folder().join(spool))?;
    (trial.progress)("Comparing", 0.0);
    Ok(WithoutComparison {
        print: trial.print.to_owned(),
        without: trial.without.to_owned(),
        gain_ahead_db: gain.map(|(gain_db, _)| gain_db),
        comparison: measure::compare(&with.frames, &without, plan.rate_hz),
    })
}

struct Bench<'a> {
    trial: &'a Trial<'a>,
    loaded: &'a Loaded,
    sheet: &'a Sheet,
    sources: &'a Folder,
    revision: &'a Revision,
}

/// The print as it is, and the gain and ceiling that were found for it.
struct With {
    frames: Vec<Frame>,
    gain: Option<(f64, Option<f64>)>,
}

impl Bench<'_> {
    fn with(&self, plan: &Plan, print: &Print) -> Result<With, Fault> {
        let port = port(plan, print)?;
        let step = port.solve_after.unwrap_or(port.step);
        let head = self.head(plan, step, "with.wav", &format!("Rendering {}", print.name))?;
        let finish = Finish {
            plan,
            sheet: self.sheet,
            folder: self.loaded.folder(),
            revision: self.revision,
            occasion: Occasion { label: None, moment: Moment::now() },
            threads: self.trial.threads,
            started: Instant::now(),
            progress: self.trial.progress,
            kept: None,
        };
        let (frames, Ended { solved, .. }) = finish.end(print, &port, &head, &read)?;
        Ok(With { frames, gain: solved.map(|solved| (solved.gain_db, solved.ceiling_dbtp)) })
    }

    /// Renders a step into a 64-bit file.
    fn head(&self, plan: &Plan, step: usize, file: &str, what: &str) -> Result<Head, Fault> {
        let frames = plan.print_frames();
        let mut spool = Spool::create(&self.revision.folder().join(file), self.sheet.song.rate_hz, frames)?;
        let mut gauge = Gauge::new(plan.rate_hz, frames);
        let sinks: Vec<Box<dyn Sink + '_>> = vec![Box::new(&mut spool), Box::new(&mut gauge)];
        let stream = Stream::open(plan, self.sources, &[step, step], &Setup::default())?;
        stream.run(self.trial.threads, sinks, &|part| (self.trial.progress)(what, part))?;
        spool.finish()?;
        Ok(Head { spool: file.to_owned(), gauged: gauge.finish() })
    }
}

/// All of a 64-bit file.
fn read(spool: &Path) -> Result<Vec<Frame>, Fault> {
    media::read_all(spool, None).map(|(_, frames)| frames).map_err(|error| media_fault(&error))
}

/// Where a print comes out.
fn port(plan: &Plan, print: &Print) -> Result<Port, Fault> {
    let port = plan.prints.iter().find(|port| print.name == *port.name.as_str());
    port.cloned().ok_or_else(|| {
        let message = format!("Nothing is left of “{}” then.", print.name);
        Fault::input("silent-print", &print.name, message, "Leave out less.".to_owned())
    })
}

/// The sheet without a part.
fn without(sheet: &Sheet, part: &str) -> Result<Sheet, Fault> {
    let mut changed = sheet.clone();
    if let Some((index, _)) = sheet.node(part) {
        changed.nodes[index].mute = true;
        return Ok(changed);
    }
    let Some((name, processor)) = part.rsplit_once(',').map(|(name, processor)| (name.trim(), processor.trim())) else {
        return Err(unknown_part(sheet, part));
    };
    let chain = match (sheet.node(name), sheet.prints.iter().position(|print| print.name == *name)) {
        (Some((index, _)), _) => &mut changed.nodes[index].chain,
        (None, Some(index)) => &mut changed.prints[index].chain,
        (None, None) => return Err(unknown_part(sheet, part)),
    };
    let known = processors(chain);
    let wanted = |known: &String| known.eq_ignore_ascii_case(processor);
    let Some(place) = known.iter().position(wanted) else {
        let message = format!("“{name}” has no “{processor}”.");
        let remedy = match known.as_slice() {
            [] => "It has no processor; leave out all of it by its name alone.".to_owned(),
            _ => format!("Take one of: {}.", known.join(", ")),
        };
        return Err(Fault::input("unknown-processor", part, message, remedy));
    };
    chain[place].off = true;
    Ok(changed)
}

/// What the processors of a chain are called: by their number where there are several of a kind.
fn processors(chain: &[Link]) -> Vec<String> {
    let title = |link: &Link| link.settings.spec().title;
    let name = |(place, link): (usize, &Link)| {
        let count = |chain: &[Link]| chain.iter().filter(|other| title(other) == title(link)).count();
        let number = if count(chain) > 1 { format!(" {}", count(&chain[..=place])) } else { String::new() };
        format!("{}{number}", title(link))
    };
    chain.iter().enumerate().map(name).collect()
}

fn unknown_part(sheet: &Sheet, part: &str) -> Fault {
    let names: Vec<&str> = sheet.nodes.iter().map(|node| node.name.as_str()).collect();
    let message = format!("The sheet has no “{part}” to leave out.");
    let remedy = format!("Take one of: {}; or one of its processors, as in “NAME, equaliser”.", names.join(", "));
    Fault::input("unknown-part", part, message, remedy)
}

fn unknown_print(sheet: &Sheet, print: &str) -> Fault {
    let names: Vec<&str> = sheet.prints.iter().map(|print| print.name.as_str()).collect();
    let message = format!("The sheet has no print called “{print}”.");
    Fault::input("unknown-print", print, message, format!("Take one of: {}.", names.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: &str = r#"
fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
[[stem]]
name = "kick"
file = "kick.wav"
to = "mix"
[[bus]]
name = "mix"
chain = [{ eq = {} }, { compressor = {} }, { eq = {} }]
[[print]]
name = "for approval"
from = "mix"
chain = [{ limiter = {} }]
files = [{ format = "wav", bits = 24 }]
"#;

    fn sheet() -> Sheet {
        let (sheet, problems) = sheet::read(SHEET, &engine::specs());
        sheet.unwrap_or_else(|| panic!("{problems:#?}"))
    }

    #[test]
    fn a_part_is_muted_and_a_processor_switched_off() {
        let sheet = sheet();
        assert!(without(&sheet, "kick").unwrap().nodes[0].mute);
        let off = |part: &str| {
            let changed = without(&sheet, part).unwrap();
            let chains = changed.nodes.iter().map(|node| &node.chain).chain(changed.prints.iter().map(|p| &p.chain));
            chains.flatten().map(|link| link.off).collect::<Vec<_>>()
        };
        assert_eq!(off("mix, equaliser 2"), [false, false, true, false]);
        assert_eq!(off("mix, Compressor"), [false, true, false, false]);
        assert_eq!(off("for approval, limiter"), [false, false, false, true]);
    }

    #[test]
    fn what_is_not_there_is_answered_with_what_is() {
        let sheet = sheet();
        let remedy = |part: &str| without(&sheet, part).unwrap_err().into_problem().remedy;
        assert!(remedy("kik").starts_with("Take one of: kick, mix"));
        assert_eq!(remedy("mix, equaliser"), "Take one of: equaliser 1, compressor, equaliser 2.");
        assert!(remedy("kick, equaliser").contains("no processor"));
    }
}
