//! What the space processors share: the return path they sit on, delay lines, delays that move without a click, the two
//! ends of a return's spectrum, all-pass sections, and energy in the side only.

use units::{Frame, SILENCE};

use crate::ramp::Ramp;

#[cfg(test)]
pub(crate) mod acoustics;
pub(crate) mod all_pass;
pub(crate) mod cuts;
pub(crate) mod line;
pub(crate) mod moving;
pub(crate) mod return_path;
pub(crate) mod side;

/// Frames a space processor works on at a time. Part of no result.
pub(crate) const CHUNK_FRAMES: usize = 64;

/// Scratch for one chunk of one lane.
pub(crate) type Chunk = [Frame; CHUNK_FRAMES];

/// A chunk of silence.
pub(crate) const SILENT: Chunk = [SILENCE; CHUNK_FRAMES];

/// Lets frames go by on a glide that was read from copies.
pub(crate) fn pass(ramp: &mut Ramp, frames: usize) {
    for _ in 0..frames.min(crate::ramp::RAMP_FRAMES) {
        ramp.next_value();
    }
}

/// A value so small (-600 dB) that it may as well be silence. Keeps decaying memory clear of denormal numbers, which
/// cost a hundred times as much to calculate with.
#[inline]
pub(crate) fn settle(x: f64) -> f64 {
    if x.abs() < 1e-30 { 0.0 } else { x }
}
