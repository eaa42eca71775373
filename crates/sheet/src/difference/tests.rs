//! Two sheets, and what is said of them.

use units::{Param, Spec, Unit};

use super::*;

const THRESHOLD: Param = Param::number("threshold_db", Unit::Decibel, [-60.0, 0.0], -20.0, "Where it starts.");
const SPEC: Spec = Spec {
    name: "holder",
    title: "holder",
    summary: "For tests.",
    source: "",
    caution: "",
    sentence: "above {threshold_db}",
    params: &[THRESHOLD],
    rows: None,
    outside_key: false,
};

const BEFORE: &str = r#"
fairprint = 1
[song]
title = "Lantern Weather"
rate_hz = 48000
tempo_bpm = 92
[[section]]
name = "chorus 1"
from = "0:41.2"
[[stem]]
name = "kick"
file = "kick.wav"
to = "mix"
sends = [{ to = "crush", level_db = -3 }]
[[bus]]
name = "crush"
to = "mix"
level_db = -11
chain = [{ holder = { threshold_db = -32 } }]
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
"#;

fn read(text: &str) -> Sheet {
    let (sheet, problems) = crate::read(text, &[&SPEC]);
    sheet.unwrap_or_else(|| panic!("{problems:?}"))
}

/// What is said of a sheet after replacements in its text.
fn said(replaced: &[(&str, &str)]) -> Vec<String> {
    let after = replaced.iter().fold(BEFORE.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    });
    let changes = difference(&read(BEFORE), &read(&after));
    changes.into_iter().map(|change| format!("{}: {}", change.at, change.what)).collect()
}

#[test]
fn a_sheet_is_like_itself_wherever_its_lines_stand() {
    assert!(said(&[("[song]", "# A lantern in the rain.\n\n[song]")]).is_empty());
}

#[test]
fn numbers_are_told_with_their_units() {
    let found = said(&[("level_db = -11", "level_db = -9.5"), ("threshold_db = -32", "threshold_db = -28")]);
    assert_eq!(found, ["crush: level −11 dB → −9.5 dB", "crush: holder: threshold −32 dB → −28 dB"]);
}

#[test]
fn routes_sends_files_and_processors_are_told() {
    let found = said(&[
        ("file = \"kick.wav\"", "file = \"kick 2.wav\"\nmute = true"),
        ("sends = [{ to = \"crush\", level_db = -3 }]\n", ""),
        ("{ holder = { threshold_db = -32 } }", "{ holder = { threshold_db = -32 }, off = true }, { holder = {} }"),
        ("from = \"0:41.2\"", "from = \"0:42\""),
    ]);
    let expected = [
        "section chorus 1: moved from 0:41.200 → 0:42.000",
        "kick: file kick.wav → kick 2.wav",
        "kick: muted",
        "kick: no send to crush any more",
        "crush: holder taken out",
        "crush: a new holder: above −20 dB",
    ];
    assert_eq!(found, expected);
}

#[test]
fn what_came_and_what_went_is_told() {
    let found = said(&[("name = \"kick\"", "name = \"drum\""), ("bits = 24", "bits = 16")]);
    assert_eq!(found, ["drum: a new stem", "kick: taken away", "print for mastering, files: changed"]);
}
