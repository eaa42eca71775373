//! What the program says, and where: text for people, one JSON object for programs.

use std::io::{IsTerminal, Write};
use std::path::Path;

use engine::Fault;
use miette::{GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteDiagnostic, NamedSource, Report};
use prints::Loaded;
use serde::Serialize;
use units::{Problem, Severity};

use crate::outcome::Outcome;
use crate::progress::Progress;

/// The voice of one call.
pub struct Voice {
    json: bool,
    quiet: bool,
}

impl Voice {
    /// A voice for people, or with `json` for programs.
    pub fn new(json: bool, quiet: bool) -> Self {
        Self { json, quiet }
    }

    /// A line for people.
    pub fn say(&self, line: &str) {
        if self.quiet {
            return;
        }
        let line = harmless(line, &['\n', '\t']);
        // A closed pipe is nobody's fault: whoever reads has had enough.
        let _ = if self.json { writeln!(anstream::stderr(), "{line}") } else { writeln!(anstream::stdout(), "{line}") };
    }

    /// A line that is said even when quiet.
    fn insist(&self, line: &str) {
        let _ = writeln!(anstream::stderr(), "{}", harmless(line, &['\n', '\t']));
    }

    /// The object for programs. Says nothing to people.
    pub fn data(&self, data: &impl Serialize) {
        if self.json {
            let text = serde_json::to_string_pretty(data).unwrap_or_else(|_| "{}".to_owned());
            let _ = writeln!(anstream::stdout(), "{text}");
        }
    }

    /// A progress bar, where one can be seen.
    pub fn progress(&self) -> Progress {
        Progress::new(!self.quiet && !self.json && std::io::stderr().is_terminal())
    }

    /// A fault that ends the command.
    pub fn fault(&self, fault: &Fault) -> Outcome {
        let problem = fault.problem();
        self.data(&serde_json::json!({ "findings": [problem] }));
        self.insist(&line_of(problem));
        Outcome::of(fault)
    }

    /// Findings, without places in a text. What is the same of several, one after another, is said once.
    pub fn findings(&self, findings: &[Problem]) {
        lines_of(findings).iter().for_each(|line| self.say(line));
    }

    /// Problems of a sheet, each with its line underlined.
    pub fn sheet_problems(&self, loaded: &Loaded) {
        self.problems_in(&loaded.path, &loaded.text, &loaded.problems);
    }

    /// Problems of a text, each with its line underlined.
    pub fn problems_in(&self, path: &Path, text: &str, problems: &[Problem]) {
        for problem in problems {
            let failed = problem.severity == Severity::Fail;
            let told = underlined(path, text, problem);
            if failed { self.insist(told.trim_end()) } else { self.say(told.trim_end()) }
        }
    }
}

fn lines_of(findings: &[Problem]) -> Vec<String> {
    let same = |one: &Problem, other: &Problem| {
        let said = |finding: &Problem| {
            (finding.severity, finding.code, finding.message.clone(), finding.remedy.clone(), finding.at_ms)
        };
        !one.at.is_empty() && said(one) == said(other)
    };
    let groups = findings.chunk_by(same);
    let line = |alike: &[Problem]| {
        let places: Vec<&str> = alike.iter().map(|finding| finding.at.as_str()).collect();
        line_at(&alike[0], &places.join(", "))
    };
    groups.map(line).collect()
}

/// A finding as a line: what, and what to do.
fn line_of(finding: &Problem) -> String {
    line_at(finding, &finding.at)
}

fn line_at(finding: &Problem, at: &str) -> String {
    let word = word_of(finding.severity);
    let at = (!at.is_empty() && !finding.message.contains(at)).then(|| at.to_owned());
    let time = finding.time_in_words().map(|time| format!("at {time}"));
    let place: Vec<String> = at.into_iter().chain(time).collect();
    let at = if place.is_empty() { String::new() } else { format!("{}: ", place.join(", ")) };
    harmless(&format!("  {word:5} {at}{} {} [{}]", finding.message, finding.remedy, finding.code), &[])
}

/// Text without characters that a terminal obeys, as names of files may hold; some of them may be kept.
fn harmless(text: &str, keep: &[char]) -> String {
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() && !keep.contains(&c) { shown.extend(c.escape_default()) } else { shown.push(c) }
    }
    shown
}

fn word_of(severity: Severity) -> &'static str {
    match severity {
        Severity::Fail => "fail",
        Severity::Warn => "warn",
        Severity::Note => "note",
    }
}

/// A problem with the lines of the text that it means.
fn underlined(path: &Path, text: &str, problem: &Problem) -> String {
    let Some(place) = problem.place else { return line_of(problem) };
    let title = format!("{}: {}", word_of(problem.severity), problem.message);
    let label = LabeledSpan::new_primary_with_span(None, (place.from, (place.to - place.from).max(1)));
    let diagnostic = MietteDiagnostic::new(title).with_help(&problem.remedy).with_label(label);
    let name = path.display().to_string();
    let report = Report::new(diagnostic).with_source_code(NamedSource::new(name, text.to_owned()));
    let theme = GraphicalTheme::unicode_nocolor();
    let mut text = String::new();
    let drawn = GraphicalReportHandler::new_themed(theme).with_context_lines(0).render_report(&mut text, &*report);
    if drawn.is_ok() { text } else { line_of(problem) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_the_same_of_several_is_said_once() {
        let mono =
            |at: &str| Problem::new(Severity::Note, "dual-mono", at, "It is mono.".to_owned(), "Pan it.".to_owned());
        let late = Problem::new(Severity::Warn, "late", "hats.wav", "It is late.".to_owned(), "Move it.".to_owned())
            .at_secs(12.5);
        assert_eq!(
            lines_of(&[mono("kick.wav"), mono("snare.wav"), late, mono("toms.wav")]),
            [
                "  note  kick.wav, snare.wav: It is mono. Pan it. [dual-mono]",
                "  warn  hats.wav, at 0:12.500: It is late. Move it. [late]",
                "  note  toms.wav: It is mono. Pan it. [dual-mono]",
            ]
        );
    }
}
