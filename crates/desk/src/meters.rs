//! Meters for what plays, in memory that does not grow.

use measure::loudness::{KWeighting, lufs};
use measure::{LoudnessMeter, StereoPower, TruePeakMeter};
use units::{Frame, db_from_gain};

use crate::octaves::Octaves;
use crate::protocol::Meters;

/// Steps of 10 ms in 3 s and in 0.4 s: short-term and momentary loudness of EBU Tech 3341.
const SHORT_TERM: usize = 300;
pub(crate) const MOMENTARY: usize = 40;

/// The last values of something, one for each 10 ms.
pub(crate) struct Ring<T> {
    values: Vec<T>,
    next: usize,
}

impl<T: Copy + Default> Ring<T> {
    pub(crate) fn new(steps: usize) -> Self {
        Self { values: vec![T::default(); steps], next: 0 }
    }

    pub(crate) fn push(&mut self, value: T) {
        self.values[self.next] = value;
        self.next = (self.next + 1) % self.values.len();
    }

    /// The newest `steps` values.
    pub(crate) fn newest(&self, steps: usize) -> impl Iterator<Item = T> + '_ {
        let length = self.values.len();
        (1..=steps).map(move |back| self.values[(self.next + length - back) % length])
    }
}

/// Momentary and short-term loudness of one place.
pub struct Glance {
    filter: KWeighting,
    energies: Ring<f64>,
}

impl Glance {
    /// A meter for a rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self { filter: KWeighting::new(rate_hz, [1.0, 1.0]), energies: Ring::new(SHORT_TERM) }
    }

    /// Takes the next 10 ms.
    pub fn push(&mut self, frames: &[Frame]) {
        let energy = self.filter.energy(frames, 0.0);
        self.filter.settle();
        self.energies.push(energy / frames.len() as f64);
    }

    /// Momentary and short-term loudness.
    #[must_use]
    pub fn read(&self) -> (Option<f64>, Option<f64>) {
        let mean = |steps: usize| self.energies.newest(steps).sum::<f64>() / steps as f64;
        (lufs(mean(MOMENTARY)), lufs(mean(SHORT_TERM)))
    }
}

/// All meters of what is heard.
pub struct Heard {
    rate_hz: f64,
    loudness: LoudnessMeter,
    peak: f64,
    peaks: Ring<f64>,
    whole: Ring<StereoPower>,
    octaves: Octaves,
}

impl Heard {
    /// Meters for a rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            loudness: LoudnessMeter::new(rate_hz),
            peak: 0.0,
            peaks: Ring::new(SHORT_TERM),
            whole: Ring::new(MOMENTARY),
            octaves: Octaves::new(rate_hz),
        }
    }

    /// Begins anew: something else is heard, or from another place.
    pub fn restart(&mut self) {
        *self = Self::new(self.rate_hz);
    }

    /// Takes the next 10 ms.
    pub fn push(&mut self, frames: &[Frame]) {
        self.loudness.push(frames);
        let mut true_peak = TruePeakMeter::new();
        true_peak.push(frames);
        let peak = true_peak.finish().iter().map(|peak| peak.value).fold(0.0, f64::max);
        self.peak = self.peak.max(peak);
        self.peaks.push(peak);
        self.whole.push(power(frames.iter().copied()));
        self.octaves.push(frames);
    }

    /// What they read.
    #[must_use]
    pub fn read(&self) -> Meters {
        let recent = self.peaks.newest(SHORT_TERM).fold(0.0, f64::max);
        let level = |peak: f64| (peak > 0.0).then(|| db_from_gain(peak));
        let short_term_lufs = self.loudness.short_term_lufs();
        Meters {
            momentary_lufs: self.loudness.momentary_lufs(),
            short_term_lufs,
            integrated_lufs: self.loudness.integrated_lufs(),
            loudness_range_lu: self.loudness.loudness_range_lu(),
            true_peak_dbtp: level(self.peak),
            psr_db: level(recent).zip(short_term_lufs).map(|(peak, loudness)| peak - loudness),
            correlation: correlation(&self.whole),
            octave_correlations: self.octaves.read(),
        }
    }
}

pub(crate) fn power(frames: impl Iterator<Item = Frame>) -> StereoPower {
    frames.fold(StereoPower::default(), |sum, [left, right]| StereoPower {
        left: sum.left + left * left,
        right: sum.right + right * right,
        product: sum.product + left * right,
    })
}

pub(crate) fn correlation(ring: &Ring<StereoPower>) -> Option<f64> {
    let sum = ring.newest(MOMENTARY).fold(StereoPower::default(), |sum, one| StereoPower {
        left: sum.left + one.left,
        right: sum.right + one.right,
        product: sum.product + one.product,
    });
    sum.image().correlation
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_of_minus_23_dbfs_in_both_channels_reads_minus_23_lufs() {
        // EBU Tech 3341, test case 1: stereo sine of 1 kHz at -23 dBFS; momentary and short-term -23.0 +- 0.1 LUFS.
        let mut glance = Glance::new(48_000.0);
        let amplitude = units::gain_from_db(-23.0);
        let wave = |n: usize| amplitude * libm::sin(std::f64::consts::TAU * 1000.0 * n as f64 / 48_000.0);
        let mut heard = Heard::new(48_000.0);
        for piece in 0..400 {
            let frames: Vec<Frame> = (piece * 480..(piece + 1) * 480).map(|n| [wave(n); 2]).collect();
            glance.push(&frames);
            heard.push(&frames);
        }
        let (momentary, short_term) = glance.read();
        for reading in [momentary, short_term, heard.read().short_term_lufs, heard.read().integrated_lufs] {
            assert!((reading.expect("it sounds") + 23.0).abs() < 0.1, "{reading:?}");
        }
        let read = heard.read();
        assert!((read.true_peak_dbtp.expect("a peak") + 23.0).abs() < 0.1);
        assert!(read.correlation.expect("sound") > 0.999 && read.psr_db.expect("sound").abs() < 0.2);
    }
}
