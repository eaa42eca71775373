//! What can be heard of a revision: its report and the files that it names.

use std::fs;
use std::path::{Path, PathBuf};

use engine::Fault;
use prints::fair::Revisions;
use serde::Deserialize;

/// The part of `report.json` that a page needs.
#[derive(Deserialize)]
struct Report {
    title: String,
    artist: String,
    date: String,
    label: Option<String>,
    rate_hz: u32,
    frames: u64,
    sections: Vec<(String, f64)>,
    prints: Vec<FileRecord>,
}

#[derive(Deserialize)]
struct FileRecord {
    name: String,
    kind: Option<String>,
    /// Not in reports of older programs.
    #[serde(default)]
    lossy: bool,
    path: String,
    sha256: String,
}

/// A print of a revision.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Version {
    /// Its name in the sheet.
    pub name: String,
    /// What it is for.
    pub kind: Option<String>,
    /// Its file.
    pub path: PathBuf,
    /// SHA-256 of the file when it was printed, in hexadecimal; none for a file that is not ours, such as a rough mix.
    pub sha256: Option<String>,
}

/// A revision that was printed.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// Its name: `r001`.
    pub revision: String,
    /// The song.
    pub title: String,
    /// Who plays it.
    pub artist: String,
    /// When it was printed, in universal time.
    pub date: String,
    /// What the engineer called it.
    pub label: Option<String>,
    /// Rate of the song.
    pub rate_hz: u32,
    /// Length of the prints, in frames of that rate.
    pub frames: u64,
    /// Sections: name and start in seconds.
    pub sections: Vec<(String, f64)>,
    /// Its prints, in the order of the sheet; of each the first file that loses nothing.
    pub versions: Vec<Version>,
}

impl Heard {
    /// Reads a revision below the folder of prints.
    ///
    /// # Errors
    /// It is not there, or its report cannot be read.
    pub fn read(prints: &Path, revision: &str) -> Result<Self, Fault> {
        Self::within(&Revisions::of(prints)?.folder_of(revision)?, revision)
    }

    /// The latest revision below the folder of prints.
    ///
    /// # Errors
    /// There is none yet, or its report cannot be read.
    pub fn latest(prints: &Path) -> Result<Self, Fault> {
        let revisions = Revisions::of(prints)?;
        let newest = revisions.newest_name();
        Self::within(&revisions.folder_of(newest)?, newest)
    }

    fn within(folder: &Path, revision: &str) -> Result<Self, Fault> {
        let path = folder.join("report.json");
        let text = fs::read_to_string(&path).map_err(|error| faulty(&path, &error.to_string()))?;
        let report: Report = serde_json::from_str(&text).map_err(|error| faulty(&path, &error.to_string()))?;
        let mut versions: Vec<Version> = Vec::new();
        for record in &report.prints {
            if versions.iter().any(|version| version.name == record.name) {
                continue;
            }
            let mut files = report.prints.iter().filter(|other| other.name == record.name);
            let lossless = files.find(|file| !file.lossy);
            versions.push(version_of(folder, lossless.unwrap_or(record)));
        }
        Ok(Self {
            revision: revision.to_owned(),
            title: report.title,
            artist: report.artist,
            date: report.date,
            label: report.label,
            rate_hz: report.rate_hz,
            frames: report.frames,
            sections: report.sections,
            versions,
        })
    }

    /// Its length in seconds.
    #[must_use]
    pub fn secs(&self) -> f64 {
        self.frames as f64 / f64::from(self.rate_hz)
    }
}

/// A file of a revision. The report names it by the place where it was printed; the folder may have moved since.
fn version_of(folder: &Path, record: &FileRecord) -> Version {
    let name = record.path.rsplit(['/', '\\']).next().unwrap_or(&record.path);
    Version {
        name: record.name.clone(),
        kind: record.kind.clone(),
        path: folder.join(name),
        sha256: Some(record.sha256.clone()),
    }
}

fn faulty(path: &Path, reason: &str) -> Fault {
    let name = path.display().to_string();
    let remedy = "Print the sheet again; a report is not to be changed by hand.".to_owned();
    Fault::input("cannot-read", &name, format!("{name} cannot be read: {reason}."), remedy)
}
