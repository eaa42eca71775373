//! Fair comparison: of files, of revisions, of a print with and without any part of its mix, and of a print beside reference
//! recordings. What is measured, and how, says [`measure::compare()`](fn@measure::compare).
//!
//! Comparisons hold both programmes in memory, 16 bytes for each frame of each: delays are sought over ten seconds, and the
//! null is taken frame by frame. References are only read through, one after the other.

mod adds;
mod against;
mod revisions;
mod without;

use std::path::Path;

use engine::Fault;
use measure::Comparison;

use crate::spool::media_fault;

pub use adds::{Added, Adds, Weighing, adds};
pub use against::{Against, Beside, against};
pub use revisions::{PrintComparison, RevisionsComparison, compare_revisions, newest};
pub use without::{Trial, WithoutComparison, compare_without};

/// Compares two files; the second is converted to the rate of the first where they differ.
///
/// # Errors
/// A file cannot be read.
pub fn compare_files(a: &Path, b: &Path) -> Result<Comparison, Fault> {
    let (info, first) = media::read_all(a, None).map_err(|error| media_fault(&error))?;
    let (_, second) = media::read_all(b, Some(info.rate_hz)).map_err(|error| media_fault(&error))?;
    Ok(measure::compare(&first, &second, f64::from(info.rate_hz)))
}
