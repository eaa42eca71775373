//! A song of three tones with a return and two prints: what the program is tried on.

use std::fs;
use std::path::Path;

const RATE_HZ: u32 = 48_000;

pub const SHEET: &str = r#"fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
[[stem]]
name = "kick"
file = "kick.wav"
to = "mix"
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
kind = "mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }, { format = "flac", bits = 16 }]
[[print]]
name = "for approval"
kind = "approval"
from = "mix"
chain = [{ limiter = { ceiling_dbtp = -1 } }]
loudness = { lufs = -12 }
survive = ["mp3 192"]
files = [{ format = "wav", bits = 24 }, { format = "mp3", kbps = 256 }]
"#;

/// Writes the stems, so many seconds of each, and a sheet beside them.
pub fn write_song(folder: &Path, secs: usize, sheet: &str) {
    for (name, hz, gain) in [("kick", 55.0, 0.3), ("keys", 330.0, 0.1), ("lead voice", 880.0, 0.2)] {
        let sine = |n: usize| gain * libm::sin(std::f64::consts::TAU * hz * n as f64 / f64::from(RATE_HZ));
        let frames: Vec<[f64; 2]> = (0..secs * RATE_HZ as usize).map(|n| [sine(n), sine(n + 7)]).collect();
        write_wav(&folder.join(format!("{name}.wav")), &frames);
    }
    fs::write(folder.join("sheet.toml"), sheet).unwrap();
}

/// A 16-bit stereo file, byte by byte, so that the tests do not lean on what they test.
pub fn write_wav(path: &Path, frames: &[[f64; 2]]) {
    let data: Vec<u8> = frames.iter().flatten().flat_map(|x| ((x * 32_767.0) as i16).to_le_bytes()).collect();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data.len() as u32).to_le_bytes());
    bytes.extend(b"WAVEfmt ");
    for (value, size) in [(16, 4), (1, 2), (2, 2), (RATE_HZ, 4), (RATE_HZ * 4, 4), (4, 2), (16, 2)] {
        bytes.extend(&u32::to_le_bytes(value)[..size]);
    }
    bytes.extend(b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    fs::write(path, bytes).unwrap();
}
