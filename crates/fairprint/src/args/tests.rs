//! Every command that the documents show can be typed.

use std::fs;
use std::path::{Path, PathBuf};

use clap::{CommandFactory, Parser};

use super::Args;

/// Words of a command as a shell would part them; what stands behind `#` or a pipe is left out.
fn words(line: &str) -> Vec<String> {
    let (mut words, mut word, mut quoted, mut begun) = (Vec::new(), String::new(), false, false);
    for letter in line.chars() {
        match letter {
            '"' => (quoted, begun) = (!quoted, true),
            '#' | '>' | '|' if !quoted && !begun => break,
            ' ' if !quoted => {
                if begun {
                    words.push(std::mem::take(&mut word));
                }
                begun = false;
            }
            other => {
                word.push(other);
                begun = true;
            }
        }
    }
    words.extend(begun.then_some(word));
    words
}

/// The documents for people who use the program.
fn documents() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let folders = ["docs", "docs/guide"].map(|folder| root.join(folder));
    let in_folders = folders.iter().flat_map(|folder| fs::read_dir(folder).expect("the folder is there"));
    let paths = in_folders.map(|entry| entry.expect("readable").path()).chain([root.join("README.md")]);
    paths.filter(|path| path.extension().is_some_and(|ending| ending == "md")).collect()
}

#[test]
fn every_command_in_the_documents_can_be_typed() {
    let mut seen = 0;
    for path in documents() {
        let text = fs::read_to_string(&path).expect("readable");
        let inside = |line: &&str| line.starts_with("fairprint ") || line.starts_with("    fairprint ");
        for line in text.lines().filter(inside) {
            let parsed = Args::try_parse_from(words(line.trim()));
            assert!(parsed.is_ok(), "{}: {line}\n{}", path.display(), parsed.unwrap_err());
            seen += 1;
        }
    }
    assert!(seen > 30, "commands were found: {seen}");
}

#[test]
fn the_definitions_fit_together() {
    Args::command().debug_assert();
    assert_eq!(words("a \"b c\" --d \"\" # e"), ["a", "b c", "--d", ""]);
}
