//! What the replay head loses of short waves: a linear-phase filter for every lane.
//!
//! With the wavelength `lambda = v / f`, the spacing `d` between head and tape costs `54.6 d / lambda` dB (Wallace, "The
//! reproduction of magnetically recorded signals", 1951), and the gap `g` of the head `20 log10 |sin(pi g / lambda) /
//! (pi g / lambda)|` dB. Too much bias magnetises deeper and rubs out short waves; it counts as more spacing.
//!
//! The response is sampled to the Nyquist frequency, turned into taps by a cosine sum, tapered, and scaled to 0 dB at
//! 1 kHz. The taps span two thirds of a millisecond either way.

use std::f64::consts::{PI, TAU};

use units::Block;

use crate::symmetric::Symmetric;

/// Space between head and tape, m. Common practice, no source.
pub const SPACING_M: f64 = 0.5e-6;
/// Gap of the replay head, m. Common practice, no source.
pub const GAP_M: f64 = 3e-6;
/// Spacing that 100 % too much bias counts as, m. Ours.
pub const OVER_BIAS_M: f64 = 0.8e-6;
/// Where the loss is counted from.
const REFERENCE_HZ: f64 = 1000.0;

/// Loss as a gain at a frequency.
#[must_use]
pub fn gain(hz: f64, speed_m_s: f64, spacing_m: f64) -> f64 {
    let waves_per_m = hz / speed_m_s;
    let across_gap = PI * GAP_M * waves_per_m;
    let gap = if across_gap == 0.0 { 1.0 } else { libm::sin(across_gap) / across_gap };
    // 54.6 dB a wavelength is e^(-2 pi).
    libm::exp(-TAU * spacing_m * waves_per_m) * gap.max(0.0)
}

/// The filter.
pub struct Losses {
    speed_m_s: f64,
    rate_hz: f64,
    filter: Symmetric,
    cosines: Vec<f64>,
    response: Vec<f64>,
}

impl Losses {
    /// For a tape speed. `most_frames` is the longest stretch to be filtered at once.
    #[must_use]
    pub fn new(lanes: usize, speed_m_s: f64, spacing_m: f64, rate_hz: f64, most_frames: usize) -> Self {
        let half = 32 * (rate_hz / 48_000.0).round().max(1.0) as usize;
        let points = 4 * half;
        let mut losses = Self {
            speed_m_s,
            rate_hz,
            filter: Symmetric::new(lanes, half, most_frames),
            cosines: (0..2 * points).map(|k| libm::cos(PI * k as f64 / points as f64)).collect(),
            response: vec![0.0; points + 1],
        };
        losses.set(spacing_m);
        losses
    }

    /// Frames of delay.
    #[must_use]
    pub fn latency_frames(&self) -> usize {
        self.filter.latency_frames()
    }

    /// Works the taps out anew, in place.
    pub fn set(&mut self, spacing_m: f64) {
        let (half, points) = (self.filter.latency_frames(), self.response.len() - 1);
        for (k, response) in self.response.iter_mut().enumerate() {
            let hz = self.rate_hz / 2.0 * k as f64 / points as f64;
            // The ends of the trapezoid rule count half.
            let share = if k == 0 || k == points { 0.5 } else { 1.0 };
            *response = share * gain(hz, self.speed_m_s, spacing_m) / points as f64;
        }
        let (response, cosines) = (&self.response, &self.cosines);
        self.filter.set_taps(|away| {
            let sum: f64 = response.iter().enumerate().map(|(k, r)| r * cosines[k * away % cosines.len()]).sum();
            let taper = libm::cos(PI / 2.0 * away as f64 / (half + 1) as f64);
            sum * taper * taper
        });
        self.filter.scale(1.0 / self.response_at(REFERENCE_HZ));
    }

    /// Gain at a frequency.
    #[must_use]
    pub fn response_at(&self, hz: f64) -> f64 {
        self.filter.response(TAU * hz / self.rate_hz)
    }

    /// Filters a stretch of every lane in place.
    pub fn process(&mut self, block: &mut Block<'_>) {
        self.filter.process(block);
    }

    /// Makes all memory silent.
    pub fn reset(&mut self) {
        self.filter.reset();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_losses_are_those_of_the_handbook() {
        // Worked: 1 um spacing at 15 in/s and 10 kHz -1.4324 dB, at 7.5 in/s -2.8648 dB (54.6 dB a wavelength).
        let db = |gain: f64| 20.0 * libm::log10(gain);
        let only_spacing = |speed: f64| gain(10_000.0, speed, 1e-6) / gain(10_000.0, speed, 0.0);
        assert!((db(only_spacing(0.381)) + 1.4324).abs() < 1e-3);
        assert!((db(only_spacing(0.1905)) + 2.8648).abs() < 1e-3);
        // Gap of 6 um at 15 in/s, 10 kHz: -0.3573 dB; that of 3 um at half the speed is the same.
        assert!((db(gain(10_000.0, 0.1905, 0.0)) + 0.3573).abs() < 1e-3);
    }

    #[test]
    fn the_filter_has_the_losses_within_0_11_db() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
            for speed in [0.1905, 0.381, 0.762] {
                for spacing in [SPACING_M, SPACING_M + OVER_BIAS_M / 2.0] {
                    let losses = Losses::new(1, speed, spacing, rate_hz, 64);
                    for hz in [20.0, 200.0, 1000.0, 3000.0, 6000.0, 10_000.0, 15_000.0, 20_000.0] {
                        let exact = gain(hz, speed, spacing) / gain(REFERENCE_HZ, speed, spacing);
                        let db = 20.0 * libm::log10(losses.response_at(hz) / exact);
                        assert!(db.abs() < 0.11, "{rate_hz} {speed} {spacing} {hz}: {db} dB");
                    }
                }
            }
        }
    }
}
