//! What people read is in the words of the trade, and one word stands for one thing: rules for every sentence in the sources.
//!
//! A sentence is a text in quotes that has a blank, begins like a sentence and ends with a full stop.

use std::fs;
use std::path::{Path, PathBuf};

/// Words that no sentence holds, and what stands in their place.
const NOT_SAID: [(&str, &str); 26] = [
    // One word for one thing.
    ("kbps", "kbit/s"),
    ("upside down", "inverted polarity"),
    ("turned over", "inverted polarity"),
    ("frames", "samples"),
    ("newest revision", "latest revision"),
    ("last revision", "latest revision"),
    ("no numbers", "not numbers"),
    ("with loss", "lossy"),
    ("already exists", "exists already"),
    // Words of programmers.
    ("invalid", "what would be right"),
    ("illegal", "what would be right"),
    ("error", "what is the case"),
    ("failed to", "what cannot be done"),
    ("unable to", "what cannot be done"),
    ("parse", "read"),
    ("boolean", "true or false"),
    ("integer", "whole number"),
    ("string", "text"),
    ("argument", "which"),
    ("NaN", "not a number"),
    ("loopback", "this machine"),
    ("node", "stem or bus"),
    ("nodes", "stems and buses"),
    // No begging.
    ("please", "what to do"),
    ("sorry", "what to do"),
    ("oops", "what to do"),
];

/// Spellings of one side of the ocean, where the other is used throughout.
const SPELT_OTHERWISE: [&str; 8] =
    ["color", "center", "gray", "behavior", "favorite", "equalizer", "analog", "leveled"];

/// Crates whose sentences people meet.
const SPEAKING: [&str; 9] = ["units", "dsp", "media", "sheet", "engine", "prints", "listening", "desk", "fairprint"];

/// Sources of a crate, tests left out.
fn sources(name: &str) -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the workspace");
    let (mut found, mut folders) = (Vec::new(), vec![root.join("crates").join(name).join("src")]);
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(folder).expect("readable").map(|entry| entry.expect("readable").path()) {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if path.is_dir() && name != "tests" {
                folders.push(path);
            } else if name.ends_with(".rs") && !name.contains("test") {
                found.push(path);
            }
        }
    }
    found
}

/// The texts in quotes of a source, up to its tests: breaks that the source alone has are taken out.
fn quoted(source: &str) -> Vec<String> {
    let code = source.split("\n#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let code: Vec<&str> = code.lines().filter(|line| !line.trim_start().starts_with("//")).collect();
    let (code, mut texts) = (code.join("\n"), Vec::new());
    let mut letters = code.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '\'' => {
                // A letter in quotes, which may be a quotation mark; what begins a lifetime ends nowhere near.
                let mut ahead = letters.clone();
                if ahead.next() == Some('"') && ahead.next() == Some('\'') {
                    letters = ahead;
                }
            }
            '"' => texts.push(text(&mut letters)),
            _ => {}
        }
    }
    texts
}

/// A text up to its closing quote.
fn text(letters: &mut std::str::Chars<'_>) -> String {
    let mut text = String::new();
    while let Some(letter) = letters.next() {
        match letter {
            '"' => break,
            '\\' => match letters.next() {
                Some('\n') => {
                    let rest = letters.as_str();
                    *letters = rest.trim_start().chars();
                }
                Some('n') => text.push('\n'),
                Some(other) => text.push(other),
                None => {}
            },
            _ => text.push(letter),
        }
    }
    text
}

/// Whether people read it as a sentence.
fn is_sentence(text: &str) -> bool {
    let begins = text.starts_with(|c: char| c.is_uppercase() || ['{', '“', '`'].contains(&c));
    begins && text.ends_with('.') && text.contains(' ') && !text.contains('<')
}

/// A sentence without what is typed (in backticks), what is put in (in braces), and names (in quotation marks).
fn spoken(sentence: &str) -> String {
    let (mut said, mut inside) = (String::new(), None);
    for letter in sentence.chars() {
        match (inside, letter) {
            (None, '`' | '{' | '“') => {
                inside = Some(if letter == '{' {
                    '}'
                } else if letter == '“' {
                    '”'
                } else {
                    '`'
                })
            }
            (None, _) => said.push(letter),
            (Some(end), _) if letter == end => {
                said.push('…');
                inside = None;
            }
            _ => {}
        }
    }
    said
}

/// Its words, the first in small letters, with a blank before and behind each.
fn words(said: &str) -> String {
    let words = said.split(|c: char| !c.is_alphanumeric() && c != '-').filter(|word| !word.is_empty());
    let words = words.collect::<Vec<_>>().join(" ");
    let first = words.chars().next().map_or(0, char::len_utf8);
    format!(" {}{} ", words[..first].to_lowercase(), &words[first..])
}

fn sentences() -> Vec<(PathBuf, String)> {
    let of = |path: PathBuf| {
        let source = fs::read_to_string(&path).expect("readable");
        quoted(&source)
            .into_iter()
            .filter(|text| is_sentence(text))
            .map(move |text| (path.clone(), text))
            .collect::<Vec<_>>()
    };
    SPEAKING.into_iter().flat_map(sources).flat_map(of).collect()
}

#[test]
fn one_word_stands_for_one_thing() {
    let mut wrong = Vec::new();
    let sentences = sentences();
    for (path, sentence) in &sentences {
        let said = spoken(sentence);
        let mut complain = |of: &str| wrong.push(format!("{}: {of}: {sentence}", path.display()));
        let words = words(&said);
        for (word, instead) in NOT_SAID.iter().filter(|(word, _)| words.contains(&format!(" {word} "))) {
            complain(&format!("“{word}”, say {instead}"));
        }
        for word in SPELT_OTHERWISE.iter().filter(|word| words.contains(&format!(" {word} "))) {
            complain(&format!("“{word}” is spelt otherwise elsewhere"));
        }
        if said.contains('!') {
            complain("nobody shouts");
        }
        if said.contains("  ") && !said.contains('\n') {
            complain("two blanks");
        }
        if said.contains('"') && !said.contains("as in \"") {
            complain("names stand in “ ”, what is typed in ` `");
        }
        let digit_before = |at: usize| said[..at].ends_with(|c: char| c.is_ascii_digit());
        if said.match_indices('%').any(|(at, _)| digit_before(at)) {
            complain("a blank belongs between a number and %");
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(sentences.len() > 700, "sentences were found: {}", sentences.len());
}

#[test]
fn texts_are_read_as_the_compiler_reads_them() {
    let source = "fn a() { say(\"One \\\n      line.\", '\"', \"b \\\"c\\\".\"); } // \"no\n// \"not this.\"\n";
    assert_eq!(quoted(source), ["One line.", "b \"c\".", "no"]);
    assert_eq!(spoken("Write `to = \"BUS\"` at {name} now."), "Write … at … now.");
}
