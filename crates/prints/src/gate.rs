//! The gate before delivery: whether a set of files is finished, and what stands in the way.
//!
//! A set is finished when everything of the sheet was printed and no finding of severity `fail` stands. A finding stands
//! unless the sheet accepts it by its code, with a reason. [`verdict`] needs no more than findings, so that a handover can
//! ask it again for a revision that was printed long ago.

use std::path::Path;

use engine::Fault;
use measure::Measured;
use measure::stem_facts::Edges;
use serde::Serialize;
use sheet::{Dither, FileSpec, Sheet};
use units::{Frame, Problem, Severity};

use crate::parallel::in_parallel;
use crate::record::FileRecord;
use crate::spool::media_fault;

/// Level of the first two milliseconds from which a beginning is cut, and how near that is to the first fifty. Common
/// practice, no source.
const HEAD_DBFS: f64 = -50.0;
const HEAD_GROWS_DB: f64 = 10.0;
/// Level of the last ten milliseconds from which an ending is cut. Common practice, no source.
const TAIL_DBFS: f64 = -60.0;
/// Silence at either end that is longer than anybody asks for: two seconds, or a bar, and some. Common practice, no source.
const LONG_SILENCE_SECS: f64 = 5.0;
/// What a lossy file may be longer than its print: two frames of MP3 at 44.1 kHz.
const LOSSY_PADDING_SECS: f64 = 2.0 * 1152.0 / 44_100.0;
/// Most that files of one set may lie apart: half a sample, and for lossy ones a millisecond.
const APART_SAMPLES: f64 = 0.5;
const LOSSY_APART_SECS: f64 = 0.001;
/// What is compared of two files, around the loudest place of the first, and the largest offset that is looked for.
const COMPARED_SECS: f64 = 4.0;
const MOST_APART_SECS: f64 = 0.05;
/// What is softer is not compared, and the length of a short-term reading (EBU Tech 3341).
const SOFT_LUFS: f64 = -70.0;
const SHORT_TERM_SECS: f64 = 3.0;
/// Correlation from which an offset can be told. Common practice, no source.
const RELATED: f64 = 0.2;

/// Whether a set may go out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Verdict {
    /// Whether it may.
    pub finished: bool,
    /// That, in one sentence.
    pub sentence: String,
    /// What stands in the way: code and place.
    pub stands: Vec<[String; 2]>,
    /// What of the sheet was not printed.
    pub not_printed: Vec<String>,
    /// Findings that the sheet accepts.
    pub accepted: usize,
}

/// Judges a set by the findings that stand, the number of those that are accepted, and what was left out.
#[must_use]
pub fn verdict(findings: &[Problem], accepted: usize, not_printed: Vec<String>) -> Verdict {
    let fails = findings.iter().filter(|finding| finding.severity == Severity::Fail);
    let stands: Vec<[String; 2]> = fails.map(|finding| [finding.code.to_owned(), finding.at.clone()]).collect();
    let finished = stands.is_empty() && not_printed.is_empty();
    let warnings = findings.iter().filter(|finding| finding.severity == Severity::Warn).count();
    let some = |count: usize, thing: &str, what: &str| match count {
        0 => None,
        1 => Some(format!("one {thing} {what}")),
        count => Some(format!("{count} {thing}s {what}")),
    };
    let both = [some(accepted, "finding", "accepted"), some(warnings, "warning", "to look at")];
    let both: Vec<String> = both.into_iter().flatten().collect();
    let with = if both.is_empty() { String::new() } else { format!(", with {}", both.join(" and ")) };
    let sentence = match stands.len() {
        0 if finished => format!("Ready to hand over{with}."),
        0 => format!(
            "Nothing printed here stands in the way{with}, but the set is not whole: without {}.",
            not_printed.join(", ")
        ),
        1 => "Not finished: one finding must be mended, or accepted by its code in the sheet.".to_owned(),
        count => format!("Not finished: {count} findings must be mended, or accepted by their codes in the sheet."),
    };
    Verdict { finished, sentence, stands, not_printed, accepted }
}

/// What a verdict on one file needs to know of it.
pub(crate) struct Delivered<'a> {
    /// What the findings are about.
    pub at: &'a str,
    /// What the sheet asked for.
    pub spec: &'a FileSpec,
    /// Length of the print, in frames, and the rate it was rendered at.
    pub print: (u64, u32),
    /// What was read back.
    pub read: &'a ReadBack,
    /// The title that its labels must carry.
    pub title: &'a str,
}

/// What the gate looks at of a file, read back.
#[derive(Clone, Debug)]
pub struct ReadBack {
    /// What the file says about itself.
    pub info: media::Info,
    /// Length.
    pub frames: u64,
    /// First and last frame above -90 dBFS.
    pub sounds: Option<(u64, u64)>,
    /// Levels at its ends.
    pub edges: Edges,
}

/// Findings about one file: its ends, its length, its word length, its labels.
pub(crate) fn of_file(file: &Delivered<'_>) -> Vec<Problem> {
    let mut findings = Vec::new();
    let mut add_at = |secs: Option<f64>, severity, code, message: String, remedy: &str| {
        let finding = Problem::new(severity, code, file.at, message, remedy.to_owned());
        findings.push(secs.map_or(finding.clone(), |secs| finding.at_secs(secs)));
    };
    let ReadBack { info, frames, edges, .. } = file.read;
    let rate_hz = f64::from(info.rate_hz);
    let secs = |frames: u64| frames as f64 / rate_hz;
    if edges
        .head_dbfs
        .zip(edges.early_dbfs)
        .is_some_and(|(head, early)| head >= HEAD_DBFS && head >= early - HEAD_GROWS_DB)
    {
        let message = format!("It sounds at {:.0} dBFS from its first sample on.", edges.head_dbfs.unwrap_or_default());
        add_at(
            Some(0.0),
            Severity::Warn,
            "head-cut",
            message,
            "Start the stems a little earlier: `from` in the sheet moves them all.",
        );
    }
    if let Some(tail) = edges.tail_dbfs.filter(|tail| *tail >= TAIL_DBFS) {
        let message = format!("It still sounds at {tail:.0} dBFS where it ends.");
        add_at(
            Some(secs(*frames)),
            Severity::Warn,
            "tail-cut",
            message,
            "Let the stems run until they are silent, or ride the mix down to a fade.",
        );
    }
    if let Some((first, last)) = file.read.sounds {
        let silences = [("head", 0.0, secs(first)), ("tail", secs(last + 1), secs(frames.saturating_sub(last + 1)))];
        for (which, from, silence) in silences.into_iter().filter(|(.., silence)| *silence > LONG_SILENCE_SECS) {
            let message = format!("There are {silence:.1} s of silence at its {which}.");
            let remedy = "Fine if it is wanted; if not, trim the stems.";
            add_at(Some(from), Severity::Note, "long-silence", message, remedy);
        }
    }
    let mut add = |severity, code, message, remedy: &str| add_at(None, severity, code, message, remedy);
    let (print_frames, print_hz) = file.print;
    let longer = secs(*frames) - print_frames as f64 / f64::from(print_hz);
    let allowed = if info.lossy { LOSSY_PADDING_SECS } else { 1.0 / rate_hz };
    if longer.abs() > allowed + f64::EPSILON {
        let message =
            format!("It is {:.4} s {} than the print.", longer.abs(), if longer > 0.0 { "longer" } else { "shorter" });
        add(Severity::Fail, "length-differs", message, "Print again; if it comes back, write another format.");
    }
    if file.spec.format.rounding() == Some((16, Dither::None)) {
        let message = "It was cut to 16 bits without dither: soft endings turn rough.".to_owned();
        add(Severity::Warn, "no-dither", message, "Take `dither = \"none\"` out.");
    }
    if info.tag("title").is_none_or(|title| title != file.title) {
        let message = format!("Its labels do not carry the title “{}”.", file.title);
        add(Severity::Fail, "label-lost", message, "Print again; if it comes back, write another format.");
    }
    findings
}

/// Findings about what the sheet gives the labels.
pub(crate) fn of_labels(sheet: &Sheet) -> Vec<Problem> {
    let song = &sheet.song;
    let mut findings = Vec::new();
    if song.artist.trim().is_empty() {
        let message = "The song has no artist, so that its files do not say whose they are.".to_owned();
        let remedy = "Write `artist` below `[song]`.".to_owned();
        findings.push(Problem::new(Severity::Warn, "no-artist", "song", message, remedy));
    }
    let wanted = [
        ("isrc", &song.isrc),
        ("writer", &song.writer),
        ("producer", &song.producer),
        ("mixer", &song.mixer),
        ("contact", &song.contact),
        ("date", &song.date),
    ];
    let missing: Vec<&str> = wanted.iter().filter(|(_, value)| value.is_none()).map(|(key, _)| *key).collect();
    if !missing.is_empty() {
        let message = format!("The labels lack: {}.", missing.join(", "));
        let remedy = "Write them below `[song]`, as far as they are known.".to_owned();
        findings.push(Problem::new(Severity::Note, "labels-incomplete", "song", message, remedy));
    }
    findings
}

/// Findings about files of a set that do not start at the same sample as the first: each is laid against it where the first
/// is loudest. `path` says where a file lies now.
pub(crate) fn of_sync(
    files: &[FileRecord],
    threads: usize,
    path: &(dyn Fn(&FileRecord) -> std::path::PathBuf + Sync),
) -> Result<Vec<Problem>, Fault> {
    let Some((first, others)) = files.split_first() else { return Ok(Vec::new()) };
    let Some(at_secs) = first.loudest_secs else { return Ok(Vec::new()) };
    let from_secs = (at_secs - COMPARED_SECS / 2.0).max(0.0);
    let (rate_hz, model) = stretch(&path(first), from_secs)?;
    let compared = in_parallel(threads, others, |file| {
        let (other_hz, other) = stretch(&path(file), from_secs)?;
        if other_hz != rate_hz {
            return Ok(None);
        }
        let allowed = if file.lossy { LOSSY_APART_SECS * f64::from(rate_hz) } else { APART_SAMPLES };
        let most = (MOST_APART_SECS * f64::from(rate_hz)) as usize;
        // Files in step, and parts that share nothing, need no fraction of a sample.
        let look = measure::whole_delay(&model, &other, most);
        let worth = |(delay, correlation): &(i64, f64)| {
            *correlation >= RELATED / 2.0 && delay.unsigned_abs() as f64 + 0.5 > allowed
        };
        let found = look.filter(worth).and_then(|_| measure::align(&model, &other, most));
        let apart = |found: &measure::Alignment| found.correlation >= RELATED && found.delay_samples.abs() >= allowed;
        Ok(found.filter(apart).map(|found| {
            let at = format!("{}, {}", file.name, file.format);
            let message = format!(
                "It lies {:.1} samples {} {}, so that the two do not splice.",
                found.delay_samples.abs(),
                if found.delay_samples > 0.0 { "behind" } else { "ahead of" },
                first.name
            );
            let remedy =
                "Look for a delay on a path that only one of them has; if there is none, print again.".to_owned();
            Problem::new(Severity::Fail, "out-of-sync", &at, message, remedy).at_secs(at_secs)
        }))
    })?;
    Ok(compared.into_iter().flatten().collect())
}

/// The end of the loudest three seconds of a file, less half of them.
pub(crate) fn loudest_secs(measured: &Measured) -> Option<f64> {
    let loudness = |point: &measure::LoudnessPoint| point.short_term_lufs.or(point.momentary_lufs);
    let heard = measured.loudness_history.iter().filter(|point| loudness(point).is_some_and(|lufs| lufs > SOFT_LUFS));
    let loudest = heard.max_by(|a, b| loudness(a).partial_cmp(&loudness(b)).unwrap_or(std::cmp::Ordering::Equal))?;
    Some((loudest.secs - SHORT_TERM_SECS / 2.0).max(0.0))
}

/// Some seconds of a file, from a time on.
fn stretch(path: &Path, from_secs: f64) -> Result<(u32, Vec<Frame>), Fault> {
    let mut reader = media::Reader::open(path).map_err(|error| media_fault(&error))?;
    let rate_hz = reader.info().rate_hz;
    reader.seek((from_secs * f64::from(rate_hz)) as u64).map_err(|error| media_fault(&error))?;
    let mut frames = vec![units::SILENCE; (COMPARED_SECS * f64::from(rate_hz)) as usize];
    let mut filled = 0;
    while filled < frames.len() {
        match reader.read(&mut frames[filled..]).map_err(|error| media_fault(&error))? {
            0 => break,
            read => filled += read,
        }
    }
    frames.truncate(filled);
    Ok((rate_hz, frames))
}

#[cfg(test)]
mod tests;
