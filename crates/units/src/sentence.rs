//! Sentences that state settings: templates whose blanks are parameters.
//!
//! `{name}` stands for a parameter with its unit. A phrase in square brackets is left out when every parameter in it is
//! at its default. Reports fill the blanks with text; a page may put a control there.

use crate::{Kind, Param, Unit, Value};

/// A part of a sentence that is said or left out as a whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Phrase<'t> {
    /// Whether it is left out while all its parameters are at rest.
    pub optional: bool,
    /// Words and blanks in order.
    pub pieces: Vec<Piece<'t>>,
}

/// Words, or a blank.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Piece<'t> {
    /// Words.
    Words(&'t str),
    /// The parameter of this name.
    Blank(&'t str),
}

/// The phrases of a template.
#[must_use]
pub fn phrases(template: &str) -> Vec<Phrase<'_>> {
    let mut phrases = Vec::new();
    let mut rest = template;
    while !rest.is_empty() {
        let optional = rest.starts_with('[');
        let inner = if optional { &rest[1..] } else { rest };
        let end = inner.find(if optional { ']' } else { '[' }).unwrap_or(inner.len());
        phrases.push(Phrase { optional, pieces: pieces(&inner[..end]) });
        rest = if optional { inner.get(end + 1..).unwrap_or("") } else { &inner[end..] };
    }
    phrases
}

fn pieces(phrase: &str) -> Vec<Piece<'_>> {
    let mut pieces = Vec::new();
    let mut rest = phrase;
    while let Some(open) = rest.find('{') {
        let close = rest[open..].find('}').map_or(rest.len(), |length| open + length);
        pieces.push(Piece::Words(&rest[..open]));
        pieces.push(Piece::Blank(&rest[open + 1..close]));
        rest = rest.get(close + 1..).unwrap_or("");
    }
    pieces.push(Piece::Words(rest));
    pieces.retain(|piece| *piece != Piece::Words(""));
    pieces
}

/// A template filled with values. Blanks that `lookup` does not know stay empty.
#[must_use]
pub fn render(template: &str, lookup: &dyn Fn(&str) -> Option<(Param, Value)>) -> String {
    let mut text = String::new();
    for phrase in phrases(template) {
        let filled = phrase.pieces.iter().map(|piece| match piece {
            Piece::Words(words) => (None, *words),
            Piece::Blank(name) => (lookup(name), ""),
        });
        let filled: Vec<(Option<(Param, Value)>, &str)> = filled.collect();
        let moved = |(given, _): &(Option<(Param, Value)>, &str)| {
            given.as_ref().is_some_and(|(param, value)| *value != Value::default_of(param))
        };
        if phrase.optional && !filled.iter().any(moved) {
            continue;
        }
        for (given, words) in filled {
            text.push_str(words);
            text.push_str(&given.map_or_else(String::new, |(param, value)| in_words(&param, &value)));
        }
    }
    text
}

/// A value with its unit, as text shows it: `-4 dB`, `6.5 kHz`, `valve`.
#[must_use]
pub fn in_words(param: &Param, value: &Value) -> String {
    match (param.kind, value) {
        (Kind::Number { unit, .. }, Value::Number(x)) => number_in_words(*x, unit),
        (Kind::Choice { options, .. }, Value::Choice(index)) => options.get(*index).copied().unwrap_or("").to_owned(),
        (_, Value::Switch(on)) => if *on { "on" } else { "off" }.to_owned(),
        (_, Value::File(Some(path))) => path.clone(),
        _ => "none".to_owned(),
    }
}

/// A number with its unit: `-4 dB`, `6.5 kHz`, `0.4 ms`, with a true minus sign left to typesetting.
#[must_use]
pub fn number_in_words(x: f64, unit: Unit) -> String {
    if unit == Unit::Hertz && x >= 1000.0 {
        return format!("{} kHz", trimmed(x / 1000.0, 2));
    }
    let number = trimmed(x, 3);
    match unit.symbol() {
        "" => number,
        "%" => format!("{number}%"),
        symbol => format!("{number} {symbol}"),
    }
}

fn trimmed(x: f64, places: usize) -> String {
    let text = format!("{x:.places$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// A number of things: `1 stem`, `2 buses`.
#[must_use]
pub fn counted(count: usize, thing: &str) -> String {
    let ending = match (count, thing.ends_with('s')) {
        (1, _) => "",
        (_, true) => "es",
        (_, false) => "s",
    };
    format!("{count} {thing}{ending}")
}

/// A text with true minus signs ahead of numbers, as in print.
#[must_use]
pub fn typeset(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut letters = text.chars().peekable();
    let mut before = ' ';
    while let Some(letter) = letters.next() {
        let is_minus = letter == '-' && before.is_whitespace() && letters.peek().is_some_and(char::is_ascii_digit);
        out.push(if is_minus { '−' } else { letter });
        before = letter;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_one_and_others_are_many() {
        let said = [(0, "stem"), (1, "bus"), (2, "bus"), (3, "print")].map(|(count, thing)| counted(count, thing));
        assert_eq!(said, ["0 stems", "1 bus", "2 buses", "3 prints"]);
    }

    #[test]
    fn minus_signs_stand_ahead_of_numbers_only() {
        assert_eq!(typeset("-3 dB, pre-fader, r-1, 2026-11-27, at -0.5"), "−3 dB, pre-fader, r-1, 2026-11-27, at −0.5");
    }

    #[test]
    fn a_template_falls_into_phrases_with_words_and_blanks() {
        let found = phrases("a {kind} one above {threshold_db}[; its key is high-passed at {key_hz}], done");
        let words: Vec<(bool, usize)> = found.iter().map(|phrase| (phrase.optional, phrase.pieces.len())).collect();
        assert_eq!(words, [(false, 4), (true, 2), (false, 1)]);
        assert_eq!(found[1].pieces, [Piece::Words("; its key is high-passed at "), Piece::Blank("key_hz")]);
        assert!(phrases("").is_empty());
    }
}
