//! Verdicts on what came in. Limits that no standard gives are marked as common practice.

use measure::stem_facts::Channels;
use units::{Problem, Severity, counted, format_time};

use super::Incoming;

/// Samples in a row at full scale that count as clipped. Common practice, no source.
const CLIPPED_RUN: u64 = 3;
/// Mean of a channel from which it counts as an offset: -60 dB of full scale. Common practice, no source.
const DC_LIMIT: f64 = 0.001;
/// Correlation of the two channels below which one of them is taken to be turned over. Common practice, no source.
const TURNED_OVER: f64 = -0.8;

/// Findings about one file.
pub(super) fn of_file(file: &Incoming, rate_hz: u32) -> Vec<Problem> {
    let mut findings = Vec::new();
    let mut add_at = |frame: Option<u64>, severity, code, message: String, remedy: &str| {
        let finding = Problem::new(severity, code, &file.file, message, remedy.to_owned());
        findings.push(frame.map_or(finding.clone(), |frame| finding.at_secs(file.secs(frame))));
    };
    let (info, facts) = (&file.info, &file.facts);
    if let Some(bad) = facts.non_finite {
        let time = format_time(file.secs(bad.first_frame));
        let message = format!("Not numbers: {}, the first at {time}.", counted(bad.samples as usize, "sample"));
        let remedy = "Export it again; what made it is broken there.";
        add_at(Some(bad.first_frame), Severity::Fail, "not-a-number", message, remedy);
    }
    if let Some((first, places)) = clipped(file) {
        let time = format_time(file.secs(first));
        let message = format!("It is clipped in {}, the first at {time}.", counted(places, "place"));
        let remedy = "Ask for it at a lower level, or listen whether it was meant.";
        add_at(Some(first), Severity::Warn, "clipped", message, remedy);
    }
    let mut add = |severity, code, message, remedy: &str| add_at(None, severity, code, message, remedy);
    if info.rate_hz != rate_hz {
        let message = format!("It runs at {} Hz, the others at {rate_hz} Hz.", info.rate_hz);
        add(Severity::Note, "other-rate", message, "It is converted while printing; nothing need be done.");
    }
    if info.lossy {
        let message = format!("It comes from a lossy format ({}).", info.format);
        add(Severity::Warn, "lossy", message, "Ask for the recording itself.");
    }
    of_level(file, &mut add);
    of_channels(file, &mut add);
    findings
}

/// The first frame at which it is clipped, and in how many places it is.
fn clipped(file: &Incoming) -> Option<(u64, usize)> {
    let runs = || file.facts.clips.runs.iter().filter(|run| run.frames >= CLIPPED_RUN);
    Some((runs().next()?.from_frame, runs().count()))
}

fn of_level(file: &Incoming, add: &mut dyn FnMut(Severity, &'static str, String, &str)) {
    let facts = &file.facts;
    if facts.dc.iter().any(|mean| mean.abs() > DC_LIMIT) {
        let message = format!("It does not rest at zero: mean {:.4} left, {:.4} right.", facts.dc[0], facts.dc[1]);
        add(Severity::Warn, "dc", message, "Give it a low cut at 20 Hz in the sheet.");
    }
}

fn of_channels(file: &Incoming, add: &mut dyn FnMut(Severity, &'static str, String, &str)) {
    let mono_file = file.info.channels == 1;
    match file.facts.channels {
        Channels::Silent => {
            add(Severity::Warn, "silent", "It is silent from start to end.".to_owned(), "Ask what should be in it.");
        }
        Channels::LeftOnly | Channels::RightOnly => {
            let side = if file.facts.channels == Channels::LeftOnly { "left" } else { "right" };
            let message = format!("Only its {side} channel carries sound.");
            add(Severity::Warn, "one-sided", message, "Export it as mono, if it was not meant to sit on one side.");
        }
        Channels::Identical | Channels::NearlyIdentical if !mono_file => {
            let message = "Both channels hold the same: it is mono in a stereo file.".to_owned();
            add(Severity::Note, "dual-mono", message, "Nothing need be done; the sheet can pan it.");
        }
        Channels::Stereo if file.facts.correlation.is_some_and(|correlation| correlation < TURNED_OVER) => {
            let message = "Its channels cancel in mono: the polarity of one of them is inverted.".to_owned();
            add(Severity::Warn, "channel-polarity", message, "Export it with both channels in polarity.");
        }
        _ => {}
    }
}

/// Findings about the files as a set.
pub(super) fn of_set(files: &[Incoming]) -> Vec<Problem> {
    let mut findings = Vec::new();
    let stems: Vec<&Incoming> = files.iter().filter(|file| file.group().is_some()).collect();
    for (index, file) in stems.iter().enumerate() {
        let same = |other: &&&Incoming| {
            other.facts.content_hash == file.facts.content_hash && other.facts.first_sound_frame.is_some()
        };
        if let Some(first) = stems[..index].iter().find(same) {
            let message = format!("It holds the same recording as {}.", first.file);
            let remedy = "Leave one of them out, or ask for the part that is missing.".to_owned();
            findings.push(Problem::new(Severity::Warn, "duplicate", &file.file, message, remedy));
        }
    }
    findings.extend(of_lengths(&stems));
    if stems.is_empty() {
        let message =
            "Nothing here is named like a part of a song; all are taken as mixes to listen against.".to_owned();
        let remedy = "Name stems by what plays in them.".to_owned();
        findings.push(Problem::new(Severity::Fail, "no-stems", "", message, remedy));
    }
    findings
}

/// Stems of one export are equally long; others may start elsewhere.
fn of_lengths(stems: &[&Incoming]) -> Option<Problem> {
    let secs = |file: &Incoming| file.secs(file.facts.frames);
    let longest = stems.iter().max_by(|a, b| secs(a).total_cmp(&secs(b)))?;
    let shorter: Vec<&&Incoming> = stems.iter().filter(|file| secs(longest) - secs(file) > 0.002).collect();
    if shorter.is_empty() {
        return None;
    }
    let example = shorter.first()?;
    let message = format!(
        "{} of {} stems are shorter than {} ({}), for instance {} ({}).",
        shorter.len(),
        stems.len(),
        longest.file,
        format_time(secs(longest)),
        example.file,
        format_time(secs(example)),
    );
    let remedy = "Check that all start at the same moment; give `from` in the sheet to those that do not.".to_owned();
    Some(Problem::new(Severity::Note, "lengths", "", message, remedy))
}
