//! The clipper ahead of the limiter: takes a declared share of what is too much at once, sample by sample.
//!
//! A sample x above the ceiling C is too loud by 20 log10(|x| / C) dB; a share p of that is taken:
//! y = x (|x| / C)^-p. With p = 1 it is a hard clip, with p = 1/2 the square root of the excess stays. What is left is the
//! limiter's. The curve runs at sixteen times the rate ([`crate::oversample`]), so that little of what it makes folds back.
//! It is a gain for each sample, so followers take the key's.

use crate::decibel_fast::{exp2, log2};
use crate::oversample::Oversampler;
use units::Block;

/// How many times the rate it runs at.
const FACTOR: usize = 16;

/// The clipper's filters.
pub(super) struct Clipper {
    oversampler: Oversampler,
    gains: Vec<[f64; 2]>,
}

impl Clipper {
    pub(super) fn new(lanes: usize) -> Self {
        let gains = vec![[1.0; 2]; Oversampler::most_inner_frames(FACTOR)];
        Self { oversampler: Oversampler::new(lanes, FACTOR, 0), gains }
    }

    pub(super) fn latency_frames(&self) -> usize {
        self.oversampler.latency_frames()
    }

    pub(super) fn reset(&mut self) {
        self.oversampler.reset();
    }

    /// Clips a block in place; gives the least gain that it took.
    pub(super) fn process(&mut self, block: &mut Block<'_>, ceiling: f64, share: f64) -> f64 {
        let mut least = 1.0_f64;
        let gains = &mut self.gains;
        self.oversampler.process(block, |inner| {
            let gains = &mut gains[..inner.frames()];
            for (gain, frame) in gains.iter_mut().zip(inner.lane(0)) {
                *gain = [clip_gain(frame[0].abs(), ceiling, share), clip_gain(frame[1].abs(), ceiling, share)];
                least = least.min(gain[0]).min(gain[1]);
            }
            for lane in inner.lanes_mut() {
                for (frame, gain) in lane.iter_mut().zip(&*gains) {
                    *frame = [frame[0] * gain[0], frame[1] * gain[1]];
                }
            }
        });
        least
    }
}

/// The gain for a magnitude.
#[inline]
fn clip_gain(magnitude: f64, ceiling: f64, share: f64) -> f64 {
    if magnitude <= ceiling { 1.0 } else { exp2(-share * log2(magnitude / ceiling)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_declared_share_of_the_excess_is_taken() {
        // 6.0206 dB too much: half of it leaves 3.0103, all of it the ceiling, none of it everything.
        for (share, left) in [(0.0, 2.0), (0.5, std::f64::consts::SQRT_2), (1.0, 1.0)] {
            assert!((1.6 * clip_gain(1.6, 0.8, share) / 0.8 - left).abs() < 1e-8, "{share}");
        }
        assert_eq!(clip_gain(0.8, 0.8, 1.0), 1.0);
    }
}
