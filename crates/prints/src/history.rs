//! The revisions of a song: what each is, and what changed between two of them: settings, recordings, sound.
//!
//! Revisions are folders with a report, a sheet and files. One that is damaged is listed as such and blocks no other.

use std::fs;
use std::path::{Path, PathBuf};

use engine::Fault;
use serde::{Deserialize, Serialize};
use sheet::{Change, Sheet, difference};

use crate::fair::{RevisionsComparison, compare_revisions};
use crate::files::sha256_of;
use crate::parallel::in_parallel;
use crate::record::SourceRecord;
use crate::revision::machine;

/// One revision.
#[derive(Debug, Serialize)]
pub struct Past {
    /// Its name: `r001`.
    pub name: String,
    /// Its folder.
    #[serde(skip)]
    pub folder: PathBuf,
    /// What its report says; none if it cannot be read.
    pub report: Option<PastReport>,
    /// Why the report cannot be read.
    pub damage: Option<String>,
}

/// What is read of a report.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PastReport {
    /// Version of the program that printed.
    pub engine: String,
    /// What the caller called the run.
    pub label: Option<String>,
    /// Date and time in universal time.
    pub date: String,
    /// Song title.
    pub title: String,
    /// Artist.
    pub artist: String,
    /// Sample rate of the network.
    pub rate_hz: u32,
    /// Length of every print.
    pub frames: u64,
    /// Sections: name and start in seconds.
    pub sections: Vec<(String, f64)>,
    /// Files.
    pub prints: Vec<PastFile>,
    /// Whether the set may go out.
    #[serde(default)]
    pub verdict: Option<PastVerdict>,
    /// Findings that stand, the worst first.
    #[serde(default)]
    pub findings: Vec<PastFinding>,
    /// Findings that its sheet accepts, with the reason.
    #[serde(default)]
    pub accepted: Vec<PastAccepted>,
    /// Recordings that it was made from; none in reports of older programs.
    #[serde(default)]
    pub sources: Vec<SourceRecord>,
}

/// The verdict of the gate.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PastVerdict {
    /// Whether it is finished.
    pub finished: bool,
    /// That, in one sentence.
    pub sentence: String,
    /// What of the sheet was not printed.
    #[serde(default)]
    pub not_printed: Vec<String>,
}

/// A finding that was accepted.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PastAccepted {
    /// The finding.
    pub finding: PastFinding,
    /// Why.
    pub reason: String,
}

/// A finding, as far as a letter or the desk tells it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PastFinding {
    /// `note`, `warn` or `fail`.
    #[serde(default)]
    pub severity: String,
    /// Code.
    #[serde(default)]
    pub code: String,
    /// What it is about.
    #[serde(rename = "where")]
    pub at: String,
    /// What is the case.
    pub message: String,
    /// What to do.
    #[serde(default)]
    pub remedy: String,
    /// Where in the song, in milliseconds.
    #[serde(default)]
    pub at_ms: Option<u64>,
}

/// A file of a revision.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PastFile {
    /// The print's name.
    pub name: String,
    /// What it is for.
    pub kind: Option<String>,
    /// Format in words.
    pub format: String,
    /// Whether its format loses something; not in reports of older programs.
    #[serde(default)]
    pub lossy: bool,
    /// Where it was written.
    pub path: String,
    /// SHA-256.
    pub sha256: String,
    /// Measures.
    pub measures: PastMeasures,
}

/// What was measured of a file. A list shows the first three; the others set songs of a record side by side.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct PastMeasures {
    /// Integrated loudness.
    pub integrated_lufs: Option<f64>,
    /// Loudness range.
    pub loudness_range_lu: Option<f64>,
    /// True peak.
    pub true_peak_dbtp: Option<f64>,
    /// True peak less integrated loudness.
    #[serde(default, skip_serializing)]
    pub plr_db: Option<f64>,
    /// Correlation of left and right.
    #[serde(default, skip_serializing)]
    pub correlation: Option<f64>,
    /// Third-octave levels as `[nominal hz, db]`.
    #[serde(default, skip_serializing)]
    pub third_octave_db: Vec<(f64, Option<f64>)>,
}

impl PastFile {
    /// Its name in the folder of its revision.
    #[must_use]
    pub fn file_name(&self) -> &str {
        self.path.rsplit(['/', '\\']).next().unwrap_or(&self.path)
    }
}

/// What changed from one revision to another.
#[derive(Debug, Serialize)]
pub struct Between {
    /// The two.
    pub revisions: [String; 2],
    /// Settings, in words.
    pub changes: Vec<Change>,
    /// Recordings that are others, came, or went.
    pub sources: Vec<SourceChange>,
    /// Sound, print by print.
    pub sound: RevisionsComparison,
}

/// A recording that changed.
#[derive(Debug, PartialEq, Eq, Serialize)]
pub struct SourceChange {
    /// Its path from the sheet's folder.
    pub path: String,
    /// `changed`, `new`, or `gone`.
    pub what: &'static str,
}

/// Whether a word is the name of a revision: `r001`.
#[must_use]
pub fn is_revision(word: &str) -> bool {
    word.strip_prefix('r').is_some_and(|digits| digits.len() >= 3 && digits.bytes().all(|byte| byte.is_ascii_digit()))
}

/// All revisions in a folder, in order.
///
/// # Errors
/// The folder is not there, or holds none.
pub fn list(folder: &Path) -> Result<Vec<Past>, Fault> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
    names.retain(|name| is_revision(name));
    names.sort_by_key(|name| (name.len(), name.clone()));
    if names.is_empty() {
        let at = folder.display().to_string();
        let remedy = "Print the sheet first, or name the folder of its revisions with --out.".to_owned();
        return Err(Fault::input("no-revision", &at, format!("There is no revision in {at}."), remedy));
    }
    Ok(names.into_iter().map(|name| read(folder, name)).collect())
}

fn read(folder: &Path, name: String) -> Past {
    let folder = folder.join(&name);
    let text = fs::read_to_string(folder.join("report.json")).map_err(|error| error.to_string());
    let report = text.and_then(|text| serde_json::from_str::<PastReport>(&text).map_err(|error| error.to_string()));
    match report {
        Ok(report) => Past { name, folder, report: Some(report), damage: None },
        Err(damage) => Past { name, folder, report: None, damage: Some(damage) },
    }
}

/// One of the revisions in a folder; the newest that is whole when none is named.
///
/// # Errors
/// It is not there, or its report cannot be read.
pub fn find(folder: &Path, name: Option<&str>) -> Result<(Past, PastReport), Fault> {
    let all = list(folder)?;
    let known: Vec<String> = all.iter().map(|past| past.name.clone()).collect();
    let wanted = |past: &Past| name.map_or(past.report.is_some(), |name| past.name == name);
    let past = all.into_iter().rev().find(wanted).ok_or_else(|| {
        let message = match name {
            Some(name) => format!("There is no revision “{name}” in {}.", folder.display()),
            None => format!("No revision in {} can be read.", folder.display()),
        };
        Fault::input(
            "unknown-revision",
            name.unwrap_or("prints"),
            message,
            format!("Take one of: {}.", known.join(", ")),
        )
    })?;
    match past.report.clone() {
        Some(report) => Ok((past, report)),
        None => {
            let message = format!("The report of {} cannot be read: {}.", past.name, past.damage.unwrap_or_default());
            let remedy = "Print the sheet of that folder anew.".to_owned();
            Err(Fault::input("damaged-revision", &past.name, message, remedy))
        }
    }
}

/// What changed between two revisions. Compares audio on `threads` threads.
///
/// # Errors
/// A revision is not there or damaged, or a file cannot be read.
pub fn between(folder: &Path, [a, b]: [&str; 2], threads: usize) -> Result<Between, Fault> {
    let ((before, reported_before), (after, reported_after)) = (find(folder, Some(a))?, find(folder, Some(b))?);
    let changes = difference(&sheet_of(&before)?, &sheet_of(&after)?);
    let sources = source_changes(&reported_before.sources, &reported_after.sources);
    let sound = compare_revisions(folder, [a, b], None, threads)?;
    Ok(Between { revisions: [a.to_owned(), b.to_owned()], changes, sources, sound })
}

/// The exact sheet of a revision.
fn sheet_of(past: &Past) -> Result<Sheet, Fault> {
    let path = past.folder.join("sheet.toml");
    let loaded = crate::load::load(&path)?;
    loaded.sheet.ok_or_else(|| {
        let message = format!("The sheet of {} cannot be read any more.", past.name);
        Fault::input("damaged-revision", &past.name, message, "Mend the sheet in its folder.".to_owned())
    })
}

pub(crate) fn source_changes(before: &[SourceRecord], after: &[SourceRecord]) -> Vec<SourceChange> {
    let among = |list: &[SourceRecord], path: &str| list.iter().find(|source| source.path == path).cloned();
    let of_after = after.iter().filter_map(|source| match among(before, &source.path) {
        None if before.is_empty() => None,
        None => Some(SourceChange { path: source.path.clone(), what: "new" }),
        Some(was) if was.sha256 != source.sha256 => Some(SourceChange { path: source.path.clone(), what: "changed" }),
        Some(_) => None,
    });
    let gone = before.iter().filter(|source| among(after, &source.path).is_none() && !after.is_empty());
    of_after.chain(gone.map(|source| SourceChange { path: source.path.clone(), what: "gone" })).collect()
}

/// The recordings that a sheet names, each with its checksum.
pub(crate) fn sources_of(sheet: &Sheet, folder: &Path, threads: usize) -> Result<Vec<SourceRecord>, Fault> {
    // The file of a muted stem may be gone.
    let paths: Vec<&str> = sheet.files().into_iter().filter(|path| folder.join(path).is_file()).collect();
    in_parallel(threads, &paths, |path| {
        let file = folder.join(path);
        let sha256 = sha256_of(&file).map_err(|error| machine(&file, &error))?;
        Ok(SourceRecord { path: (*path).to_owned(), sha256 })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(path: &str, sha256: &str) -> SourceRecord {
        SourceRecord { path: path.to_owned(), sha256: sha256.to_owned() }
    }

    #[test]
    fn recordings_are_told_by_their_checksums() {
        let before = [source("a.wav", "1"), source("b.wav", "2"), source("c.wav", "3")];
        let after = [source("a.wav", "1"), source("b.wav", "9"), source("d.wav", "4")];
        let found = source_changes(&before, &after);
        let told: Vec<(&str, &str)> = found.iter().map(|change| (change.path.as_str(), change.what)).collect();
        assert_eq!(told, [("b.wav", "changed"), ("d.wav", "new"), ("c.wav", "gone")]);
        assert!(source_changes(&[], &after).is_empty(), "an older report knows nothing of its recordings");
    }

    #[test]
    fn a_damaged_revision_blocks_no_other() {
        let folder = tempfile::tempdir().expect("a folder");
        for name in ["r001", "r002", "r010", "notes"] {
            fs::create_dir(folder.path().join(name)).expect("a folder");
        }
        let whole = r#"{ "engine": "0.1.0", "label": null, "date": "2026-11-27", "title": "Lantern Weather",
            "artist": "The Tin Orchard", "rate_hz": 48000, "frames": 0, "sections": [], "prints": [] }"#;
        fs::write(folder.path().join("r002/report.json"), whole).expect("written");
        fs::write(folder.path().join("r010/report.json"), "{ half").expect("written");
        let all = list(folder.path()).expect("there are some");
        let names: Vec<(&str, bool)> = all.iter().map(|past| (past.name.as_str(), past.damage.is_some())).collect();
        assert_eq!(names, [("r001", true), ("r002", false), ("r010", true)]);
        assert_eq!(find(folder.path(), None).expect("one is whole").0.name, "r002");
        let fault = find(folder.path(), Some("r010")).expect_err("it is damaged").into_problem();
        assert_eq!(fault.code, "damaged-revision");
        let fault = find(folder.path(), Some("r003")).expect_err("it is not there").into_problem();
        assert!(fault.remedy.contains("r001, r002, r010"));
    }
}
