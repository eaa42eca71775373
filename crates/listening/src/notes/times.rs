//! Where a moment of one revision lies in another: the song's start may have moved.

use std::path::Path;

use engine::Fault;

use super::Notes;
use crate::revision::Heard;

/// Starts of the song further apart than this are not looked for.
const MOST_SHIFT_SECS: f64 = 20.0;
/// Below this correlation two prints are taken as different recordings. Common practice, no source.
const LEAST_CORRELATION: f64 = 0.3;

/// Learns by how much the song's start lies elsewhere in each revision that a note or `wanted` names, by aligning a
/// print of it with the same print of the first revision that is known. Returns whether something was learnt; revisions
/// that are gone or do not line up are left out.
///
/// # Errors
/// A print that is there cannot be read.
pub fn learn_starts(notes: &mut Notes, prints: &Path, wanted: &str) -> Result<bool, Fault> {
    let mut revisions: Vec<String> = notes.notes.iter().map(|note| note.revision.clone()).collect();
    revisions.push(wanted.to_owned());
    revisions.sort();
    revisions.dedup();
    revisions.retain(|revision| !notes.starts.contains_key(revision));
    let mut learnt = false;
    for revision in revisions {
        let Ok(heard) = Heard::read(prints, &revision) else { continue };
        let start = match first_known(notes, prints) {
            None => Some(0.0),
            Some((known, secs)) => shift(&known, &heard)?.map(|shift| secs + shift),
        };
        if let Some(start) = start {
            // A start is as exact as a millisecond needs: rounded, so that the file reads well.
            notes.starts.insert(revision, (start * 1e6).round() / 1e6);
            learnt = true;
        }
    }
    Ok(learnt)
}

/// A revision whose start is known and whose files are there.
fn first_known(notes: &Notes, prints: &Path) -> Option<(Heard, f64)> {
    notes.starts.iter().find_map(|(revision, secs)| Heard::read(prints, revision).ok().map(|heard| (heard, *secs)))
}

/// Seconds by which the song lies later in `b` than in `a`; none if they have no print in common that lines up.
fn shift(a: &Heard, b: &Heard) -> Result<Option<f64>, Fault> {
    for version in &a.versions {
        let Some(other) = b.versions.iter().find(|other| other.name == version.name) else { continue };
        let (info, first) = media::read_all(&version.path, None).map_err(|error| prints::media_fault(&error))?;
        let rate_hz = f64::from(info.rate_hz);
        let (_, second) =
            media::read_all(&other.path, Some(info.rate_hz)).map_err(|error| prints::media_fault(&error))?;
        let fit = measure::align(&first, &second, (MOST_SHIFT_SECS * rate_hz) as usize);
        if let Some(fit) = fit.filter(|fit| fit.correlation >= LEAST_CORRELATION) {
            return Ok(Some(fit.delay_samples / rate_hz));
        }
    }
    Ok(None)
}

/// Where a moment of one revision lies in another; none if that is not known.
#[must_use]
pub fn place(notes: &Notes, secs: f64, from: &str, to: &str) -> Option<f64> {
    if from == to {
        return Some(secs);
    }
    let (from, to) = (notes.starts.get(from)?, notes.starts.get(to)?);
    Some(secs - from + to)
}
