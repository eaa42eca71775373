//! What a compressor hears: the key, filtered, as a level for each frame.

use crate::biquad::{Coefficients, State};
use crate::decibel_fast::{db_from_amplitude, db_from_power};
use units::{Frame, frames_from_ms};

/// Length of the root-mean-square window in ms: whole half-waves of 50, 100, 150 ... Hz, so that a bass note of these
/// reads a steady level.
pub(super) const RMS_WINDOW_MS: f64 = 10.0;
/// 20 log10 sqrt(2): added to the root mean square so that a sine's level is its peak's, as AES17 counts dBFS.
const SINE_PEAK_OVER_RMS_DB: f64 = 3.010_299_956_639_812;

/// A filter that may be off.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct KeyFilter {
    coefficients: Option<Coefficients>,
    state: State,
}

impl KeyFilter {
    /// Takes other coefficients, or none, and keeps what it remembers.
    pub(super) fn tune(&mut self, coefficients: Option<Coefficients>) {
        self.coefficients = coefficients;
    }

    /// Filters a piece of the key in place.
    pub(super) fn process(&mut self, frames: &mut [Frame]) {
        if let Some(coefficients) = &self.coefficients {
            self.state.process(coefficients, frames);
            // What this cuts off lies hundreds of dB under any threshold, so it cannot matter where a piece ends.
            self.state.settle();
        }
    }

    pub(super) fn reset(&mut self) {
        self.state = State::default();
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
    use std::f64::consts::PI;

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
}
