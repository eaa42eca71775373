//! Revisions of a song, print by print.

use std::path::{Path, PathBuf};

use engine::Fault;
use measure::Comparison;
use serde::Serialize;

use super::compare_files;
use crate::history::{self, PastFile};
use crate::parallel::in_parallel;

/// Two revisions, print by print.
#[derive(Debug, Serialize)]
pub struct RevisionsComparison {
    /// A and B.
    pub revisions: [String; 2],
    /// The prints that both have.
    pub prints: Vec<PrintComparison>,
    /// Prints that only A has.
    pub only_in_a: Vec<String>,
    /// Prints that only B has.
    pub only_in_b: Vec<String>,
}

/// One print in two revisions.
#[derive(Debug, Serialize)]
pub struct PrintComparison {
    /// Its name.
    pub print: String,
    /// The files that were compared: of A and of B.
    pub files: [String; 2],
    /// What differs.
    #[serde(flatten)]
    pub comparison: Comparison,
}

/// The file of a print in the newest revision that has it.
///
/// # Errors
/// No revision has it.
pub fn newest(folder: &Path, print: &str) -> Result<PathBuf, Fault> {
    let mut known: Vec<String> = Vec::new();
    for past in history::list(folder)?.into_iter().rev() {
        let Some(report) = &past.report else { continue };
        if let Some(file) = report.prints.iter().find(|file| file.name == print) {
            return Ok(past.folder.join(file.file_name()));
        }
        let new = names_of(&report.prints).into_iter().filter(|name| !known.contains(name)).collect::<Vec<_>>();
        known.extend(new);
    }
    Err(unknown_print(print, &known))
}

/// Compares two revisions: one print, or every print that both have. Of a print's files the first that both have in
/// the same format is taken. On `threads` threads; each holds two files in memory.
///
/// # Errors
/// A revision or print is not there, or a file cannot be read.
pub fn compare_revisions(
    folder: &Path,
    revisions: [&str; 2],
    print: Option<&str>,
    threads: usize,
) -> Result<RevisionsComparison, Fault> {
    let [(past_a, a), (past_b, b)] =
        [history::find(folder, Some(revisions[0]))?, history::find(folder, Some(revisions[1]))?];
    let (a, b) = (a.prints, b.prints);
    let [in_a, in_b] = [names_of(&a), names_of(&b)];
    let mut prints: Vec<&String> = in_a.iter().filter(|name| in_b.contains(name)).collect();
    if let Some(print) = print {
        prints.retain(|name| *name == print);
    }
    if prints.is_empty() {
        let both: Vec<String> = in_a.iter().filter(|name| in_b.contains(name)).cloned().collect();
        return Err(print.map_or_else(|| nothing_in_common(revisions), |print| unknown_print(print, &both)));
    }
    let compared = in_parallel(threads, &prints, |print| {
        let of = |files: &[PastFile]| -> Vec<PastFile> {
            files.iter().filter(|file| file.name == **print).cloned().collect()
        };
        let (a, b) = (of(&a), of(&b));
        let alike = a.iter().find_map(|one| Some((one, b.iter().find(|other| other.format == one.format)?)));
        let (one, other) = alike.unwrap_or((&a[0], &b[0]));
        let files = [past_a.folder.join(one.file_name()), past_b.folder.join(other.file_name())];
        let comparison = compare_files(&files[0], &files[1])?;
        let files = files.map(|file| file.display().to_string());
        Ok(PrintComparison { print: (*print).clone(), files, comparison })
    })?;
    let without = |these: &[String], those: &[String]| -> Vec<String> {
        let wanted = |name: &&String| print.is_none() && !those.contains(name);
        these.iter().filter(wanted).cloned().collect()
    };
    Ok(RevisionsComparison {
        revisions: revisions.map(str::to_owned),
        prints: compared,
        only_in_a: without(&in_a, &in_b),
        only_in_b: without(&in_b, &in_a),
    })
}

fn names_of(files: &[PastFile]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for file in files {
        if !names.contains(&file.name) {
            names.push(file.name.clone());
        }
    }
    names
}

fn unknown_print(print: &str, known: &[String]) -> Fault {
    let message = format!("No print is called “{print}” there.");
    Fault::input("unknown-print", print, message, format!("Take one of: {}.", known.join(", ")))
}

fn nothing_in_common([a, b]: [&str; 2]) -> Fault {
    let message = format!("{a} and {b} have no print in common.");
    Fault::input("no-common-print", b, message, "Compare their audio files themselves.".to_owned())
}
