//! A print beside reference recordings, at matched loudness. It says where the print stands; nothing is changed.

use std::path::{Path, PathBuf};

use engine::Fault;
use measure::{Comparison, Ear, Heard, TonalBalance};
use serde::Serialize;

use crate::files;
use crate::parallel::in_parallel;

/// A programme beside recordings.
#[derive(Debug, Serialize)]
pub struct Against {
    /// The programme's file.
    pub path: String,
    /// Where it stands in the set.
    pub balance: TonalBalance,
    /// Each recording against it: A is the programme, B the recording.
    pub references: Vec<Beside>,
}

/// One recording against the programme.
#[derive(Debug, Serialize)]
pub struct Beside {
    /// The recording's file.
    pub path: String,
    /// A is the programme, B the recording. They are not aligned: there is no delay, polarity or null.
    #[serde(flatten)]
    pub comparison: Comparison,
}

/// Hears a file and recordings, each at its own rate, and compares them. On `threads` threads.
///
/// # Errors
/// A file cannot be read, or there is no recording.
pub fn against(path: &Path, references: &[PathBuf], threads: usize) -> Result<Against, Fault> {
    if references.is_empty() {
        let message = "There is no reference to stand against.".to_owned();
        let remedy = "Name one or more recordings behind --against.".to_owned();
        return Err(Fault::input("no-reference", "against", message, remedy));
    }
    let paths: Vec<&Path> = std::iter::once(path).chain(references.iter().map(PathBuf::as_path)).collect();
    let mut heard = in_parallel(threads, &paths, |path| hear(path))?;
    let set = heard.split_off(1);
    let here = &heard[0];
    let beside = |(path, there): (&PathBuf, &Heard)| Beside {
        path: path.display().to_string(),
        comparison: measure::beside(here, there),
    };
    Ok(Against {
        path: path.display().to_string(),
        balance: measure::tonal_balance(here, &set),
        references: references.iter().zip(&set).map(beside).collect(),
    })
}

fn hear(path: &Path) -> Result<Heard, Fault> {
    let mut ear: Option<Ear> = None;
    files::read_through(path, &mut |info, frames| {
        ear.get_or_insert_with(|| Ear::new(f64::from(info.rate_hz))).push(frames);
    })?;
    // A file without a frame.
    Ok(ear.unwrap_or_else(|| Ear::new(48_000.0)).finish())
}
