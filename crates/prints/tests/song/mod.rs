//! What the songs of these tests have in common: a rate, the head of their sheets, and files on disk.

#![allow(dead_code, reason = "not every test needs all of it")]

use std::path::Path;

use media::{FileFormat, Metadata, WavSample};
use units::Frame;

pub const RATE_HZ: u32 = 48_000;

/// The start of every sheet.
pub const HEAD: &str = r#"
fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
tempo_bpm = 92
"#;

/// So many seconds of what a function of the frame gives.
pub fn signal(secs: f64, frame: impl FnMut(usize) -> Frame) -> Vec<Frame> {
    (0..(secs * f64::from(RATE_HZ)) as usize).map(frame).collect()
}

/// Writes a file as a person's other programs would.
pub fn write(folder: &Path, name: &str, rate_hz: u32, format: &FileFormat, frames: &[Frame]) {
    media::write_all(&folder.join(name), format, rate_hz, frames, &Metadata::default()).unwrap();
}

/// Writes a stem that holds its samples exactly enough for any comparison: 32-bit float.
pub fn write_stem(folder: &Path, name: &str, frames: &[Frame]) {
    write(folder, name, RATE_HZ, &FileFormat::Wav(WavSample::Float32), frames);
}
