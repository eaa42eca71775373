//! Revisions of a song, print by print.

use std::fs;
use std::path::{Path, PathBuf};

use engine::Fault;
use measure::Comparison;
use serde::{Deserialize, Serialize};

use super::compare_files;
use crate::parallel::in_parallel;

/// The revisions in a folder, and the prints in each.
pub struct Revisions {
    folder: PathBuf,
    names: Vec<String>,
}

/// A file of a revision: what is read of `report.json`.
#[derive(Clone, Debug, Deserialize)]
struct PrintedFile {
    name: String,
    format: String,
    path: String,
}

#[derive(Deserialize)]
struct Printed {
    prints: Vec<PrintedFile>,
}

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

impl Revisions {
    /// Those in a folder of revisions, in order.
    ///
    /// # Errors
    /// The folder is not there, or holds none.
    pub fn of(folder: &Path) -> Result<Self, Fault> {
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        let mut names: Vec<String> = entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
        names.retain(|name| is_revision(name));
        names.sort_by_key(|name| (name.len(), name.clone()));
        if names.is_empty() {
            let at = folder.display().to_string();
            let message = format!("There is no revision in {at}.");
            let remedy = "Print the sheet first, or name the folder of its revisions with --out.".to_owned();
            return Err(Fault::input("no-revision", &at, message, remedy));
        }
        Ok(Self { folder: folder.to_owned(), names })
    }

    /// The file of a print in the newest revision that has it.
    ///
    /// # Errors
    /// No revision has it.
    pub fn newest(&self, print: &str) -> Result<PathBuf, Fault> {
        let mut known: Vec<String> = Vec::new();
        for revision in self.names.iter().rev() {
            let files = self.files(revision)?;
            if let Some(file) = files.iter().find(|file| file.name == print) {
                return Ok(self.path(revision, file));
            }
            let new = names_of(&files).into_iter().filter(|name| !known.contains(name)).collect::<Vec<_>>();
            known.extend(new);
        }
        Err(unknown_print(print, &known))
    }

    /// Compares two revisions: one print, or every print that both have. Of a print's files the first that both have in
    /// the same format is taken. On `threads` threads; each holds two files in memory.
    ///
    /// # Errors
    /// A revision or print is not there, or a file cannot be read.
    pub fn compare(
        &self,
        revisions: [&str; 2],
        print: Option<&str>,
        threads: usize,
    ) -> Result<RevisionsComparison, Fault> {
        let [a, b] = [self.files(revisions[0])?, self.files(revisions[1])?];
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
            let of = |files: &[PrintedFile]| -> Vec<PrintedFile> {
                files.iter().filter(|file| file.name == **print).cloned().collect()
            };
            let (a, b) = (of(&a), of(&b));
            let alike = a.iter().find_map(|one| Some((one, b.iter().find(|other| other.format == one.format)?)));
            let (one, other) = alike.unwrap_or((&a[0], &b[0]));
            let files = [self.path(revisions[0], one), self.path(revisions[1], other)];
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

    /// The name of the newest.
    #[must_use]
    pub fn newest_name(&self) -> &str {
        self.names.last().map_or("", String::as_str)
    }

    /// The folder of a revision.
    ///
    /// # Errors
    /// There is none of that name.
    pub fn folder_of(&self, revision: &str) -> Result<PathBuf, Fault> {
        if self.names.iter().any(|name| name == revision) {
            return Ok(self.folder.join(revision));
        }
        let message = format!("There is no revision “{revision}” in {}.", self.folder.display());
        let remedy = format!("Take one of: {}.", self.names.join(", "));
        Err(Fault::input("unknown-revision", revision, message, remedy))
    }

    /// The files of a revision, as its report has them.
    fn files(&self, revision: &str) -> Result<Vec<PrintedFile>, Fault> {
        let path = self.folder_of(revision)?.join("report.json");
        let faulty = |error: &dyn std::fmt::Display| {
            let at = path.display().to_string();
            let message = format!("{at} cannot be read: {error}.");
            Fault::input("cannot-read", &at, message, "Compare the audio files themselves.".to_owned())
        };
        let text = fs::read_to_string(&path).map_err(|error| faulty(&error))?;
        let report: Printed = serde_json::from_str(&text).map_err(|error| faulty(&error))?;
        Ok(report.prints)
    }

    /// Where a file lies now: the report may have been written from elsewhere.
    fn path(&self, revision: &str, file: &PrintedFile) -> PathBuf {
        let name = file.path.rsplit(['/', '\\']).next().unwrap_or(&file.path);
        self.folder.join(revision).join(name)
    }
}

/// Whether a word is the name of a revision: `r001`.
#[must_use]
pub fn is_revision(word: &str) -> bool {
    word.strip_prefix('r').is_some_and(|digits| digits.len() >= 3 && digits.bytes().all(|byte| byte.is_ascii_digit()))
}

fn names_of(files: &[PrintedFile]) -> Vec<String> {
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
