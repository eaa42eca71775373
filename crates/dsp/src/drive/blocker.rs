//! Takes away the direct current that a curve makes, and leaves the rest where it is.
//!
//! A curve gives a mean to whatever is lopsided: its even part to everything, its odd part to every wave whose halves
//! differ. The mean is followed by three first-order low-passes in a row at [`CORNER_HZ`] and subtracted. An ordinary
//! high-pass would turn the phase of the bass against a parallel path; here what is subtracted lies a quarter turn away
//! from the signal and far under it: 20 Hz passes within 0.003 dB and 0.06 degrees, 40 Hz within 0.0003 dB. (Below 10 Hz
//! it lifts by up to 2 dB before it cuts.) A straight curve makes no direct current and is left alone.
//!
//! It works once a base frame, on the mean of that frame at the higher rate.

use std::f64::consts::TAU;

use units::{Block, Frame, SILENCE};

/// Corner of each of the low-passes.
pub const CORNER_HZ: f64 = 2.0;

/// Time in which what follows the mean dies away to -60 dB, for some stages in a row that lift it by so much: it lies
/// below hearing. Every stage has three poles at the corner, which hold it up.
#[must_use]
pub fn tail_secs(stages: usize, lift_db: f64) -> f64 {
    let nepers = (60.0 + lift_db) / 20.0 * std::f64::consts::LN_10 + 4.0 * stages as f64;
    nepers / (TAU * CORNER_HZ)
}

/// Below this a mean has died away: -400 dB.
const SILENT: f64 = 1e-20;

/// The followed mean.
pub struct Blocker {
    poles: [Frame; 3],
    share: f64,
}

impl Blocker {
    /// At rest, for a base rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self { poles: [SILENCE; 3], share: -libm::expm1(-TAU * CORNER_HZ / rate_hz) }
    }

    /// Forgets.
    pub fn reset(&mut self) {
        self.poles = [SILENCE; 3];
    }

    /// Takes the mean from the key, as a part of the residue, and multiplies every lane by `level`. The chunk is whole
    /// base frames of `factor` frames. While the curve is straight the mean dies away unfed.
    pub fn process(&mut self, chunk: &mut Block<'_>, factor: usize, level: f64, is_straight: bool) {
        let lanes = chunk.lanes();
        for follower in chunk.lanes_mut().skip(1) {
            follower.iter_mut().for_each(|frame| *frame = frame.map(|x| level * x));
        }
        let per_frame = if is_straight { 0.0 } else { 1.0 / factor as f64 };
        for from in (0..chunk.frames()).step_by(factor) {
            let mean = self.poles[2];
            let mut sum = SILENCE;
            for frame in &mut chunk.key_mut()[from..from + factor] {
                sum = [sum[0] + frame[0], sum[1] + frame[1]];
                *frame = [level * (frame[0] - mean[0]), level * (frame[1] - mean[1])];
            }
            if lanes > 1 {
                for frame in &mut chunk.lane_mut(lanes - 1)[from..from + factor] {
                    *frame = [frame[0] - level * mean[0], frame[1] - level * mean[1]];
                }
            }
            self.feed([per_frame * sum[0], per_frame * sum[1]]);
        }
    }

    /// One base frame.
    fn feed(&mut self, mut input: Frame) {
        for pole in &mut self.poles {
            for channel in 0..2 {
                let next = pole[channel] + self.share * (input[channel] - pole[channel]);
                pole[channel] = if next.abs() < SILENT { 0.0 } else { next };
            }
            input = *pole;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mean_goes_and_the_bass_stays_in_place() {
        for hz in [20.0, 40.0, 100.0] {
            let mut blocker = Blocker::new(48_000.0);
            let turn = TAU * hz / 48_000.0;
            // Four seconds of a sine on a mean of a half.
            let mut audio: Vec<Frame> = (0..192_000).map(|n| [0.5 + libm::sin(turn * f64::from(n)), 0.0]).collect();
            audio.chunks_mut(1000).for_each(|piece| blocker.process(&mut Block::key_only(piece), 1, 1.0, false));
            let (mut re, mut im, mut mean) = (0.0, 0.0, 0.0);
            for (n, frame) in audio.iter().enumerate().skip(144_000) {
                let (sin, cos) = libm::sincos(turn * n as f64);
                re += frame[0] * sin / 24_000.0;
                im += frame[0] * cos / 24_000.0;
                mean += frame[0] / 48_000.0;
            }
            // 1 - 1/(1 + jf/2)^3, worked by hand: 20 Hz +0.0025 dB, -0.054 degrees.
            let (db, degrees) = (10.0 * libm::log10(re * re + im * im), libm::atan2(im, re).to_degrees());
            let (most_db, most_degrees) = if hz < 30.0 { (0.003, 0.06) } else { (0.0005, 0.01) };
            assert!(db.abs() < most_db && degrees.abs() < most_degrees, "{hz} Hz: {db} dB, {degrees} degrees");
            assert!(mean.abs() < 1e-6, "{mean}");
        }
    }

    #[test]
    fn a_straight_curve_is_left_alone() {
        let mut blocker = Blocker::new(48_000.0);
        let mut audio = vec![[0.25, -0.5]; 64];
        blocker.process(&mut Block::key_only(&mut audio), 4, 1.0, true);
        assert_eq!(audio, vec![[0.25, -0.5]; 64]);
    }
}
