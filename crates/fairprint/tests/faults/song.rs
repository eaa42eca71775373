//! A short song with everything that a run writes, and what must be true of its folder at any moment.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;
use sha2::{Digest as _, Sha256};

use crate::short_song::{SHEET, write_song};

/// What lies in the song's folder before anything runs.
pub const WRITTEN: [&str; 4] = ["keys.wav", "kick.wav", "lead voice.wav", "sheet.toml"];

/// Beside the two prints, an alternate and stems.
const MORE: &str = r#"
[[alternate]]
name = "instrumental"
of = "for mastering"
mute = ["lead voice"]
files = [{ format = "wav", bits = 24 }]
[[stem_print]]
name = "stems"
of = "for mastering"
files = [{ format = "wav", bits = 24 }]
"#;

fn sheet() -> String {
    format!("{SHEET}{MORE}")
}

/// A song in a folder of its own.
pub struct Song {
    pub folder: tempfile::TempDir,
}

impl Song {
    pub fn new() -> Self {
        Self::with_seconds(1)
    }

    pub fn with_seconds(secs: usize) -> Self {
        let folder = tempfile::tempdir().unwrap();
        write_song(folder.path(), secs, &sheet());
        Self { folder }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The command on the sheet, in the song's folder.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fairprint"));
        command.args(args).current_dir(self.folder.path()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    pub fn run(&self, args: &[&str]) -> Output {
        self.command(args).output().unwrap()
    }

    pub fn print(&self) {
        let output = self.run(&["print", "sheet.toml", "--quiet"]);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    }
}

pub fn said(output: &Output) -> String {
    [&output.stdout, &output.stderr].map(|text| String::from_utf8_lossy(text).into_owned()).concat()
}

/// Entries of a folder by name; none if there is no folder.
pub fn entries(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries.map(|entry| entry.file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

pub fn sha256(path: &Path) -> String {
    Sha256::digest(fs::read(path).unwrap()).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Holds every revision to its own report: the files that it names and no others, each to the byte. Returns how many
/// revisions there are.
pub fn whole_revisions(prints: &Path) -> usize {
    let finished: Vec<String> = entries(prints).into_iter().filter(|name| !name.starts_with('.')).collect();
    for name in &finished {
        let folder = prints.join(name);
        let report: Value = serde_json::from_slice(&fs::read(folder.join("report.json")).unwrap()).unwrap();
        let files = report["prints"].as_array().unwrap().iter().map(|file| {
            let name = Path::new(file["path"].as_str().unwrap()).file_name().unwrap();
            (name.to_string_lossy().into_owned(), file["sha256"].as_str().unwrap().to_owned())
        });
        let files: BTreeMap<String, String> = files.collect();
        for (file, expected) in &files {
            assert_eq!(sha256(&folder.join(file)), *expected, "{name}/{file}");
        }
        let documents = ["report.html", "report.json", "sheet.toml"].map(str::to_owned);
        let mut expected: Vec<String> = files.into_keys().chain(documents).collect();
        expected.sort();
        assert_eq!(entries(&folder), expected, "{name}");
        assert_eq!(fs::read_to_string(folder.join("sheet.toml")).unwrap(), sheet());
    }
    finished.len()
}
