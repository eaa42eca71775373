//! Verdicts on what happened to a recording before it came in.

use measure::stem_facts::Breaks;
use units::{Problem, Severity, format_time};

use super::Incoming;

/// Peak level of a hum from which it is a warning; below, a note. Common practice, no source.
const HUM_WARN_DBFS: f64 = -75.0;
/// Level of the last ten milliseconds from which a file ends too early. Common practice, no source.
const TAIL_DBFS: f64 = -60.0;
/// Level of the first two milliseconds from which a file begins too late, and how near that is to the first fifty: an attack
/// grows. Common practice, no source.
const HEAD_DBFS: f64 = -50.0;
const HEAD_GROWS_DB: f64 = 10.0;
/// Walls above this are those of converters for recordings of 44.1 kHz and more, not of encoders. LAME's highest low-pass
/// lies at 20.5 kHz (its own table of presets, from memory).
const ENCODERS_HZ: f64 = 20_800.0;
/// Times that are told of clicks and edits.
const MOST_TIMES: usize = 3;

/// Findings about one file.
pub(super) fn of_file(file: &Incoming) -> Vec<Problem> {
    let mut findings = Vec::new();
    let mut add = |frame: Option<u64>, severity, code, message: String, remedy: String| {
        let finding = Problem::new(severity, code, &file.file, message, remedy);
        findings.push(frame.map_or(finding.clone(), |frame| finding.at_secs(file.secs(frame))));
    };
    let facts = &file.facts;
    if let Some(hum) = &facts.hum {
        let severity = if hum.level_dbfs >= HUM_WARN_DBFS { Severity::Warn } else { Severity::Note };
        let lines: Vec<String> =
            hum.multiples.iter().map(|multiple| format!("{:.0}", hum.mains_hz * *multiple as f64)).collect();
        let message = format!(
            "It hums with the mains of {:.0} Hz at {:.0} dBFS, from start to end: {} Hz.",
            hum.mains_hz,
            hum.level_dbfs,
            lines.join(", ")
        );
        let remedy = "Cut it with narrow bells at these frequencies, and ask for a take without it.".to_owned();
        add(None, severity, "hum", message, remedy);
    }
    let first = |breaks: &Breaks| breaks.listed.first().map(|found| found.frame);
    if let Some(message) = places(file, &facts.clicks, "It clicks") {
        let remedy = "Listen there; ask for the take without it, or have it drawn out.".to_owned();
        add(first(&facts.clicks), Severity::Warn, "click", message, remedy);
    }
    if let Some(message) = places(file, &facts.edits, "It is cut without a fade") {
        let remedy = "Listen there; ask for the edit with short fades.".to_owned();
        add(first(&facts.edits), Severity::Warn, "hard-edit", message, remedy);
    }
    ends(file, &mut add);
    // At full scale that is the finding `clipped`.
    let lowered = facts.flat_tops.filter(|tops| tops.level_dbfs < units::db_from_gain(measure::level::FULL_SCALE));
    if let Some(tops) = lowered {
        let message = format!(
            "It was clipped and turned down: {} tops are flat at {:.1} dBFS, the first at {}.",
            tops.count,
            tops.level_dbfs,
            format_time(file.secs(tops.first_frame))
        );
        let remedy = "Ask for it from before it was clipped, or listen whether that was meant.".to_owned();
        add(Some(tops.first_frame), Severity::Warn, "clipped-lowered", message, remedy);
    }
    if let Some(wall) = facts.cut_off.filter(|wall| wall.hz < ENCODERS_HZ && !file.info.lossy) {
        let message = format!(
            "Its treble ends like a wall at {:.1} kHz ({:.0} dB down), as that of a lossy format does.",
            wall.hz / 1000.0,
            wall.fall_db
        );
        let remedy = "Ask for the recording itself, as it was before any MP3 or the like.".to_owned();
        add(None, Severity::Warn, "lossy-source", message, remedy);
    }
    findings
}

fn ends(file: &Incoming, add: &mut dyn FnMut(Option<u64>, Severity, &'static str, String, String)) {
    let edges = &file.facts.edges;
    if let Some((head, early)) = edges.head_dbfs.zip(edges.early_dbfs)
        && head >= HEAD_DBFS
        && head >= early - HEAD_GROWS_DB
    {
        let message = format!("It sounds at {head:.0} dBFS from its first sample on: what came before is missing.");
        let remedy = "Ask for it with its attack, from a little earlier.".to_owned();
        add(Some(0), Severity::Warn, "cut-start", message, remedy);
    }
    if let Some(tail) = edges.tail_dbfs.filter(|tail| *tail >= TAIL_DBFS) {
        let message =
            format!("It still sounds at {tail:.0} dBFS where it ends, {}.", format_time(file.secs(file.facts.frames)));
        let remedy = "Ask for it with its tail, until it is silent.".to_owned();
        add(Some(file.facts.frames), Severity::Warn, "cut-end", message, remedy);
    }
}

/// Where the waveform breaks, in words; none if nowhere.
fn places(file: &Incoming, breaks: &Breaks, what: &str) -> Option<String> {
    let time = |found: &measure::stem_facts::Break| format_time(file.secs(found.frame));
    let told: Vec<String> = breaks.listed.iter().take(MOST_TIMES).map(time).collect();
    let loudest = breaks.listed.iter().map(|found| found.jump_dbfs).fold(f64::NEG_INFINITY, f64::max);
    match breaks.count as usize {
        0 => None,
        count if count <= told.len() => Some(format!("{what} at {} (a jump of {loudest:.0} dBFS).", told.join(", "))),
        count => Some(format!("{what} in {count} places, first at {} (up to {loudest:.0} dBFS).", told.join(", "))),
    }
}
