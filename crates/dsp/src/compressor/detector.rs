//! What a compressor hears: the key, filtered, as a level for each frame.

use crate::decibel_fast::{db_from_amplitude, db_from_power};
use std::f64::consts::{PI, SQRT_2};
use units::frames_from_ms;

/// Length of the root-mean-square window in ms: whole half-waves of 50, 100, 150 ... Hz, so that a bass note of these
/// reads a steady level.
pub(super) const RMS_WINDOW_MS: f64 = 10.0;
/// 20 log10 sqrt(2): added to the root mean square so that a sine's level is its peak's, as AES17 counts dBFS.
const SINE_PEAK_OVER_RMS_DB: f64 = 3.010_299_956_639_812;

/// A second-order section in transposed direct form II.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Section {
    b: [f64; 3],
    a: [f64; 2],
    state: [f64; 2],
}

impl Section {
    pub(super) fn new(b: [f64; 3], a: [f64; 2]) -> Self {
        Self { b, a, state: [0.0; 2] }
    }

    /// Butterworth high-pass or low-pass of 12 dB an octave, by the bilinear transform with its corner kept.
    pub(super) fn butterworth(high_pass: bool, corner_hz: f64, rate_hz: f64) -> Self {
        let k = libm::tan(PI * corner_hz.min(0.49 * rate_hz) / rate_hz);
        let a0 = 1.0 + SQRT_2 * k + k * k;
        let b = if high_pass { [1.0, -2.0, 1.0] } else { [k * k, 2.0 * k * k, k * k] };
        Self::new(b.map(|b| b / a0), [2.0 * (k * k - 1.0) / a0, (1.0 - SQRT_2 * k + k * k) / a0])
    }

    /// Takes other coefficients and keeps the state.
    pub(super) fn retune(&mut self, other: &Self) {
        (self.b, self.a) = (other.b, other.a);
    }

    #[inline]
    pub(super) fn next(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y
    }

    pub(super) fn reset(&mut self) {
        self.state = [0.0; 2];
    }

    /// Ends tails before they become denormal numbers.
    pub(super) fn settle(&mut self) {
        for s in &mut self.state {
            if s.abs() < 1e-30 {
                *s = 0.0;
            }
        }
    }
}

/// Mean of squares over the last [`RMS_WINDOW_MS`], summed anew once a window so that no rounding gathers.
#[derive(Debug)]
pub(super) struct Window {
    squares: Vec<f64>,
    at: usize,
    sum: f64,
    fresh: f64,
}

impl Window {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self { squares: vec![0.0; frames_from_ms(RMS_WINDOW_MS, rate_hz).max(1)], at: 0, sum: 0.0, fresh: 0.0 }
    }

    /// Turns amplitudes into levels, in place.
    pub(super) fn levels(&mut self, amplitudes: &mut [f64]) {
        let per_frame = 1.0 / self.squares.len() as f64;
        for amplitude in amplitudes.iter_mut() {
            let square = *amplitude * *amplitude;
            self.sum += square - self.squares[self.at];
            self.fresh += square;
            self.squares[self.at] = square;
            self.at += 1;
            if self.at == self.squares.len() {
                (self.at, self.sum, self.fresh) = (0, self.fresh, 0.0);
            }
            *amplitude = self.sum.max(0.0) * per_frame;
        }
        for level in amplitudes {
            *level = db_from_power(*level) + SINE_PEAK_OVER_RMS_DB;
        }
    }

    pub(super) fn reset(&mut self) {
        self.squares.fill(0.0);
        (self.at, self.sum, self.fresh) = (0, 0.0, 0.0);
    }
}

/// Turns amplitudes into levels, in place.
pub(super) fn peak_levels(amplitudes: &mut [f64]) {
    for level in amplitudes {
        *level = db_from_amplitude(*level);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_reads_a_sine_as_its_peak_and_forgets_exactly() {
        let mut window = Window::new(48_000.0);
        let mut heard: Vec<f64> = (0..4800).map(|n| 0.5 * libm::sin(PI * f64::from(n) / 240.0)).collect();
        window.levels(&mut heard);
        // 20 log10 0.5.
        assert!(heard[480..].iter().all(|db| (db + 6.020_599_913).abs() < 1e-6));
        let mut silence = vec![0.0; 960];
        window.levels(&mut silence);
        assert_eq!(window.sum, 0.0);
    }

    #[test]
    fn key_filters_stand_3_db_down_at_their_corner() {
        for high_pass in [true, false] {
            let mut section = Section::butterworth(high_pass, 90.0, 48_000.0);
            let out: Vec<f64> =
                (0..96_000).map(|n| section.next(libm::sin(2.0 * PI * 90.0 * f64::from(n) / 48_000.0))).collect();
            let power = out[48_000..].iter().map(|y| y * y).sum::<f64>() / 48_000.0;
            // Butterworth: half the power at the corner (-3.0103 dB).
            assert!((10.0 * libm::log10(2.0 * power) + 3.0103).abs() < 1e-3);
        }
    }
}
