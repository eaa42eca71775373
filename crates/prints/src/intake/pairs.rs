//! Two microphones on one source: polarity and delay between files whose names belong together.

use std::path::Path;

use engine::Fault;
use measure::Polarity;
use measure::stem_facts::relation;
use units::{Frame, Problem, Severity};

use super::{Group, Incoming, copies};
use crate::parallel::in_parallel;
use crate::spool::media_fault;

/// Seconds that are compared, from where both sound.
const COMPARED_SECS: f64 = 12.0;
/// Microphones on one source are not further apart than this.
const MOST_DELAY_SECS: f64 = 0.02;
/// A delay that one hears as colour: half a sample and more.
const LEAST_DELAY_SAMPLES: f64 = 0.5;

/// Findings about files that hold one sound: two microphones on it, drums in the overheads, a copy.
pub(super) fn findings(folder: &Path, files: &[Incoming], threads: usize) -> Result<Vec<Problem>, Fault> {
    let mut pairs: Vec<(&Incoming, &Incoming, Kind)> = Vec::new();
    for (index, second) in files.iter().enumerate() {
        for first in files[..index].iter().filter(|first| may_share(first, second)) {
            let kind = match (is_far(first), is_far(second)) {
                _ if belong_together(first, second) => Kind::Twins,
                _ if copies::likely(first, second) => Kind::Copy,
                (false, true) if both_drums(first, second) => Kind::InRoom,
                (true, false) if both_drums(first, second) => {
                    pairs.push((second, first, Kind::InRoom));
                    continue;
                }
                _ => continue,
            };
            pairs.push((first, second, kind));
        }
    }
    let found = in_parallel(threads, &pairs, |(first, second, kind)| match kind {
        Kind::Copy => copies::compare(folder, first, second),
        Kind::Twins => match compare(folder, first, second)? {
            // In time and upright: two microphones never are, to the bit.
            found if found.is_empty() && copies::likely(first, second) => copies::compare(folder, first, second),
            found => Ok(found),
        },
        Kind::InRoom => in_room(folder, first, second),
    })?;
    Ok(found.into_iter().flatten().collect())
}

/// What two files may be to each other.
enum Kind {
    /// The same recording, changed in level or by rounding.
    Copy,
    /// Two microphones on one source.
    Twins,
    /// A close microphone, and one that hears the whole kit.
    InRoom,
}

fn may_share(first: &Incoming, second: &Incoming) -> bool {
    first.group().is_some()
        && second.group().is_some()
        && first.info.rate_hz == second.info.rate_hz
        && first.facts.content_hash != second.facts.content_hash
}

fn both_drums(first: &Incoming, second: &Incoming) -> bool {
    [first, second].iter().all(|file| file.group() == Some(Group::Drums))
}

/// Whether a microphone hears the whole kit.
fn is_far(file: &Incoming) -> bool {
    let name = file.name.to_lowercase();
    let words = ["overhead", "room", "kit"];
    words.iter().any(|word| name.contains(word)) || name.split([' ', '_', '-', '.']).any(|word| word == "oh")
}

/// A drum as the microphones above the kit hear it. What comes earlier can be delayed to meet the later.
fn in_room(folder: &Path, close: &Incoming, far: &Incoming) -> Result<Vec<Problem>, Fault> {
    let Some([a, b]) = heard(folder, close, far)? else { return Ok(Vec::new()) };
    let rate_hz = f64::from(close.info.rate_hz);
    let Some(found) = measure::bleed::bleed(&a, &b, rate_hz, (MOST_DELAY_SECS * rate_hz) as usize) else {
        return Ok(Vec::new());
    };
    let mut findings = Vec::new();
    if found.polarity == Polarity::Inverted {
        let message = format!("Its polarity is inverted in {}: the two take from each other.", far.file);
        let remedy = format!("Write `polarity = \"inverted\"` at “{}”, and listen to both.", close.name);
        findings.push(Problem::new(Severity::Warn, "drum-polarity", &close.file, message, remedy));
    }
    let (late, early) = if found.delay_samples > 0.0 { (far, close) } else { (close, far) };
    if found.delay_samples.abs() >= LEAST_DELAY_SAMPLES {
        let ms = found.delay_samples.abs() / rate_hz * 1000.0;
        let message = format!("The same hit is in {} {ms:.2} ms later than in {}.", late.file, early.file);
        let remedy = format!("Write `delay_ms = {ms:.3}` at “{}”, if it is to sound closer.", early.name);
        findings.push(Problem::new(Severity::Note, "drum-delay", &close.file, message, remedy));
    }
    Ok(findings)
}

fn belong_together(first: &Incoming, second: &Incoming) -> bool {
    let word = |file: &Incoming| file.name.split([' ', '_', '-', '.']).next().unwrap_or("").to_lowercase();
    first.group() == second.group() && word(first) == word(second)
}

fn compare(folder: &Path, first: &Incoming, second: &Incoming) -> Result<Vec<Problem>, Fault> {
    let Some([a, b]) = heard(folder, first, second)? else { return Ok(Vec::new()) };
    let rate_hz = f64::from(first.info.rate_hz);
    let Some(found) = relation(&a, &b, (MOST_DELAY_SECS * rate_hz) as usize) else { return Ok(Vec::new()) };
    let mut findings = Vec::new();
    if found.polarity == Polarity::Inverted {
        let message = format!("Its polarity is inverted against {}.", first.file);
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

/// The same stretch of two files, from where both sound; none if one is silent.
fn heard(folder: &Path, first: &Incoming, second: &Incoming) -> Result<Option<[Vec<Frame>; 2]>, Fault> {
    let Some((a, b)) = first.facts.first_sound_frame.zip(second.facts.first_sound_frame) else { return Ok(None) };
    let frames = (COMPARED_SECS * f64::from(first.info.rate_hz)) as usize;
    Ok(Some([stretch(folder, first, a.max(b), frames)?, stretch(folder, second, a.max(b), frames)?]))
}

pub(super) fn stretch(folder: &Path, file: &Incoming, from: u64, frames: usize) -> Result<Vec<Frame>, Fault> {
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
