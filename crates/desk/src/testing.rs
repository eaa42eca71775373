//! A small song on disk for the tests of the desk.

use std::path::PathBuf;

use media::{FileFormat, Metadata, WavSample};
use units::Frame;

const SHEET: &str = r#"
fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
[[reference]]
name = "rough mix"
file = "rough.wav"
[[section]]
name = "verse"
from = "0:01"
# The lantern hums.
[[stem]]
name = "a"
file = "a.wav"
to = "mix"
level_db = -6 # felt, not heard
[[stem]]
name = "b"
file = "b.wav"
to = "mix"
chain = [{ eq = { bands = [{ shape = "bell", hz = 200, gain_db = 4, q = 1 }] } }]
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
[[print]]
name = "for approval"
from = "mix"
chain = [{ limiter = { ceiling_dbtp = -1 } }]
loudness = { match = "rough mix" }
files = [{ format = "wav", bits = 24 }]
"#;

/// Frames of every file.
pub const FRAMES: usize = 240_000;

/// A folder with a song; gone when it is dropped.
pub struct Song {
    folder: tempfile::TempDir,
}

impl Song {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let song = Self { folder };
        song.write("a.wav", 1);
        song.write("b.wav", 2);
        song.write("rough.wav", 3);
        std::fs::write(song.sheet(), SHEET).expect("the sheet is written");
        song
    }

    pub fn sheet(&self) -> PathBuf {
        self.folder.path().join("sheet.toml")
    }

    fn write(&self, name: &str, seed: u64) {
        let format = FileFormat::Wav(WavSample::Float32);
        let path = self.folder.path().join(name);
        media::write_all(&path, &format, 48_000, &noise(seed), &Metadata::default()).expect("the file is written");
    }
}

/// Noise at -26 dBFS of peak, the same for the same seed.
fn noise(seed: u64) -> Vec<Frame> {
    chance::Random(seed).signal(FRAMES, 0.05)
}
