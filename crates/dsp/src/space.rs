//! What the space processors share: delay lines, delays that move without a click, the two ends of a return's
//! spectrum, energy in the side only, and the blend with what came in.

use units::{Frame, MAX_BLOCK_FRAMES, Param, SILENCE, Unit};

use crate::ramp::Ramp;

#[cfg(test)]
pub(crate) mod acoustics;
pub(crate) mod cuts;
pub(crate) mod line;
pub(crate) mod moving;
pub(crate) mod side;

/// Frames a space processor works on at a time. Part of no result.
pub(crate) const CHUNK_FRAMES: usize = 64;

const _: () = assert!(CHUNK_FRAMES <= MAX_BLOCK_FRAMES);

/// Scratch for one chunk of one lane.
pub(crate) type Chunk = [Frame; CHUNK_FRAMES];

/// A chunk of silence.
pub(crate) const SILENT: Chunk = [SILENCE; CHUNK_FRAMES];

/// Longest pre-delay in milliseconds.
pub(crate) const PRE_DELAY_MOST_MS: f64 = 250.0;

/// Wait before the space answers.
pub(crate) const PRE_DELAY: Param = Param::number(
    "pre_delay_ms",
    Unit::Millisecond,
    [0.0, PRE_DELAY_MOST_MS],
    0.0,
    "How long the space waits before it answers; 10 to 60 ms keep the source in front.",
);

/// Blend.
pub(crate) const MIX: Param = Param::number(
    "mix_percent",
    Unit::Percent,
    [0.0, 100.0],
    100.0,
    "How much of the output is the space: 100% on a return, less when it sits in a chain.",
);

/// Blend of a chunk: `dry (1 - mix) + wet mix`, with the mix of each frame from `mix`, which is left where it was.
pub(crate) fn blend(mut mix: Ramp, dry: &[Frame], wet: &[Frame], out: &mut [Frame]) {
    for ((out, dry), wet) in out.iter_mut().zip(dry).zip(wet) {
        let mix = mix.next_value();
        *out = [0, 1].map(|c| if mix == 1.0 { wet[c] } else { dry[c] + mix * (wet[c] - dry[c]) });
    }
}

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
