//! Problems and findings: what is wrong, where, how bad, and what to do.

use serde::Serialize;

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Likely unwanted.
    Warn,
    /// Must not be delivered like this.
    Fail,
}

/// A place in a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
pub struct Place {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// First byte of the excerpt that is meant.
    pub from: usize,
    /// Byte after the excerpt.
    pub to: usize,
}

impl Place {
    /// The place of a range of bytes in a text.
    #[must_use]
    pub fn of(text: &str, range: std::ops::Range<usize>) -> Self {
        let from = (0..=range.start.min(text.len())).rev().find(|i| text.is_char_boundary(*i)).unwrap_or(0);
        let before = &text[..from];
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        Self {
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
            from,
            to: range.end.clamp(from, text.len()),
        }
    }
}

/// One result of a check, with its severity and a remedy: a problem in a sheet, a fault in a file, a finding about a
/// print. Programs read `code`; people read `message` and `remedy`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// How bad it is.
    pub severity: Severity,
    /// Stable short name, for instance `unknown-key`.
    pub code: &'static str,
    /// What it is about: a node, a file, a time.
    #[serde(rename = "where")]
    pub at: String,
    /// What is the case, in one sentence.
    pub message: String,
    /// What to do, in one sentence.
    pub remedy: String,
    /// Where in the song, in milliseconds, if it is about a place in it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_ms: Option<u64>,
    /// Where in the sheet's text, if it comes from there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
}

impl Problem {
    /// A finding of a severity. Of what the operating system says, its number is left out: the words stand before it.
    #[must_use]
    pub fn new(severity: Severity, code: &'static str, at: &str, mut message: String, remedy: String) -> Self {
        if let Some((words, rest)) = message.split_once(" (os error ") {
            message = format!("{words}{}", rest.split_once(')').map_or("", |(_, after)| after));
        }
        Self { severity, code, at: at.to_owned(), message, remedy, at_ms: None, place: None }
    }

    /// The same at a place in the song. Ahead of its start counts as there.
    #[must_use]
    pub fn at_secs(mut self, secs: f64) -> Self {
        self.at_ms = Some((secs * 1000.0).round() as u64);
        self
    }

    /// Where in the song it is, in words; none where its message says that itself.
    #[must_use]
    pub fn time_in_words(&self) -> Option<String> {
        let time = crate::format_time(self.at_ms? as f64 / 1000.0);
        (!self.message.contains(&time)).then_some(time)
    }

    /// The same with a place in the sheet's text.
    #[must_use]
    pub fn at_place(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_operating_system_speaks_in_words() {
        let said = |message: &str| {
            Problem::new(Severity::Fail, "cannot-read", "a.wav", message.to_owned(), String::new()).message
        };
        assert_eq!(said("a.wav: No such file or directory (os error 2)."), "a.wav: No such file or directory.");
        assert_eq!(said("It is (os) error 2."), "It is (os) error 2.");
    }

    #[test]
    fn places_count_lines_from_one_and_columns_in_characters() {
        let text = "a\nbü = 3\n";
        let place = Place::of(text, 8..9);
        assert_eq!((place.line, place.column), (2, 6));
        assert_eq!(Place::of(text, 900..901).line, 3);
    }
}
