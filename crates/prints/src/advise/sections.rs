//! The song's sections as stretches of time.

use engine::Plan;
use sheet::Sheet;

/// What a song without sections is called.
const WHOLE: &str = "whole song";

/// A section.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Span {
    pub name: String,
    /// Start and end, in seconds.
    pub secs: [f64; 2],
}

/// The sections of a song, each until the next one starts; without any, all of it. What lies ahead of the first is in
/// none.
pub(super) fn spans(sheet: &Sheet, plan: &Plan) -> Vec<Span> {
    let end = plan.print_frames() as f64 / plan.rate_hz;
    let starts: Vec<f64> = sheet.sections.iter().map(|section| section.from_secs).chain([end]).collect();
    let span = |(section, pair): (&sheet::Section, &[f64])| {
        let [from, to] = [pair[0], pair[1]].map(|secs| secs.clamp(0.0, end));
        Span { name: section.name.as_str().to_owned(), secs: [from, to] }
    };
    let all: Vec<Span> = sheet.sections.iter().zip(starts.windows(2)).map(span).collect();
    if all.is_empty() { vec![Span { name: WHOLE.to_owned(), secs: [0.0, end] }] } else { all }
}

/// The frames at which they start.
pub(super) fn starts(spans: &[Span], rate_hz: f64) -> Vec<u64> {
    spans.iter().map(|span| units::frames_from_secs(span.secs[0], rate_hz).max(0) as u64).collect()
}
