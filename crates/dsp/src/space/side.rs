//! Width that the mono sum never hears: a decorrelated copy of the middle, placed in the side only.
//!
//! With M = (L + R)/2, the output is L + g d(M) and R - g d(M): left plus right stays what it was. d is a chain of
//! all-pass sections, so every frequency has the same share of side: side power is g^2 times middle power, and by the
//! fold-down formula a fall of 10 log10(1 + g^2) dB in mono.

use units::{Frame, Param, Unit};

use super::{
    CHUNK_FRAMES,
    all_pass::{self, AllPassChain},
};
use crate::ramp::Ramp;

/// Side gain at 100 %: 6.5 dB below the middle, 0.88 dB lost in mono.
pub(crate) const FULL_SPREAD_GAIN: f64 = 0.473;

/// Spread.
pub(crate) const SPREAD: Param = Param::number(
    "spread_percent",
    Unit::Percent,
    [0.0, 200.0],
    0.0,
    "How wide the return is drawn, in the side only: the mono sum stays untouched. Up to 100 % it loses less than 1 dB in mono.",
);

/// Delays of the all-pass sections in ms: short, so that an echo stays one event, and without a common measure.
const SECTION_MS: [f64; 4] = [1.31, 2.23, 3.67, 6.01];

/// Coefficient of the sections.
const SECTION_GAIN: f64 = 0.6;

/// The decorrelator of one lane.
#[derive(Clone, Debug)]
pub(crate) struct Side(AllPassChain);

impl Side {
    /// Silent.
    pub(crate) fn new(rate_hz: f64) -> Self {
        Self(AllPassChain::new(SECTION_GAIN, delays_frames(rate_hz)))
    }

    /// Frames for which it rings above -120 dB.
    pub(crate) fn tail_frames(rate_hz: f64) -> usize {
        all_pass::tail_frames(SECTION_GAIN, delays_frames(rate_hz))
    }

    /// Adds side to a chunk, with the gain of each frame from `gain`, which is left where it was. At a gain of 0 the
    /// memory still follows, so that the side is there at once when it is wanted.
    pub(crate) fn process(&mut self, gain: Ramp, chunk: &mut [Frame]) {
        add_side(gain, chunk, |mid| self.0.process(mid));
    }

    /// Silences the memory.
    pub(crate) fn clear(&mut self) {
        self.0.clear();
    }
}

fn delays_frames(rate_hz: f64) -> [usize; SECTION_MS.len()] {
    SECTION_MS.map(|ms| units::frames_from_ms(ms, rate_hz))
}

/// Adds what `decorrelate` makes of the middle of a chunk to its side, with the gain of each frame from `gain`.
pub(crate) fn add_side(mut gain: Ramp, chunk: &mut [Frame], decorrelate: impl FnOnce(&mut [f64])) {
    let mut side = [0.0; CHUNK_FRAMES];
    let side = &mut side[..chunk.len()];
    for (mid, frame) in side.iter_mut().zip(chunk.iter()) {
        *mid = 0.5 * (frame[0] + frame[1]);
    }
    decorrelate(side);
    for (frame, side) in chunk.iter_mut().zip(side) {
        let side = gain.next_value() * *side;
        *frame = [frame[0] + side, frame[1] - side];
    }
}
