//! Distortion of tones: harmonics, intermodulation, and what aliases.
//!
//! A stretch of steady tone is transformed whole. If it holds a whole number of periods, each component is one bin and
//! the figures are exact; otherwise a Kaiser window with 150 dB of side-lobe loss is used and each component is the
//! power of its main lobe. Total harmonic distortion is stated both ways: over the fundamental (THD_F) and over the
//! whole signal's harmonics with the fundamental (THD_R = THD_F / sqrt(1 + THD_F^2)).

use rustfft::{FftPlannerScalar, num_complex::Complex};
use serde::{Deserialize, Serialize};

use crate::sinc::kaiser;

/// Shape of the window: side-lobes of 150 dB loss, `beta = 0.12438 (loss + 6.3)` (Kaiser and Schafer 1980, "On the use of
/// the I0-sinh window for spectrum analysis", IEEE Trans. ASSP 28).
const BETA: f64 = 0.12438 * (150.0 + 6.3);
/// Bins either side of a component that hold its main lobe, `sqrt(1 + (beta/pi)^2)`, rounded up with room.
const WINDOWED_REACH: usize = 8;
/// The audible range in which foreign components are sought.
const AUDIBLE_HZ: [f64; 2] = [20.0, 20_000.0];
/// How near to a whole number of periods counts as one.
const WHOLE_PERIODS: f64 = 1e-6;

/// Harmonics of one tone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Harmonics {
    /// Amplitude of the fundamental, 1 at full scale.
    pub fundamental: f64,
    /// Mean of the signal.
    pub dc: f64,
    /// Levels of the second, third... harmonic over the fundamental, as far as they lie below half the sample rate.
    /// None for exactly nothing.
    pub levels_db: Vec<Option<f64>>,
    /// Total harmonic distortion over the fundamental.
    pub thd_f_percent: f64,
    /// Total harmonic distortion over fundamental and harmonics.
    pub thd_r_percent: f64,
    /// All that is neither fundamental nor harmonic from 20 Hz to 20 kHz (aliases and noise), over fundamental and
    /// harmonics there, in power.
    pub foreign_db: Option<f64>,
    /// The strongest foreign component from 20 Hz to 20 kHz over the fundamental: the alias figure.
    pub worst_foreign_db: Option<f64>,
    /// Where that lies.
    pub worst_foreign_hz: Option<f64>,
}

/// Intermodulation of two tones, `f1 < f2`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Intermodulation {
    /// Amplitudes of the two tones.
    pub tones: [f64; 2],
    /// Modulation distortion of the second order, `(a(f2-f1) + a(f2+f1)) / a(f2)`, IEC 60268-3 from memory: for a low
    /// and a high tone.
    pub modulation_2_percent: f64,
    /// Modulation distortion of the third order, `(a(f2-2 f1) + a(f2+2 f1)) / a(f2)`.
    pub modulation_3_percent: f64,
    /// Difference-frequency distortion of the second order, `a(f2-f1) / (a(f1)+a(f2))`: for two neighbouring tones.
    pub difference_2_percent: f64,
    /// Difference-frequency distortion of the third order, `(a(2 f1-f2) + a(2 f2-f1)) / (a(f1)+a(f2))`.
    pub difference_3_percent: f64,
}

/// Power by frequency of a steady stretch.
struct Lines {
    bin_hz: f64,
    /// Mean-square power a bin; a component's is the sum over its main lobe.
    power: Vec<f64>,
    reach: usize,
    dc: f64,
}

impl Lines {
    fn of(signal: &[f64], rate_hz: f64, tones_hz: &[f64]) -> Self {
        let size = signal.len();
        let whole = |hz: &f64| {
            let periods = hz * size as f64 / rate_hz;
            (periods - periods.round()).abs() < WHOLE_PERIODS
        };
        let coherent = tones_hz.iter().all(whole);
        let half = size as f64 / 2.0;
        let weight = |n: usize| if coherent { 1.0 } else { kaiser((n as f64 + 0.5 - half) / half, BETA) };
        let weights: Vec<f64> = (0..size).map(weight).collect();
        let mut bins: Vec<Complex<f64>> = signal.iter().zip(&weights).map(|(x, w)| Complex::new(x * w, 0.0)).collect();
        FftPlannerScalar::new().plan_fft_forward(size).process(&mut bins);
        // Parseval: the power of a component's lobe is its mean square times the window's energy.
        let scale = 2.0 / (size as f64 * weights.iter().map(|w| w * w).sum::<f64>());
        Self {
            bin_hz: rate_hz / size as f64,
            power: bins[..=size / 2].iter().map(|bin| bin.norm_sqr() * scale).collect(),
            reach: if coherent { 0 } else { WINDOWED_REACH },
            dc: bins[0].re / weights.iter().sum::<f64>(),
        }
    }

    fn lobe(&self, hz: f64) -> std::ops::Range<usize> {
        let centre = (hz / self.bin_hz).round() as usize;
        let end = (centre + self.reach + 1).min(self.power.len());
        centre.saturating_sub(self.reach).min(end)..end
    }

    /// Mean square of the component at a frequency.
    fn power(&self, hz: f64) -> f64 {
        self.power[self.lobe(hz)].iter().sum()
    }

    fn amplitude(&self, hz: f64) -> f64 {
        (2.0 * self.power(hz.abs())).sqrt()
    }

    fn top_hz(&self) -> f64 {
        self.bin_hz * (self.power.len() - 1) as f64
    }
}

/// Harmonics of a steady tone whose frequency is known; none if the stretch is too short (fewer than 20 periods or 64
/// samples) or holds no tone there.
#[must_use]
pub fn harmonics(signal: &[f64], rate_hz: f64, tone_hz: f64) -> Option<Harmonics> {
    if signal.len() < 64 || tone_hz * signal.len() as f64 / rate_hz < 20.0 || tone_hz >= rate_hz / 2.0 {
        return None;
    }
    let lines = Lines::of(signal, rate_hz, &[tone_hz]);
    let first = lines.power(tone_hz);
    if first <= 0.0 {
        return None;
    }
    let orders = (lines.top_hz() / tone_hz) as usize;
    let powers: Vec<f64> = (2..=orders).map(|n| lines.power(n as f64 * tone_hz)).collect();
    let thd_f = (powers.iter().sum::<f64>() / first).sqrt();
    let foreign = Foreign::of(&lines, tone_hz);
    Some(Harmonics {
        fundamental: (2.0 * first).sqrt(),
        dc: lines.dc,
        levels_db: powers.iter().map(|power| ratio_db(*power, first)).collect(),
        thd_f_percent: 100.0 * thd_f,
        thd_r_percent: 100.0 * thd_f / (1.0 + thd_f * thd_f).sqrt(),
        foreign_db: ratio_db(foreign.power, foreign.own),
        worst_foreign_db: ratio_db(foreign.worst.0, first),
        worst_foreign_hz: (foreign.worst.0 > 0.0).then_some(foreign.worst.1),
    })
}

/// Power in the audible range off and on a tone's harmonics.
struct Foreign {
    power: f64,
    own: f64,
    /// Power and frequency of the strongest foreign component.
    worst: (f64, f64),
}

impl Foreign {
    fn of(lines: &Lines, tone_hz: f64) -> Self {
        let [low, high] = AUDIBLE_HZ.map(|hz| ((hz / lines.bin_hz).ceil() as usize).min(lines.power.len()));
        let mut own = vec![false; lines.power.len()];
        // What the window spreads from DC is no component either.
        let harmonics = (0..=(lines.top_hz() / tone_hz) as usize).map(|n| lines.lobe(n as f64 * tone_hz));
        harmonics.for_each(|lobe| own[lobe].fill(true));
        let mut found = Self { power: 0.0, own: 0.0, worst: (0.0, 0.0) };
        for k in low..high {
            if own[k] {
                found.own += lines.power[k];
                continue;
            }
            found.power += lines.power[k];
            let lobe = k.saturating_sub(lines.reach)..(k + lines.reach + 1).min(lines.power.len());
            let whole: f64 = lobe.filter(|k| !own[*k]).map(|k| lines.power[k]).sum();
            if whole > found.worst.0 {
                found.worst = (whole, k as f64 * lines.bin_hz);
            }
        }
        found
    }
}

/// Intermodulation of two steady tones whose frequencies are known, `low_hz < high_hz`; none if the stretch is too short
/// to tell their products apart or holds no tones there.
#[must_use]
pub fn intermodulation(signal: &[f64], rate_hz: f64, low_hz: f64, high_hz: f64) -> Option<Intermodulation> {
    let gap_hz = low_hz.min(high_hz - low_hz);
    if signal.len() < 64 || gap_hz * signal.len() as f64 / rate_hz < 20.0 || high_hz >= rate_hz / 2.0 {
        return None;
    }
    let lines = Lines::of(signal, rate_hz, &[low_hz, high_hz]);
    let at = |low: f64, high: f64| {
        let hz = (low * low_hz + high * high_hz).abs();
        if hz < lines.top_hz() { lines.amplitude(hz) } else { 0.0 }
    };
    let tones = [at(1.0, 0.0), at(0.0, 1.0)];
    let both = tones[0] + tones[1];
    (tones[0] > 0.0 && tones[1] > 0.0).then(|| Intermodulation {
        tones,
        modulation_2_percent: 100.0 * (at(-1.0, 1.0) + at(1.0, 1.0)) / tones[1],
        modulation_3_percent: 100.0 * (at(-2.0, 1.0) + at(2.0, 1.0)) / tones[1],
        difference_2_percent: 100.0 * at(-1.0, 1.0) / both,
        difference_3_percent: 100.0 * (at(2.0, -1.0) + at(-1.0, 2.0)) / both,
    })
}

fn ratio_db(power: f64, reference: f64) -> Option<f64> {
    (power > 0.0 && reference > 0.0).then(|| units::db_from_power(power / reference))
}

#[cfg(test)]
mod tests;
