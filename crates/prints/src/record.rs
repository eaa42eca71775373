//! What a print run leaves in writing: the data of `report.json` and of `report.html`.

use measure::Measures;
use serde::{Deserialize, Serialize};
use units::{Problem, Severity};

use crate::gate::Verdict;

/// A whole run.
#[derive(Debug, Serialize)]
pub struct Report {
    /// Format of this file.
    pub fairprint_report: u32,
    /// Version of the program that printed.
    pub engine: &'static str,
    /// Revision: `r001`.
    pub revision: String,
    /// What the caller called it.
    pub label: Option<String>,
    /// Date and time of the run, in universal time.
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
    /// Prints, one for each of the sheet that was asked for.
    pub versions: Vec<Version>,
    /// Other versions of prints.
    pub alternates: Vec<AlternateRecord>,
    /// Prints in parts.
    pub stems: Vec<StemsRecord>,
    /// Files, one for each that was written.
    pub prints: Vec<FileRecord>,
    /// Recordings that it was made from, references too.
    pub sources: Vec<SourceRecord>,
    /// What each return adds.
    pub returns: Vec<ReturnRecord>,
    /// All findings, the worst first.
    pub findings: Vec<Problem>,
    /// Findings that the sheet accepts, with the reason.
    pub accepted: Vec<AcceptedRecord>,
    /// Whether the set may go out, and what stands in the way.
    pub verdict: Verdict,
    /// Length of the song over the time that the run took.
    pub realtime_factor: f64,
}

impl Report {
    /// Whether a finding stands that must not be delivered.
    #[must_use]
    pub fn failed(&self) -> bool {
        self.findings.iter().any(|finding| finding.severity == Severity::Fail)
    }
}

/// One print of the sheet, before it becomes files.
#[derive(Debug, Serialize)]
pub struct Version {
    /// Name.
    pub name: String,
    /// What it is for.
    pub kind: Option<String>,
    /// Measures of its first file.
    pub measures: Measures,
    /// How its loudness was reached.
    pub solved: Option<SolvedRecord>,
    /// Momentary and short-term loudness ten times a second.
    #[serde(skip)]
    pub history: Vec<measure::LoudnessPoint>,
    /// Largest sample in equal stretches.
    #[serde(skip)]
    pub outline: Vec<f32>,
}

/// How a loudness was reached.
#[derive(Clone, Debug, Serialize)]
pub struct SolvedRecord {
    /// What was asked for.
    pub target_lufs: Option<f64>,
    /// Where the target comes from, in words.
    pub target: String,
    /// Gain ahead of the limiter.
    pub gain_db: f64,
    /// Ceiling of the limiter, lower than the sheet's where a codec needs it.
    pub ceiling_dbtp: Option<f64>,
    /// True peak after each codec's round trip.
    pub survived: Vec<Survived>,
    /// Renders of the last steps that it took.
    pub tries: usize,
}

/// A codec's round trip.
#[derive(Clone, Debug, Serialize)]
pub struct Survived {
    /// Codec and rate: `mp3 192`.
    pub codec: String,
    /// The encoder that was used.
    pub encoder: String,
    /// True peak of what a listener decodes.
    pub decoded_dbtp: f64,
}

/// Another version of a print.
#[derive(Debug, Serialize)]
pub struct AlternateRecord {
    /// Name.
    pub name: String,
    /// The print that it is made from.
    pub of: String,
    /// `held`, where all gains are those of the full mix, or `free`, where they react to what remains.
    pub dynamics: &'static str,
    /// Measures of its first file.
    pub measures: Measures,
    /// For held dynamics: peak of print minus (alternate and what was taken from it), before files are rounded. None if
    /// they are alike to the bit.
    pub null_dbfs: Option<f64>,
}

/// A print in parts.
#[derive(Debug, Serialize)]
pub struct StemsRecord {
    /// Name.
    pub name: String,
    /// The print.
    pub of: String,
    /// The parts, and the stems in each; the residue has none.
    pub groups: Vec<(String, Vec<String>)>,
    /// Level of what could not be split, against the print; none if there is nothing.
    pub residue_share_db: Option<f64>,
    /// Peak of print minus parts before files are rounded; none if they are alike to the bit.
    pub null_dbfs: Option<f64>,
    /// For each format: peak of the print's samples minus the sum of all files, read back from them; none if they are
    /// alike to the bit.
    pub files_null_dbfs: Vec<(String, Option<f64>)>,
}

/// One file.
#[derive(Debug, Serialize)]
pub struct FileRecord {
    /// The print's name.
    pub name: String,
    /// What the print is for.
    pub kind: Option<String>,
    /// Format in words: `WAV 24 bit`.
    pub format: String,
    /// Path of the file.
    pub path: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Length in frames of its own rate.
    pub frames: u64,
    /// Whether its codec discards part of the sound.
    pub lossy: bool,
    /// Where it is loudest, in seconds; none for silence.
    pub loudest_secs: Option<f64>,
    /// Measures read back from the file.
    pub measures: Measures,
    /// Findings about this file.
    pub findings: Vec<Problem>,
    /// Length of the song over the time that the run took.
    pub realtime_factor: f64,
}

/// A recording that a run was made from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SourceRecord {
    /// Its path from the sheet's folder.
    pub path: String,
    /// SHA-256 of the file.
    pub sha256: String,
}

/// What a return adds where it comes back.
#[derive(Debug, Serialize)]
pub struct ReturnRecord {
    /// The return's name.
    pub name: String,
    /// The bus it comes back to.
    pub into: String,
    /// Its loudness against all else there.
    pub under_lu: Option<f64>,
    /// Change of integrated loudness.
    pub adds_lu: Option<f64>,
    /// Change of level below 250 Hz, from 250 Hz to 4 kHz, and above, in dB.
    pub adds_low_mid_high_db: [Option<f64>; 3],
    /// Change of the crest factor in dB.
    pub adds_crest_db: Option<f64>,
    /// Change of side against middle in dB.
    pub adds_width_db: Option<f64>,
}

/// A finding that the sheet accepts.
#[derive(Debug, Serialize)]
pub struct AcceptedRecord {
    /// The finding.
    pub finding: Problem,
    /// Why.
    pub reason: String,
}
