//! Fair comparison of two files.

use std::path::Path;

use engine::Fault;
use measure::Comparison;

use crate::spool::media_fault;

/// Compares two files; the second is converted to the rate of the first where they differ.
///
/// # Errors
/// A file cannot be read.
pub fn compare_files(a: &Path, b: &Path) -> Result<Comparison, Fault> {
    let (info, first) = media::read_all(a, None).map_err(|error| media_fault(&error))?;
    let (_, second) = media::read_all(b, Some(info.rate_hz)).map_err(|error| media_fault(&error))?;
    Ok(measure::compare(&first, &second, f64::from(info.rate_hz)))
}
