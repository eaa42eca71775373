//! Room decay from an impulse response, after ISO 3382-1.
//!
//! The decay curve is the squared response summed backwards from its end (Schroeder 1965, "New method of measuring
//! reverberation time", JASA 37). A straight line through a stretch of it in decibels, by least squares, gives the time
//! for 60 dB: EDT from 0 to -10 dB, T20 from -5 to -25, T30 from -5 to -35. C80, D50 and the centre time Ts weigh early
//! against late energy.
//!
//! Time starts where the response first comes within 20 dB of its peak. The sum starts where the response sinks into
//! its noise (found from its last tenth), the noise's own power is taken off (Chu 1978, "Comparison of reverberation
//! measurements using Schroeder's impulse method and decay-curve averaging method", JASA 63, from memory), and what an
//! unbroken decay would have held beyond is added (ISO 3382-1, 5.3.3). A time is given only if the noise lies 10 dB below the lower end of its stretch.
//!
//! Octave bands are third-order Butterworth band-passes in the base-ten system (IEC 61260-1), run backwards in time, so
//! that the filter's own ringing falls ahead of the sound and does not lengthen its decay (Jacobsen and Rindel 1987,
//! "Time reversed decay measurements", J. Sound Vib. 117, from memory).

use serde::{Deserialize, Serialize};

mod octave;

/// Nominal centres of the octave bands, IEC 61260-1.
pub const OCTAVES_HZ: [f64; 8] = [63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0];

/// Where time starts: the first sample within this much of the peak (ISO 3382-1, from memory).
const ONSET_DB: f64 = -20.0;
/// The stretches of the decay curve, and the distance that the noise must keep below them.
const EDT_DB: [f64; 2] = [0.0, -10.0];
const T20_DB: [f64; 2] = [-5.0, -25.0];
const T30_DB: [f64; 2] = [-5.0, -35.0];
const ABOVE_NOISE_DB: f64 = 10.0;
/// Limits between early and late.
const CLARITY_SECS: f64 = 0.08;
const DEFINITION_SECS: f64 = 0.05;
/// Power of noise over the loudest window below which there is none, but for rounding: 180 dB.
const NO_NOISE: f64 = 1e-18;
/// Windows in which the level of the response is followed to find its noise.
const WINDOW_SECS: f64 = 0.01;

/// The figures of one response in one band. Each is none where the response does not allow it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Decay {
    /// Early decay time.
    pub edt_s: Option<f64>,
    /// Reverberation time from 20 dB of decay.
    pub t20_s: Option<f64>,
    /// Reverberation time from 30 dB of decay.
    pub t30_s: Option<f64>,
    /// Clarity: energy of the first 80 ms over the rest.
    pub c80_db: Option<f64>,
    /// Definition: share of the energy in the first 50 ms, 0 to 1.
    pub d50: Option<f64>,
    /// Centre time.
    pub ts_ms: Option<f64>,
}

/// Decay in one octave band.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BandDecay {
    /// Nominal centre.
    pub centre_hz: f64,
    /// Figures.
    pub decay: Decay,
}

/// Decay of a whole response, unfiltered.
#[must_use]
pub fn decay(response: &[f64], rate_hz: f64) -> Decay {
    onset(response).map_or_else(Decay::default, |start| Curve::of(response, start, rate_hz).decay())
}

/// Decay in the octave bands from 63 Hz to 8 kHz that fit below half the sample rate.
#[must_use]
pub fn octave_decays(response: &[f64], rate_hz: f64) -> Vec<BandDecay> {
    let Some(start) = onset(response) else { return Vec::new() };
    let bands = OCTAVES_HZ.iter().filter(|hz| *hz * 1.42 < rate_hz / 2.0);
    let band = |centre_hz: &f64| BandDecay {
        centre_hz: *centre_hz,
        decay: Curve::of(&octave::filtered_backwards(response, *centre_hz, rate_hz), start, rate_hz).decay(),
    };
    bands.map(band).collect()
}

/// The decay curve for drawing: `[seconds, db]` every 5 ms, 0 dB at the start, to where the response ends or sinks into
/// its noise.
#[must_use]
pub fn decay_curve(response: &[f64], rate_hz: f64) -> Vec<(f64, f64)> {
    let Some(start) = onset(response) else { return Vec::new() };
    let curve = Curve::of(response, start, rate_hz);
    let step = (0.005 * rate_hz) as usize;
    let points = (0..curve.remaining.len()).step_by(step.max(1));
    points.map(|i| (i as f64 / rate_hz, curve.level_db(i))).filter(|(_, db)| db.is_finite()).collect()
}

fn onset(response: &[f64]) -> Option<usize> {
    let peak = response.iter().fold(0.0f64, |most, x| most.max(x.abs()));
    let threshold = peak * units::gain_from_db(ONSET_DB);
    (peak > 0.0).then(|| response.iter().position(|x| x.abs() >= threshold)).flatten()
}

/// Energy that is still to come, at each sample from the start.
struct Curve {
    rate_hz: f64,
    remaining: Vec<f64>,
    /// Energy ahead of the start, where a filter run backwards puts some.
    before: f64,
    /// Time-weighted energy, `sum t p^2`, with what lies ahead of the start.
    moment: f64,
    /// Level of the loudest window over the noise.
    range_db: f64,
}

impl Curve {
    fn of(response: &[f64], start: usize, rate_hz: f64) -> Self {
        let tail = &response[start..];
        let window = ((WINDOW_SECS * rate_hz) as usize).max(1);
        let levels: Vec<f64> = tail.chunks(window).map(|w| energy(w) / w.len() as f64).collect();
        let noise = energy(&tail[tail.len() - tail.len().div_ceil(10)..]) / tail.len().div_ceil(10) as f64;
        let loudest = levels.iter().fold(0.0f64, |most, x| most.max(*x));
        let end = if noise > loudest * NO_NOISE { end_window(&levels, loudest, noise) * window } else { tail.len() };
        let end = end.min(tail.len());
        let beyond = energy_beyond(&levels, noise, end as f64 / window as f64) * window as f64;
        let mut remaining = vec![0.0; end];
        let mut sum = beyond;
        for (remaining, x) in remaining.iter_mut().zip(&tail[..end]).rev() {
            sum += x * x - noise;
            *remaining = sum;
        }
        let moment_of = |i: usize, x: f64| (i as f64 - start as f64) / rate_hz * x * x;
        let moment = response[..start + end].iter().enumerate().map(|(i, x)| moment_of(i, *x)).sum::<f64>();
        Self {
            rate_hz,
            before: energy(&response[..start]),
            moment: moment + beyond * end as f64 / rate_hz,
            range_db: units::db_from_power(loudest / noise),
            remaining,
        }
    }

    fn level_db(&self, at: usize) -> f64 {
        units::db_from_power(self.remaining[at] / self.remaining[0])
    }

    fn decay(&self) -> Decay {
        let Some(all) = self.remaining.first().filter(|all| **all > 0.0) else { return Decay::default() };
        let late = |secs: f64| self.remaining.get((secs * self.rate_hz).round() as usize).copied().unwrap_or(0.0);
        let total = all + self.before;
        let (late_80, late_50) = (late(CLARITY_SECS), late(DEFINITION_SECS));
        Decay {
            edt_s: self.time_for_60_db(EDT_DB),
            t20_s: self.time_for_60_db(T20_DB),
            t30_s: self.time_for_60_db(T30_DB),
            c80_db: (late_80 > 0.0).then(|| units::db_from_power((total - late_80) / late_80)),
            d50: Some((total - late_50) / total),
            ts_ms: Some(1000.0 * self.moment / total),
        }
    }

    /// Least-squares line through the stretch of the curve between two levels.
    fn time_for_60_db(&self, [from_db, to_db]: [f64; 2]) -> Option<f64> {
        if self.range_db < ABOVE_NOISE_DB - to_db {
            return None;
        }
        let below = |db: f64| {
            let limit = self.remaining[0] * libm::pow(10.0, db / 10.0);
            self.remaining.partition_point(|x| *x >= limit)
        };
        let (from, to) = (below(from_db), below(to_db));
        if to >= self.remaining.len() || to < from + 3 {
            return None;
        }
        let middle = (from + to - 1) as f64 / 2.0;
        let (mut along, mut squares) = (0.0, 0.0);
        for i in from..to {
            let x = i as f64 - middle;
            along += x * self.level_db(i);
            squares += x * x;
        }
        let db_a_second = along / squares * self.rate_hz;
        (db_a_second < 0.0).then(|| -60.0 / db_a_second)
    }
}

fn energy(samples: &[f64]) -> f64 {
    samples.iter().map(|x| x * x).sum()
}

/// The first window after the loudest that sinks to twice the noise.
fn end_window(levels: &[f64], loudest: f64, noise: f64) -> usize {
    let from = levels.iter().position(|x| *x == loudest).unwrap_or(0);
    levels[from..].iter().position(|x| *x <= 2.0 * noise).map_or(levels.len(), |i| from + i)
}

/// Energy, in windows, that a decay holds beyond its end if it goes on as it does between 10 and 25 dB above the noise.
fn energy_beyond(levels: &[f64], noise: f64, end: f64) -> f64 {
    let inside = &levels[..(end as usize).min(levels.len())];
    let last_above = |factor: f64| inside.iter().rposition(|x| *x > factor * noise);
    let (Some(high), Some(low)) = (last_above(316.0), last_above(10.0)) else { return 0.0 };
    if noise <= 0.0 || low < high + 3 {
        return 0.0;
    }
    let nepers_a_window = libm::log((inside[high] - noise) / (inside[low] - noise)) / (low - high) as f64;
    let at_end = (inside[low] - noise) * libm::exp(-nepers_a_window * (end - 0.5 - low as f64));
    if nepers_a_window > 0.0 { at_end / nepers_a_window } else { 0.0 }
}

#[cfg(test)]
mod tests;
