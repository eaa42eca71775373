//! Two microphones on one source: polarity and delay between files whose names belong together.

use std::path::Path;

use engine::Fault;
use measure::Polarity;
use measure::stem_facts::relation;
use units::{Frame, Problem, Severity};

use super::{Incoming, group_of};
use crate::spool::media_fault;

/// Seconds that are compared, from where both sound.
const COMPARED_SECS: f64 = 12.0;
/// Microphones on one source are not further apart than this.
const MOST_DELAY_SECS: f64 = 0.02;
/// A delay that one hears as colour: half a sample and more.
const LEAST_DELAY_SAMPLES: f64 = 0.5;

/// Findings about pairs of files with a name in common, for instance `kick in` and `kick out`.
pub(super) fn findings(folder: &Path, files: &[Incoming]) -> Result<Vec<Problem>, Fault> {
    let mut findings = Vec::new();
    for (index, second) in files.iter().enumerate() {
        for first in files[..index].iter().filter(|first| belong_together(first, second)) {
            findings.extend(compare(folder, first, second)?);
        }
    }
    Ok(findings)
}

fn belong_together(first: &Incoming, second: &Incoming) -> bool {
    let word = |file: &Incoming| file.name.split([' ', '_', '-', '.']).next().unwrap_or("").to_lowercase();
    first.group().is_some()
        && second.group().is_some()
        && first.info.rate_hz == second.info.rate_hz
        && group_of(&first.name) == group_of(&second.name)
        && word(first) == word(second)
        && first.facts.content_hash != second.facts.content_hash
}

fn compare(folder: &Path, first: &Incoming, second: &Incoming) -> Result<Vec<Problem>, Fault> {
    let (Some(a), Some(b)) = (first.facts.first_sound_frame, second.facts.first_sound_frame) else {
        return Ok(Vec::new());
    };
    let from = a.max(b);
    let rate_hz = f64::from(first.info.rate_hz);
    let frames = (COMPARED_SECS * rate_hz) as usize;
    let (a, b) = (stretch(folder, first, from, frames)?, stretch(folder, second, from, frames)?);
    let Some(found) = relation(&a, &b, (MOST_DELAY_SECS * rate_hz) as usize) else { return Ok(Vec::new()) };
    let mut findings = Vec::new();
    if found.polarity == Polarity::Inverted {
        let message = format!("It is turned over in polarity against {}.", first.file);
        let remedy = "Write `polarity = \"inverted\"` at one of the two.".to_owned();
        findings.push(Problem::new(Severity::Warn, "pair-polarity", &second.file, message, remedy));
    }
    let delay = found.delay_samples;
    if delay.abs() >= LEAST_DELAY_SAMPLES {
        let (late, early) = if delay > 0.0 { (second, first) } else { (first, second) };
        let ms = delay.abs() / rate_hz * 1000.0;
        let message = format!("It comes {ms:.2} ms after {} ({:.1} samples).", early.file, delay.abs());
        let remedy = format!("Write `delay_ms = {ms:.3}` at “{}”, if the two are to sound as one.", early.name);
        findings.push(Problem::new(Severity::Note, "pair-delay", &late.file, message, remedy));
    }
    Ok(findings)
}

fn stretch(folder: &Path, file: &Incoming, from: u64, frames: usize) -> Result<Vec<Frame>, Fault> {
    let mut reader = media::Reader::open(&folder.join(&file.file)).map_err(|error| media_fault(&error))?;
    reader.seek(from).map_err(|error| media_fault(&error))?;
    let mut found = vec![units::SILENCE; frames];
    let mut filled = 0;
    while filled < frames {
        match reader.read(&mut found[filled..]).map_err(|error| media_fault(&error))? {
            0 => break,
            read => filled += read,
        }
    }
    found.truncate(filled);
    // Faults are judged elsewhere; here they would drown the comparison.
    found.iter_mut().flatten().filter(|x| !x.is_finite()).for_each(|x| *x = 0.0);
    Ok(found)
}
