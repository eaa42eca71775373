//! What unequal treatment of the middle and the sides does to a source on one side, from measured impulse responses.
//!
//! With a transfer `M` of the middle and `S` of the sides, a source in the left channel alone comes out as
//! `(M + S) / 2` on the left and `(M - S) / 2` on the right (sum and difference: the definition of mid and side). Where
//! `M` and `S` differ in level alone, the far speaker plays it in or against polarity; where their phases differ, at an
//! angle in between, which no pan control can undo.

use std::f64::consts::TAU;

use rustfft::FftPlannerScalar;
use rustfft::num_complex::Complex;
use serde::{Deserialize, Serialize};
use units::Frame;

/// Where the middle and the sides are the farthest apart in phase, and what becomes of a source on one side there.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parting {
    /// Frequency.
    pub hz: f64,
    /// Phase of the sides less that of the middle, in degrees, -180 to 180.
    pub apart_deg: f64,
    /// Level of the source in the far speaker, re the near one.
    pub far_db: f64,
    /// Its phase in the far speaker less that in the near one, in degrees.
    pub far_deg: f64,
}

/// The band that is looked at: below it few speakers play, above it few ears tell phase.
const BAND_HZ: [f64; 2] = [40.0, 12_000.0];

/// How far the weaker of middle and sides may lie below the other: below that, what is left of it decides nothing.
const AUDIBLE_DB: f64 = -12.0;

/// The parting of the middle and the sides from the responses to an impulse in the left channel alone and to one in the
/// right, both with the same latency. None where one of the two components is missing throughout.
///
/// # Panics
/// If the responses differ in length.
#[must_use]
pub fn parting(responses: &[Vec<Frame>; 2], rate_hz: f64) -> Option<Parting> {
    let [left, right] = responses;
    assert_eq!(left.len(), right.len(), "both responses have the same length");
    let component = |sign: f64| {
        let half = |(l, r): (&Frame, &Frame)| 0.5 * ((l[0] + sign * l[1]) + sign * (r[0] + sign * r[1]));
        transform(left.iter().zip(right).map(half))
    };
    let (middle, sides) = (component(1.0), component(-1.0));
    let bin_hz = rate_hz / middle.len() as f64;
    let bins = (BAND_HZ[0] / bin_hz).ceil() as usize..=(BAND_HZ[1].min(0.45 * rate_hz) / bin_hz) as usize;
    let audible = libm::pow(10.0, AUDIBLE_DB / 20.0);
    let at = |bin: usize| {
        let (m, s) = (middle[bin], sides[bin]);
        let [weak, strong] = [m.norm().min(s.norm()), m.norm().max(s.norm())];
        (weak > audible * strong).then(|| {
            let (apart, far) = (s / m, (m - s) / (m + s));
            Parting {
                hz: bin as f64 * bin_hz,
                apart_deg: degrees(apart),
                far_db: 20.0 * libm::log10(far.norm()),
                far_deg: degrees(far),
            }
        })
    };
    bins.filter_map(at).max_by(|a, b| a.apart_deg.abs().total_cmp(&b.apart_deg.abs()))
}

fn transform(samples: impl Iterator<Item = f64>) -> Vec<Complex<f64>> {
    let mut bins: Vec<_> = samples.map(|re| Complex { re, im: 0.0 }).collect();
    FftPlannerScalar::new().plan_fft_forward(bins.len()).process(&mut bins);
    bins
}

fn degrees(of: Complex<f64>) -> f64 {
    libm::atan2(of.im, of.re) / TAU * 360.0
}

#[cfg(test)]
mod tests;
