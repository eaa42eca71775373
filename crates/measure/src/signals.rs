//! Signals that the tests are made of.

use std::f64::consts::TAU;

use chance::Random;
use units::{Frame, gain_from_db};

/// A sine in both channels, its peak in dBFS, for so many seconds.
pub fn tone(rate_hz: f64, hz: f64, peak_dbfs: f64, secs: f64) -> Vec<Frame> {
    let gain = gain_from_db(peak_dbfs);
    let sample = |n: usize| gain * libm::sin(TAU * hz * n as f64 / rate_hz);
    (0..(secs * rate_hz).round() as usize).map(|n| [sample(n); 2]).collect()
}

/// Sines of 1 kHz in both channels, one after the other: `(peak in dBFS, seconds)`. Silence is minus infinity.
pub fn steps(rate_hz: f64, steps: &[(f64, f64)]) -> Vec<Frame> {
    steps.iter().flat_map(|(dbfs, secs)| tone(rate_hz, 1000.0, *dbfs, *secs)).collect()
}

/// White noise in both channels, unrelated, of a standard deviation.
pub fn noise(frames: usize, deviation: f64, seed: u64) -> Vec<Frame> {
    let mut random = Random(seed);
    (0..frames).map(|_| [deviation * random.normal(), deviation * random.normal()]).collect()
}

/// Something like music: decaying tones of changing level and place over a little noise, with a quiet middle.
pub fn music(rate_hz: f64, secs: f64, seed: u64) -> Vec<Frame> {
    let mut random = Random(seed);
    let frames = (secs * rate_hz) as usize;
    let mut out = noise(frames, 0.002, seed ^ 99);
    let note = (rate_hz * 0.25) as usize;
    for start in (0..frames).step_by(note) {
        let middle = start * 3 / frames.max(1) == 1;
        let gain = (0.25 + 0.2 * random.even()) * if middle { 0.08 } else { 1.0 };
        let (hz, place) = (60.0 * libm::exp2(5.0 * (0.5 + 0.5 * random.even())), random.even() / 2.0);
        for n in 0..(3 * note).min(frames - start) {
            let t = n as f64 / rate_hz;
            let s = gain * libm::exp(-6.0 * t) * (libm::sin(TAU * hz * t) + 0.4 * libm::sin(TAU * 3.0 * hz * t));
            out[start + n][0] += s * (0.5 - place);
            out[start + n][1] += s * (0.5 + place);
        }
    }
    out
}
