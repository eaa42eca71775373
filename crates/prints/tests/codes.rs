//! The list of codes is whole: what the sources can say stands in it, and what stands in it is said somewhere.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Crates whose sources make findings, and so may hold no other words with hyphens in quotes.
const CRATES: [&str; 6] = ["sheet", "engine", "prints", "listening", "desk", "fairprint"];

/// What stands ahead of a code where one is said.
const AHEAD: [&str; 10] = [
    "Severity::Fail,",
    "Severity::Warn,",
    "Severity::Note,",
    "severity,",
    "Fault::new(",
    "Fault::input(",
    "Fault::machine(",
    "refuse(",
    "about_all(",
    "let code =",
];

/// Words with hyphens that are no codes: the demo's folder, what a server's headers say, how names are spelt, a way of
/// listening.
const NO_CODES: [&str; 8] = [
    "demo-song",
    "no-referrer",
    "no-store",
    "same-origin",
    "cross-origin-resource-policy",
    "cross-origin-opener-policy",
    "kebab-case",
    "small-speaker",
];

fn sources() -> Vec<(PathBuf, String)> {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
    let mut folders: Vec<PathBuf> = CRATES.iter().map(|name| crates.join(name).join("src")).collect();
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            let is = |name: &str| path.file_name().unwrap() == name;
            if path.is_dir() && !is("codes") {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") && !is("tests.rs") {
                let text = fs::read_to_string(&path).unwrap();
                let said = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
                let lines = said.lines().filter(|line| !line.trim_start().starts_with("//"));
                found.push((path, lines.collect::<Vec<_>>().join("\n")));
            }
        }
    }
    assert!(found.len() > 50, "the sources were found");
    found
}

/// The text in quotes that a text begins with, if it has the form of a code.
fn quoted(text: &str) -> Option<&str> {
    let (word, _) = text.trim_start().strip_prefix('"')?.split_once('"')?;
    let is_code = !word.is_empty() && word.split('-').all(|part| part.bytes().all(|b| b.is_ascii_lowercase()));
    (is_code && !word.starts_with('-') && !word.ends_with('-')).then_some(word)
}

/// All codes that a source can say.
fn said(text: &str) -> BTreeSet<&str> {
    let after =
        |mark: &'static str| text.match_indices(mark).filter_map(move |(at, _)| quoted(&text[at + mark.len()..]));
    let placed = AHEAD.into_iter().flat_map(after);
    let hyphened = text.match_indices('"').filter_map(|(at, _)| quoted(&text[at..])).filter(|word| word.contains('-'));
    placed.chain(hyphened.filter(|word| !NO_CODES.contains(word))).collect()
}

#[test]
fn every_code_that_the_sources_say_stands_in_the_list() {
    let mut missing = BTreeSet::new();
    for (path, text) in &sources() {
        let unknown = said(text).into_iter().filter(|code| prints::codes::find(code).next().is_none());
        missing.extend(unknown.map(|code| format!("{code} ({})", path.display())));
    }
    assert!(missing.is_empty(), "add each to its file in prints/src/codes: {missing:#?}");
}

#[test]
fn every_code_of_the_list_is_said_somewhere() {
    let sources = sources();
    let is_said = |name: &str| sources.iter().any(|(_, text)| text.contains(&format!("\"{name}\"")));
    let codes = prints::codes::AREAS.iter().flat_map(|area| area.codes);
    let stale: Vec<&str> = codes.map(|code| code.name).filter(|name| !is_said(name)).collect();
    assert!(stale.is_empty(), "take these out of prints/src/codes: {stale:?}");
}
