//! A small song in a folder, as a print run leaves it: two prints and a rough mix that starts later and is louder.

use std::fs;
use std::path::{Path, PathBuf};

use chance::Random;
use media::{FileFormat, Metadata, WavSample};
use sha2::{Digest, Sha256};
use units::Frame;

/// Rate of the song.
pub const RATE_HZ: u32 = 48_000;
/// Length of the song in seconds: three pieces of the page, the last one short.
pub const SECS: u32 = 23;
/// Frames by which the rough mix starts later than the prints.
pub const ROUGH_DELAY: usize = 12_345;

/// A folder with a sheet and its revision `r001`; removed when dropped.
pub struct Scene {
    folder: tempfile::TempDir,
}

impl Scene {
    pub fn new() -> Self {
        let scene = Self { folder: tempfile::tempdir().unwrap() };
        fs::write(scene.sheet(), SHEET).unwrap();
        let song = music((RATE_HZ * SECS) as usize);
        let rough: Vec<Frame> = vec![[0.0; 2]; ROUGH_DELAY]
            .into_iter()
            .chain(song.iter().map(|x| x.map(|x| (2.6 * x).tanh_ish())))
            .collect();
        write_wav(&scene.path("rough mix.wav"), &rough);
        scene.print("r001", &song);
        scene
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn sheet(&self) -> PathBuf {
        self.path("sheet.toml")
    }

    pub fn prints(&self) -> PathBuf {
        self.path("prints")
    }

    /// What a print run leaves of this song: a clean print and a loud one.
    pub fn print(&self, revision: &str, song: &[Frame]) {
        let folder = self.prints().join(revision);
        fs::create_dir_all(&folder).unwrap();
        let loud: Vec<Frame> = song.iter().map(|x| x.map(|x| (4.0 * x).tanh_ish())).collect();
        let mut records = Vec::new();
        for (name, frames) in [("for mastering", song), ("for approval", &loud)] {
            let path = folder.join(format!("{name}.wav"));
            write_wav(&path, frames);
            let sum: String = Sha256::digest(fs::read(&path).unwrap()).iter().map(|b| format!("{b:02x}")).collect();
            records.push(serde_json::json!({
                "name": name, "kind": null, "format": "WAV 24 bit, 48 kHz", "path": path.display().to_string(), "sha256": sum,
                "measures": { "integrated_lufs": null, "loudness_range_lu": null, "true_peak_dbtp": null },
            }));
        }
        let report = serde_json::json!({
            "engine": "0.1.0", "title": "Lantern Weather", "artist": "The Tin Orchard", "date": "2026-11-27 12:49:01 UTC", "label": null,
            "rate_hz": RATE_HZ, "frames": song.len(), "prints": records,
            "sections": [["verse", 0.5], ["chorus 1", 8.0], ["outro", 18.0]],
        });
        fs::write(folder.join("report.json"), report.to_string()).unwrap();
        fs::write(folder.join("sheet.toml"), SHEET).unwrap();
    }
}

const SHEET: &str = r#"fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
[[reference]]
name = "rough mix"
file = "rough mix.wav"
[[stem]]
name = "band"
file = "band.wav"
to = "mix"
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
[[print]]
name = "for approval"
from = "mix"
files = [{ format = "wav", bits = 24 }]
"#;

/// A soft ceiling without transcendentals: `x / (1 + |x|)`, made up to unit slope at 0.
trait Ceiling {
    fn tanh_ish(self) -> f64;
}

impl Ceiling for f64 {
    fn tanh_ish(self) -> f64 {
        0.9 * self / (1.0 + self.abs())
    }
}

/// Notes with decays over noise: something on which two recordings line up in one place only.
pub fn music(frames: usize) -> Vec<Frame> {
    let mut random = Random(1);
    let (mut phase, mut step, mut level, mut low) = (0.0f64, 0.0, 0.0, [0.0; 2]);
    (0..frames)
        .map(|i| {
            if i % 11_000 == 0 {
                step = std::f64::consts::TAU * (110.0 + 440.0 * random.even().abs()) / f64::from(RATE_HZ);
                level = 0.25;
            }
            phase += step;
            level *= 0.999_93;
            let tone = level * libm::sin(phase);
            let hiss = [random.even(), random.even()];
            low = [0, 1].map(|c| low[c] + 0.2 * (hiss[c] - low[c]));
            [0, 1].map(|c| tone + 0.1 * low[c] * (1.0 + (i / 24_000 % 3) as f64))
        })
        .collect()
}

fn write_wav(path: &Path, frames: &[Frame]) {
    let grid = |x: f64| (x * 8_388_608.0).round() / 8_388_608.0;
    let frames: Vec<Frame> = frames.iter().map(|x| x.map(grid)).collect();
    media::write_all(path, &FileFormat::Wav(WavSample::Int24), RATE_HZ, &frames, &Metadata::default()).unwrap();
}
