//! A short song with everything that a run writes, and what must be true of its folder at any moment.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;
use sha2::{Digest as _, Sha256};

const RATE_HZ: u32 = 48_000;
const SECS: usize = 1;

const SHEET: &str = r#"fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
[[stem]]
name = "keys"
file = "keys.wav"
to = "mix"
sends = [{ to = "crush" }]
[[stem]]
name = "lead voice"
file = "lead voice.wav"
to = "mix"
[[bus]]
name = "crush"
to = "mix"
level_db = -12
chain = [{ compressor = { kind = "valve", threshold_db = -30, ratio = 8, attack_ms = 0.4 } }]
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }, { format = "flac", bits = 16 }]
[[print]]
name = "for approval"
from = "mix"
chain = [{ limiter = { ceiling_dbtp = -1 } }]
loudness = { lufs = -14 }
survive = ["mp3 192"]
files = [{ format = "wav", bits = 24 }, { format = "mp3", kbps = 256 }]
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

/// A song in a folder of its own.
pub struct Song {
    pub folder: tempfile::TempDir,
}

impl Song {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        for (name, hz, gain) in [("keys", 330.0, 0.1), ("lead voice", 880.0, 0.2)] {
            let sine = |n: usize| gain * libm::sin(std::f64::consts::TAU * hz * n as f64 / f64::from(RATE_HZ));
            let samples: Vec<f64> = (0..SECS * RATE_HZ as usize).flat_map(|n| [sine(n), sine(n + 7)]).collect();
            fs::write(folder.path().join(format!("{name}.wav")), wav(&samples)).unwrap();
        }
        fs::write(folder.path().join("sheet.toml"), SHEET).unwrap();
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

/// A stereo file of 16 bit.
fn wav(samples: &[f64]) -> Vec<u8> {
    let data: Vec<u8> = samples.iter().flat_map(|x| ((x * 32_767.0) as i16).to_le_bytes()).collect();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data.len() as u32).to_le_bytes());
    bytes.extend(b"WAVEfmt ");
    for (value, size) in [(16, 4), (1, 2), (2, 2), (RATE_HZ, 4), (RATE_HZ * 4, 4), (4, 2), (16, 2)] {
        bytes.extend(&u32::to_le_bytes(value)[..size]);
    }
    bytes.extend(b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
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
        assert_eq!(fs::read_to_string(folder.join("sheet.toml")).unwrap(), SHEET);
    }
    finished.len()
}
