//! Rules for every file of ours: no stubs, no paths of one machine, no file that a reader cannot take in.

use std::fs;
use std::path::{Path, PathBuf};

/// Lines of a source file, tests included, that a reader still takes in.
const MOST_LINES: usize = 500;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the workspace").to_owned()
}

/// Our text files below the workspace, build products and hidden folders left out.
fn files() -> Vec<(PathBuf, String)> {
    let (mut found, mut folders) = (Vec::new(), vec![root()]);
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("readable").map(|entry| entry.expect("readable").path()) {
            let name = entry.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if name.starts_with('.') {
                continue;
            }
            if entry.is_dir() {
                if !["target", "node_modules", "dist", "demo-song"].contains(&name.as_str()) {
                    folders.push(entry);
                }
            } else if let Ok(text) = fs::read_to_string(&entry) {
                found.push((entry, text));
            }
        }
    }
    assert!(found.len() > 40, "the tree was found");
    found
}

fn is_code(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ["rs", "css", "ts", "tsx", "py"].iter().any(|code| ending == *code))
}

#[test]
fn files_stay_short() {
    let long = files().into_iter().filter(|(path, text)| is_code(path) && text.lines().count() > MOST_LINES);
    let long: Vec<String> =
        long.map(|(path, text)| format!("{} has {}", path.display(), text.lines().count())).collect();
    assert!(long.is_empty(), "more than {MOST_LINES} lines: {long:#?}");
}

#[test]
fn modules_say_what_they_are() {
    let silent = files()
        .into_iter()
        .filter(|(path, text)| path.extension().is_some_and(|ending| ending == "rs") && !text.starts_with("//!"));
    let silent: Vec<PathBuf> = silent.map(|(path, _)| path).collect();
    assert!(silent.is_empty(), "no word at the top: {silent:#?}");
}

#[test]
fn nothing_is_left_undone() {
    // Put together here, so that this file does not find itself.
    let marks = [["FIX", "ME"], ["XX", "X "], ["todo", "!("], ["unimplemented", "!("], ["#[igno", "re"]];
    for (path, text) in files().iter().filter(|(path, _)| is_code(path)) {
        for mark in marks.map(|mark| mark.concat()) {
            assert!(!text.contains(mark.as_str()), "{} holds {mark}", path.display());
        }
    }
}

#[test]
fn no_path_of_one_machine_stands_in_a_file() {
    let marks = [["/wo", "rk/"], ["/ro", "ot/"], ["/ho", "me/"]];
    for (path, text) in &files() {
        for mark in marks.map(|mark| mark.concat()) {
            assert!(!text.contains(mark.as_str()), "{} holds {mark}", path.display());
        }
    }
}
