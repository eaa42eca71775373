//! What can be heard of a revision: its report and the files that it names.

use std::path::{Path, PathBuf};

use engine::Fault;
use prints::history::{self, Past, PastFile, PastReport};

/// A print of a revision.
#[derive(Clone, Debug, PartialEq)]
pub struct Version {
    /// Its name in the sheet.
    pub name: String,
    /// What it is for.
    pub kind: Option<String>,
    /// Its file.
    pub path: PathBuf,
    /// Its loudness when it was printed; none for silence, or for a file that is not ours.
    pub integrated_lufs: Option<f64>,
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
        history::find(prints, Some(revision)).map(|(past, report)| Self::of(past, report))
    }

    /// The latest revision below the folder of prints that can be read.
    ///
    /// # Errors
    /// There is none yet.
    pub fn latest(prints: &Path) -> Result<Self, Fault> {
        history::find(prints, None).map(|(past, report)| Self::of(past, report))
    }

    /// All revisions below the folder of prints that can be read, oldest first.
    ///
    /// # Errors
    /// There is none yet.
    pub fn all(prints: &Path) -> Result<Vec<Self>, Fault> {
        let read = |mut past: Past| past.report.take().map(|report| Self::of(past, report));
        Ok(history::list(prints)?.into_iter().filter_map(read).collect())
    }

    fn of(past: Past, report: PastReport) -> Self {
        let mut versions: Vec<Version> = Vec::new();
        for record in &report.prints {
            if versions.iter().any(|version| version.name == record.name) {
                continue;
            }
            let mut files = report.prints.iter().filter(|other| other.name == record.name);
            let lossless = files.find(|file| !file.lossy);
            versions.push(version_of(&past.folder, lossless.unwrap_or(record)));
        }
        Self {
            revision: past.name,
            title: report.title,
            artist: report.artist,
            date: report.date,
            label: report.label,
            rate_hz: report.rate_hz,
            frames: report.frames,
            sections: report.sections,
            versions,
        }
    }

    /// Its length in seconds.
    #[must_use]
    pub fn secs(&self) -> f64 {
        self.frames as f64 / f64::from(self.rate_hz)
    }
}

/// A file of a revision. The report names it by the place where it was printed; the folder may have moved since.
fn version_of(folder: &Path, record: &PastFile) -> Version {
    Version {
        name: record.name.clone(),
        kind: record.kind.clone(),
        path: folder.join(record.file_name()),
        integrated_lufs: record.measures.integrated_lufs,
        sha256: Some(record.sha256.clone()),
    }
}
