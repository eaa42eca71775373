//! The null test: what is left of `b` when `a` is delayed, turned over and scaled to match, and taken away.
//!
//! The depth is the residual's power over that of `b`, where both sound. A delay that is no whole number of frames is
//! applied by the windowed sinc of [`crate::sinc::delayed`] (128 taps, flat to 0.469 of the sample rate): content above
//! that is not delayed exactly and limits the depth.

use serde::{Deserialize, Serialize};
use units::Frame;

use crate::align::Alignment;
use crate::sinc;
use crate::spectrum::SpectrumMeter;

/// What a residual of exactly nothing reads.
pub const PERFECT_DB: f64 = -300.0;
/// Frames taken in one go.
const CHUNK: usize = 8192;

/// The result of a null test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Null {
    /// Residual over `b` in power; [`PERFECT_DB`] if they cancel to the bit, none if `b` is silent.
    pub depth_db: Option<f64>,
    /// The same by third octave as `[nominal hz, db]`; none for bands where `b` is silent or that reach above half the
    /// sample rate.
    pub third_octave_db: Vec<(f64, Option<f64>)>,
    /// Frames in which both sound.
    pub frames: usize,
}

/// Takes `a`, aligned, away from `b`.
#[must_use]
pub fn null(a: &[Frame], b: &[Frame], alignment: &Alignment, rate_hz: f64) -> Null {
    let (delay, factor) = (alignment.delay_samples, alignment.factor());
    let from = delay.ceil().max(0.0) as usize;
    let to = b.len().min((a.len() as f64 + delay).max(0.0) as usize);
    let (mut of_rest, mut of_b) = (SpectrumMeter::new(rate_hz), SpectrumMeter::new(rate_hz));
    let mut powers = [0.0; 2];
    for start in (from..to).step_by(CHUNK) {
        let b = &b[start..to.min(start + CHUNK)];
        let moved = sinc::delayed(a, delay, start as i64, b.len());
        let take = |(b, a): (&Frame, &Frame)| [b[0] - factor * a[0], b[1] - factor * a[1]];
        let rest: Vec<Frame> = b.iter().zip(&moved).map(take).collect();
        powers[0] += power(&rest);
        powers[1] += power(b);
        of_rest.push(&rest);
        of_b.push(b);
    }
    let bands = of_rest.finish().third_octaves().into_iter().zip(of_b.finish().third_octaves());
    let third_octave_db = bands
        .map(|((hz, rest), (_, whole))| {
            (hz, rest.zip(whole).and_then(|(rest, whole)| depth_db(rest.mean(), whole.mean())))
        })
        .collect();
    Null { depth_db: depth_db(powers[0], powers[1]), third_octave_db, frames: to.saturating_sub(from) }
}

fn power(frames: &[Frame]) -> f64 {
    frames.iter().map(|x| x[0] * x[0] + x[1] * x[1]).sum()
}

/// Depth of a residual's power under another; none if that is nothing.
fn depth_db(residual: f64, whole: f64) -> Option<f64> {
    (whole > 0.0).then(|| units::db_from_power(residual / whole).max(PERFECT_DB))
}

#[cfg(test)]
mod tests;
