//! Places in a text, found by halving rather than by counting from the start: a sheet may have 10,000 names.

use std::ops::Range;

use units::Place;

/// A text and where its lines start.
pub(crate) struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> Lines<'a> {
    pub fn of(text: &'a str) -> Self {
        let after_breaks = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at + 1);
        Self { text, starts: std::iter::once(0).chain(after_breaks).collect() }
    }

    /// A range of bytes, drawn out to the end of the word that it ends in.
    pub fn whole_word(&self, range: Range<usize>) -> Range<usize> {
        let rest = self.text.get(range.end..).unwrap_or("");
        let inside =
            self.text.get(range.clone()).is_some_and(|text| text.is_empty() || text.ends_with(char::is_alphanumeric));
        let length = rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
        range.start..range.end + if inside { length } else { 0 }
    }

    /// The place of a range of bytes.
    pub fn place(&self, range: &Range<usize>) -> Place {
        let from = (0..=range.start.min(self.text.len())).rev().find(|at| self.text.is_char_boundary(*at)).unwrap_or(0);
        let line = self.starts.partition_point(|start| *start <= from);
        let line_start = self.starts[line - 1];
        Place {
            line,
            column: self.text[line_start..from].chars().count() + 1,
            from,
            to: range.end.clamp(from, self.text.len()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_agree_with_those_counted_from_the_start() {
        let text = "a\nbü = 3\n\n\"ö\" = 1";
        for from in 0..=text.len() + 2 {
            assert_eq!(Lines::of(text).place(&(from..from + 1)), Place::of(text, from..from + 1), "byte {from}");
        }
    }
}
