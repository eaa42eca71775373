//! The tuning of what has pitch: how far its partials lie from the notes of equal temperament at A = 440 Hz (ISO 16).
//!
//! Peaks of the long spectra between 90 and 900 Hz are read to a fraction of a bin (a parabola through the logarithms of
//! three bins; for the Hann window that errs by less than 0.02 bins, a hundredth of a hertz). Each gives its distance from
//! the nearest note in cents, and the distances are averaged on a circle of a hundred cents, weighed by amplitude.

use std::f64::consts::TAU;

use rustfft::num_complex::Complex;
use serde::{Deserialize, Serialize};

use super::low_end::Stretch;

/// Partials that are read.
const RANGE_HZ: [f64; 2] = [90.0, 900.0];
/// Power under the strongest of a stretch, and of full scale, from which a peak counts.
const LEAST_SHARE: f64 = 1e-4;
const LEAST_POWER: f64 = 1e-8;
/// Bins on either side, four hertz, in which a peak is the only one: notes struck again and again have lines beside them.
const ALONE: usize = 8;
/// Share of all amplitude from which a note counts as played.
const PLAYED: f64 = 0.01;

/// How something is tuned.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tuning {
    /// Cents above equal temperament at A = 440 Hz, -50 to 50.
    pub cents: f64,
    /// How well its partials agree: 1 if all lie alike, 0 if they lie anywhere.
    pub agreement: f64,
    /// Notes of the octave that are played, 0 to 12.
    pub notes: usize,
    /// Stretches of two seconds that it was read in.
    pub stretches: usize,
}

/// What several things are tuned to together: the mean of their cents on a circle of a hundred, weighed by agreement. None
/// for fewer than `least` of them, or where they pull different ways.
#[must_use]
pub fn common_cents(tunings: impl Iterator<Item = Tuning>, least: usize) -> Option<f64> {
    let (mut sum, mut all, mut count) = (Complex::new(0.0, 0.0), 0.0, 0);
    for tuning in tunings {
        let (sine, cosine) = libm::sincos(TAU * tuning.cents / 100.0);
        sum += Complex::new(cosine, sine) * tuning.agreement;
        (all, count) = (all + tuning.agreement, count + 1);
    }
    (count >= least && sum.norm() > all / 2.0).then(|| 100.0 * libm::atan2(sum.im, sum.re) / TAU)
}

/// Frequency of the A that lies so many cents above 440 Hz.
#[must_use]
pub fn a_hz(cents: f64) -> f64 {
    440.0 * libm::exp2(cents / 1200.0)
}

/// Cents from one frequency up to another.
#[must_use]
pub fn cents_between(from_hz: f64, to_hz: f64) -> f64 {
    1200.0 * libm::log2(to_hz / from_hz)
}

/// Streaming reader of tuning.
#[derive(Clone, Default)]
pub(super) struct TuningMeter {
    sum: Complex<f64>,
    notes: [f64; 12],
    stretches: usize,
}

impl TuningMeter {
    pub fn take(&mut self, stretch: &Stretch<'_>) {
        let [from, to] = RANGE_HZ.map(|hz| stretch.bin(hz));
        let most = stretch.power[from..to].iter().fold(0.0f64, |most, x| most.max(*x));
        let least = (LEAST_SHARE * most).max(LEAST_POWER);
        if most < LEAST_POWER {
            return;
        }
        self.stretches += 1;
        for k in from..to {
            let around = &stretch.power[k - ALONE..=k + ALONE];
            let top = around[ALONE];
            if top >= least && around.iter().enumerate().all(|(i, x)| i == ALONE || *x < top) {
                let [a, b, c] = [around[ALONE - 1], top, around[ALONE + 1]].map(|x| libm::log(x.max(1e-300)));
                let hz = stretch.bin_hz * (k as f64 + 0.5 * (a - c) / (a - 2.0 * b + c));
                let semitones = 12.0 * libm::log2(hz / 440.0);
                let note = semitones.round();
                let (sine, cosine) = libm::sincos(TAU * (semitones - note));
                let weight = top.sqrt();
                self.sum += Complex::new(cosine, sine) * weight;
                self.notes[(note as i64).rem_euclid(12) as usize] += weight;
            }
        }
    }

    pub fn finish(&self) -> Option<Tuning> {
        let all: f64 = self.notes.iter().sum();
        (all > 0.0).then(|| Tuning {
            cents: 100.0 * libm::atan2(self.sum.im, self.sum.re) / TAU,
            agreement: self.sum.norm() / all,
            notes: self.notes.iter().filter(|weight| **weight > PLAYED * all).count(),
            stretches: self.stretches,
        })
    }
}
