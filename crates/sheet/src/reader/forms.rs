//! The forms that single values take.

use units::{Kind, Param, Unit, Value};

use super::report::{Fault, listed};
use crate::keys::{Form, PLACEHOLDERS};
use crate::tree::{Tree, Written};

/// A parameter's value.
pub(super) fn param(param: &Param, written: &Written) -> Result<Value, Fault> {
    let name = param.name;
    match (param.kind, &written.value) {
        (Kind::Number { unit, low, high, .. }, Tree::Number(number)) => {
            in_range(name, *number, unit, [low, high]).map(Value::Number)
        }
        (Kind::Number { unit, low, high, .. }, _) => {
            let message = format!("`{name}` takes a number, not {}.", written.what());
            Err(Fault::new("wrong-type", message, format!("Write a number from {}.", range(unit, [low, high]))))
        }
        (Kind::Choice { options, .. }, Tree::Text(word)) => word_of(name, options, word),
        (Kind::Choice { options, .. }, Tree::Number(number)) => {
            let word = number.to_string();
            if options.contains(&word.as_str()) {
                word_of(name, options, &word)
            } else {
                Err(not_a_word(name, options, written))
            }
        }
        (Kind::Choice { options, .. }, _) => Err(not_a_word(name, options, written)),
        (Kind::Switch { .. }, Tree::Switch(on)) => Ok(Value::Switch(*on)),
        (Kind::Switch { .. }, _) => {
            let message = format!("`{name}` takes true or false, not {}.", written.what());
            Err(Fault::new("wrong-type", message, "Write true or false, without quotes."))
        }
        (Kind::File, Tree::Text(path)) => inside(path).map(|()| Value::File(Some(path.clone()))),
        (Kind::File, _) => {
            let message = format!("`{name}` takes the path of a file, not {}.", written.what());
            Err(Fault::new("wrong-type", message, "Write a path in quotes."))
        }
    }
}

/// A number inside a range, ends included.
pub(super) fn in_range(name: &str, number: f64, unit: Unit, [low, high]: [f64; 2]) -> Result<f64, Fault> {
    if (low..=high).contains(&number) {
        return Ok(number);
    }
    let message = format!("`{name}` cannot be {}.", with_unit(number, unit));
    Err(Fault::new("out-of-range", message, format!("Write a number from {}.", range(unit, [low, high]))))
}

fn word_of(name: &str, options: &[&str], word: &str) -> Result<Value, Fault> {
    let index = options.iter().position(|option| *option == word);
    let message = || format!("`{name}` cannot be `{word}`.");
    index.map(Value::Choice).ok_or_else(|| Fault::new("unknown-word", message(), ""))
}

fn not_a_word(name: &str, options: &[&'static str], written: &Written) -> Fault {
    let message = format!("`{name}` takes one of some words, not {}.", written.what());
    Fault::new("wrong-type", message, format!("Write one of {}, in quotes.", listed(options.iter().copied())))
}

/// A range with its unit: `-60 to 0 dB`.
pub(crate) fn range(unit: Unit, [low, high]: [f64; 2]) -> String {
    format!("{low} to {}", with_unit(high, unit))
}

/// A number with its unit.
pub(crate) fn with_unit(number: f64, unit: Unit) -> String {
    match unit.symbol() {
        "" => number.to_string(),
        symbol => format!("{number} {symbol}"),
    }
}

/// Whole numbers as a list with their unit.
pub(crate) fn whole_list(options: &[u32], unit: Unit) -> String {
    let list = options.iter().map(u32::to_string).collect::<Vec<_>>().join(", ");
    if unit.symbol().is_empty() { list } else { format!("{list} {}", unit.symbol()) }
}

/// A text of a form.
pub(super) fn text(key: &str, form: Form, written: &Written) -> Result<String, Fault> {
    let Some(text) = written.text() else {
        let message = format!("`{key}` takes text, not {}.", written.what());
        return Err(Fault::new("wrong-type", message, "Write it in quotes."));
    };
    let refuse =
        |code, message: &str, remedy: &str| Err(Fault::new(code, format!("`{key}` {message}"), remedy.to_owned()));
    match form {
        Form::Any if text.trim().is_empty() => refuse("empty", "is empty.", "Write something, or leave the key out."),
        Form::Name if text.is_empty() || text.trim() != text || text.chars().any(char::is_control) => {
            refuse("bad-name", "is not a name.", "Write one line without blanks at its ends.")
        }
        Form::Isrc if !is_isrc(text) => refuse(
            "bad-isrc",
            "is not a recording code.",
            "Write 12 characters: 2 letters, 3 letters or digits, 2 digits of the year, 5 digits, without hyphens.",
        ),
        Form::Date if !is_date(text) => refuse("bad-date", "is not a date.", "Write YYYY-MM-DD."),
        Form::TimeSignature if time_signature(text).is_none() => {
            refuse("bad-time", "is not a time signature.", "Write beats and note, as in \"4/4\" or \"6/8\".")
        }
        Form::Pattern => pattern(text).map(|()| text.to_owned()),
        _ => Ok(text.to_owned()),
    }
}

/// ISO 3901: two letters, three letters or digits, year of two digits, five digits.
fn is_isrc(text: &str) -> bool {
    let bytes = text.as_bytes();
    bytes.len() == 12
        && bytes[..2].iter().all(u8::is_ascii_uppercase)
        && bytes[2..5].iter().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit())
        && bytes[5..].iter().all(u8::is_ascii_digit)
}

fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts[..] else { return false };
    let number = |part: &str, digits: usize| {
        (part.len() == digits && part.bytes().all(|b| b.is_ascii_digit())).then(|| part.parse::<u32>().ok()).flatten()
    };
    let (Some(year), Some(month), Some(day)) = (number(year, 4), number(month, 2), number(day, 2)) else {
        return false;
    };
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    let days = match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 => 28 + u32::from(leap),
        _ => 0,
    };
    (1..=days).contains(&day)
}

/// Beats in a bar, and the note that is one beat.
pub(super) fn time_signature(text: &str) -> Option<(u32, u32)> {
    let (beats, note) = text.split_once('/')?;
    let (beats, note): (u32, u32) = (beats.trim().parse().ok()?, note.trim().parse().ok()?);
    ((1..=64).contains(&beats) && [1, 2, 4, 8, 16, 32].contains(&note)).then_some((beats, note))
}

/// Refuses a path that leaves the sheet's folder or reads differently on another system.
pub(crate) fn inside(path: &str) -> Result<(), Fault> {
    let refuse = |message: &str| {
        let remedy = "Put the file, or a link to it, in the sheet's folder or below it, and write the path from there, with `/`.";
        Err(Fault::new("outside-folder", format!("The path `{}` {message}", path.escape_debug()), remedy))
    };
    let drive = path.as_bytes().get(1) == Some(&b':') && path.as_bytes()[0].is_ascii_alphabetic();
    if path.trim().is_empty() {
        refuse("is empty.")
    } else if path.starts_with('/') || path.starts_with('~') || drive {
        refuse("does not start at the sheet's folder.")
    } else if path.contains('\\') || path.chars().any(char::is_control) {
        refuse("holds a character that paths of a sheet do not have.")
    } else if path.split('/').any(|part| part == "..") {
        refuse("leaves the sheet's folder.")
    } else {
        Ok(())
    }
}

/// Refuses a pattern with an unknown placeholder, an open brace, or one that leaves the folder of prints.
fn pattern(text: &str) -> Result<(), Fault> {
    inside(text)?;
    let names = || listed(PLACEHOLDERS.iter().map(|(name, _)| *name));
    let refuse = |message: String| Err(Fault::new("bad-pattern", message, format!("In braces may stand {}.", names())));
    let mut rest = text;
    while let Some(open) = rest.find(['{', '}']) {
        let Some(close) = rest[open..].find('}').filter(|_| rest[open..].starts_with('{')) else {
            return refuse("A brace is not closed or not opened.".to_owned());
        };
        let name = &rest[open + 1..open + close];
        if !PLACEHOLDERS.iter().any(|(known, _)| *known == name) {
            return refuse(format!("`{{{name}}}` stands for nothing."));
        }
        rest = &rest[open + close + 1..];
    }
    Ok(())
}
