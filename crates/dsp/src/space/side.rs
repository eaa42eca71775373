//! Width that the mono sum never hears: a decorrelated copy of the middle, placed in the side only.
//!
//! With M = (L + R)/2, the output is L + g d(M) and R - g d(M): left plus right stays what it was. d is a chain of
//! all-pass sections y = -a x + x' + a y' (Schroeder 1961), so every frequency has the same share of side: side power is
//! g^2 times middle power, and by the fold-down formula a fall of 10 log10(1 + g^2) dB in mono.

use units::{Frame, Param, Unit};

use super::{CHUNK_FRAMES, line::Line, settle};
use crate::ramp::Ramp;

/// Side gain at 100 %: 6.5 dB below the middle, 0.88 dB lost in mono.
pub(crate) const FULL_SPREAD_GAIN: f64 = 0.473;

/// Spread.
pub(crate) const SPREAD: Param = Param::number(
    "spread_percent",
    Unit::Percent,
    [0.0, 200.0],
    0.0,
    "How wide the return is drawn, in the side only: the mono sum stays untouched. Up to 100% it loses less than 1 dB in mono.",
);

/// Delays of the all-pass sections in ms: short, so that an echo stays one event, and without a common measure.
const SECTION_MS: [f64; 4] = [1.31, 2.23, 3.67, 6.01];

/// Coefficient of the sections.
const SECTION_GAIN: f64 = 0.6;

/// Longest a section may be: 6.01 ms at 192 kHz.
const LONGEST_FRAMES: usize = 1200;

/// The decorrelator of one lane.
#[derive(Clone, Debug)]
pub(crate) struct Side {
    sections: [(usize, Line<f64>); SECTION_MS.len()],
}

impl Side {
    /// Silent.
    pub(crate) fn new(rate_hz: f64) -> Self {
        let section = |ms| {
            let frames = units::frames_from_ms(ms, rate_hz).clamp(1, LONGEST_FRAMES);
            (frames, Line::new(frames, CHUNK_FRAMES, 0.0))
        };
        Self { sections: SECTION_MS.map(section) }
    }

    /// Frames for which a section chain rings above -120 dB: each passes a factor `SECTION_GAIN` per round trip.
    pub(crate) fn tail_frames(rate_hz: f64) -> usize {
        let round_trips = (6.0 / -libm::log10(SECTION_GAIN)).ceil();
        (SECTION_MS.iter().sum::<f64>() * 1e-3 * rate_hz * round_trips).ceil() as usize
    }

    /// Adds side to a chunk, with the gain of each frame from `gain`, which is left where it was.
    pub(crate) fn process(&mut self, mut gain: Ramp, chunk: &mut [Frame]) {
        if gain.is_at_rest() && gain.value() == 0.0 {
            // The memory still follows, so that the side is there at once when it is wanted.
            self.decorrelated(chunk);
            return;
        }
        let side = self.decorrelated(chunk);
        for (frame, side) in chunk.iter_mut().zip(side) {
            let side = gain.next_value() * side;
            *frame = [frame[0] + side, frame[1] - side];
        }
    }

    fn decorrelated(&mut self, chunk: &[Frame]) -> [f64; CHUNK_FRAMES] {
        let mut signal = [0.0; CHUNK_FRAMES];
        for (mid, frame) in signal.iter_mut().zip(chunk) {
            *mid = 0.5 * (frame[0] + frame[1]);
        }
        for (delay, line) in &mut self.sections {
            all_pass(line, *delay, SECTION_GAIN, &mut signal[..chunk.len()]);
        }
        signal
    }

    /// Silences the memory.
    pub(crate) fn reset(&mut self) {
        for (_, line) in &mut self.sections {
            line.clear(0.0);
        }
    }
}

/// One all-pass section in place: v = x + a v', y = v' - a v, with v' the value of v `delay` frames ago.
pub(crate) fn all_pass(line: &mut Line<f64>, delay: usize, a: f64, signal: &mut [f64]) {
    let mut past = [0.0; CHUNK_FRAMES];
    for part in signal.chunks_mut(delay.min(CHUNK_FRAMES)) {
        let past = &mut past[..part.len()];
        line.read(delay, past);
        for (x, past) in part.iter_mut().zip(past.iter_mut()) {
            let v = settle(*x + a * *past);
            *x = *past - a * v;
            *past = v;
        }
        line.write(past);
    }
}
