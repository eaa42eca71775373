//! The reference of the sheet as a document: every key and every processor, from the same definitions as the reader.

use std::fmt::Write as _;

use units::{Kind, Param, Spec};

use crate::keys::{self, Form, Group, Key, Named, Takes};
use crate::reader::{range, whole_list, with_unit};

/// The reference in Markdown, for the processors of a catalogue.
#[must_use]
pub fn reference(catalogue: &[&'static Spec]) -> String {
    let mut text = String::from("# The recall sheet\n");
    let shown = [
        ("The sheet", &keys::SHEET),
        ("`[song]`", &keys::SONG),
        ("`[[reference]]`", &keys::REFERENCE),
        ("`[[section]]`", &keys::SECTION),
        ("`[[stem]]`", &keys::STEM),
        ("`[[bus]]`", &keys::BUS),
        ("An entry of `sends`", &keys::SEND),
        ("An entry of `rides`", &keys::RIDE),
        ("`[[print]]`", &keys::PRINT),
        ("`loudness`", &keys::LOUDNESS_TARGET),
        ("An entry of `files`", &keys::PRINT_FILE),
        ("`[[alternate]]`", &keys::ALTERNATE),
        ("An entry of `offsets`", &keys::OFFSET),
        ("`[[stem_print]]`", &keys::STEM_PRINT),
        ("An entry of `groups`", &keys::STEM_GROUP),
        ("`[[accept]]`", &keys::ACCEPT),
    ];
    for (title, group) in shown {
        section(&mut text, title, group);
    }
    placeholders(&mut text);
    text.push_str("\n## Processors\n\nAn entry of `chain` is `{ NAME = { … } }`, with `off = true` beside it to take the processor out.\n");
    for spec in catalogue {
        processor(&mut text, spec);
    }
    text
}

fn section(text: &mut String, title: &str, group: &Group) {
    let _ = writeln!(text, "\n## {title}\n\n{}\n", group.sentence);
    head(text);
    for key in group.keys {
        let (takes, silent) = key_in_words(key);
        let silent = if key.required { "must be there".to_owned() } else { silent };
        row(text, key.name, &takes, &silent, key.sentence);
    }
    if group.exactly_one {
        text.push_str("\nExactly one of them.\n");
    }
}

fn head(text: &mut String) {
    text.push_str("| key | takes | when silent | what it does |\n| --- | --- | --- | --- |\n");
}

fn row(text: &mut String, name: &str, takes: &str, silent: &str, sentence: &str) {
    let line = format!("`{name}` | {takes} | {silent} | {sentence}").replace("bar|beat", "bar\\|beat");
    let _ = writeln!(text, "| {line} |");
}

fn placeholders(text: &mut String) {
    text.push_str("\nA file name's pattern may hold ");
    let all: Vec<String> = keys::PLACEHOLDERS.iter().map(|(name, what)| format!("`{{{name}}}` ({what})")).collect();
    let _ = writeln!(text, "{}. When silent: `{}`.", all.join(", "), keys::USUAL_PATTERN);
}

fn processor(text: &mut String, spec: &Spec) {
    let _ = writeln!(text, "\n### `{}`: {}\n\n{}\n", spec.name, spec.title, spec.summary);
    text.push_str(&parameters(spec));
}

/// A processor's parameters as tables in Markdown.
#[must_use]
pub fn parameters(spec: &Spec) -> String {
    let mut tables = String::new();
    let text = &mut tables;
    head(text);
    spec.params.iter().for_each(|param| param_row(text, param));
    if spec.outside_key {
        let (takes, silent) = key_in_words(&keys::OUTSIDE_KEY);
        row(text, keys::OUTSIDE_KEY.name, &takes, &silent, keys::OUTSIDE_KEY.sentence);
    }
    if let Some(rows) = spec.rows {
        let _ = writeln!(text, "\n`{}` is a list of up to {}; each {} takes:\n", rows.name, rows.most, rows.singular);
        head(text);
        rows.params.iter().for_each(|param| param_row(text, param));
    }
    tables
}

fn param_row(text: &mut String, param: &Param) {
    let (takes, silent) = kind_in_words(param.kind);
    row(text, param.name, &takes, &silent, param.sentence);
}

fn kind_in_words(kind: Kind) -> (String, String) {
    match kind {
        Kind::Number { unit, low, high, default } => {
            (range(unit, [low, high]), with_unit((1e4 * default).round() / 1e4, unit))
        }
        Kind::Choice { options, default } => {
            let words: Vec<String> = options.iter().map(|word| format!("`{word}`")).collect();
            (words.join(", "), format!("`{}`", options[default]))
        }
        Kind::Switch { default } => ("true or false".to_owned(), default.to_string()),
        Kind::File => ("a path".to_owned(), "none".to_owned()),
    }
}

fn key_in_words(key: &Key) -> (String, String) {
    let takes = match key.takes {
        Takes::Param(kind) => return kind_in_words(kind),
        Takes::Whole { unit, options, default } => {
            let silent = default.map_or_else(|| "none".to_owned(), |default| with_unit(f64::from(default), unit));
            return (whole_list(options, unit), silent);
        }
        Takes::Text(form) => match form {
            Form::Any | Form::RideTarget => "text",
            Form::Name => "one line",
            Form::Isrc => "12 characters",
            Form::Date => "YYYY-MM-DD",
            Form::TimeSignature => "beats/note",
            Form::Pattern => "a pattern",
        },
        Takes::Time => "a time",
        Takes::NameOf(Named::Bus) => "a bus",
        Takes::NameOf(Named::Node) => "a stem or bus",
        Takes::NameOf(Named::Reference) => "a reference",
        Takes::NameOf(Named::Print) => "a print",
        Takes::NamesOf(_) => "a list of stems and buses",
        Takes::LinksOfPrint => "a list of processors' names",
        Takes::Table(_) => "a table",
        Takes::Tables(_) => "a list of tables",
        Takes::Processor(_) => "a processor's parameters",
        Takes::Chain => "a list of processors",
        Takes::Codecs => "a list of codecs",
        Takes::Points => "a list of points",
    };
    (takes.to_owned(), "none".to_owned())
}
