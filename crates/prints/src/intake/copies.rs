//! The same take twice, with another level, another rounding or a little later.

use std::path::Path;

use engine::Fault;
use measure::Polarity;
use measure::stem_facts::{OUTLINE_HZ, relation};
use units::{Problem, Severity};

use super::Incoming;
use super::pairs::stretch;

/// How alike the outlines of two files must be to be compared. Common practice, no source.
const ALIKE: f64 = 0.98;
/// Correlation from which two recordings are one: what differs lies 27 dB below. Common practice, no source.
const SAME: f64 = 0.999;
/// Seconds that are compared, from the loudest second of the first, and the most that one may lie behind the other.
const COMPARED_SECS: f64 = 4.0;
const MOST_DELAY_SECS: f64 = 0.05;

/// Whether two files could hold one take, by their outlines.
pub(super) fn likely(first: &Incoming, second: &Incoming) -> bool {
    let (a, b) = (&first.facts.outline, &second.facts.outline);
    let count = a.len().min(b.len());
    if 10 * count < 9 * a.len().max(b.len()) {
        return false;
    }
    let [mut aa, mut bb, mut ab] = [0.0; 3];
    for (a, b) in a.iter().zip(b).map(|(a, b)| (f64::from(*a), f64::from(*b))) {
        (aa, bb, ab) = (aa + a * a, bb + b * b, ab + a * b);
    }
    ab > ALIKE * (aa * bb).sqrt() && ab > 0.0
}

/// Compares them where the first is loudest.
pub(super) fn compare(folder: &Path, first: &Incoming, second: &Incoming) -> Result<Vec<Problem>, Fault> {
    let rate_hz = f64::from(first.info.rate_hz);
    let outline = &first.facts.outline;
    let loudest = (0..outline.len()).max_by(|a, b| outline[*a].total_cmp(&outline[*b])).unwrap_or(0);
    let secs = (loudest as f64 / OUTLINE_HZ - COMPARED_SECS / 2.0).max(0.0);
    let (from, frames) = ((secs * rate_hz) as u64, (COMPARED_SECS * rate_hz) as usize);
    let (a, b) = (stretch(folder, first, from, frames)?, stretch(folder, second, from, frames)?);
    let found = relation(&a, &b, (MOST_DELAY_SECS * rate_hz) as usize);
    let Some(found) = found.filter(|found| found.correlation >= SAME) else { return Ok(Vec::new()) };
    let energy = |frames: &[units::Frame]| frames.iter().flatten().map(|x| x * x).sum::<f64>();
    let db = units::db_from_power(energy(&b) / energy(&a));
    let mut how = vec![format!("{db:+.1} dB")];
    if found.delay_samples.abs() >= 0.5 {
        how.push(format!("{:+.2} ms", found.delay_samples / rate_hz * 1000.0));
    }
    if found.polarity == Polarity::Inverted {
        how.push("inverted polarity".to_owned());
    }
    let message = format!("It is the same take as {}, at {}.", first.file, how.join(", "));
    let remedy = "Leave one of them out, or ask for the part that is missing.".to_owned();
    Ok(vec![Problem::new(Severity::Warn, "duplicate-take", &second.file, message, remedy)])
}
