//! One stage of bending at the higher rate: a gain, a curve, and what keeps the result clean.
//!
//! **Knees.** Where a curve's derivative jumps, harmonics fall so slowly that no affordable oversampling holds them
//! down. There the curve is applied to the straight lines between samples, and its output is averaged under a triangle
//! two samples wide before it is sampled again: second-order antiderivative antialiasing (Parker, Zavalishin and
//! Le Bivic, DAFx-16, section 3). The antiderivatives of that paper divide differences of nearly equal numbers; here
//! each line is cut at the knees, and on each piece, where the curve is a polynomial, a Gauss rule gives the exact
//! integral from sums alone. The triangle dulls the top by `1 - u` with `u = (1 - cos w) / 3`; five taps of
//! `1 + u + u²` give it back. Together they take [`KNEE_LATENCY`] frames at the higher rate.
//!
//! **Direct current.** The even part of a curve is never negative, so it has a mean. A first-order low-pass at
//! [`DC_CORNER_HZ`] follows that part alone and is subtracted. What passes through the odd part, and so all of a curve
//! at rest, is not filtered: nothing shifts in phase against a parallel path.
//!
//! **Followers** get the gain `f(x) / x` of the key's sample, or of every point of the Gauss rule; the sums come out
//! exact. The subtracted mean goes to the residue.

use std::f64::consts::TAU;

use units::{Block, Frame, SILENCE};

use super::shapes::{Amounts, Bend};
use crate::elementary::without_denormals;
use crate::ramp::Ramp;

/// Corner of the low-pass that follows the mean of the even part.
pub const DC_CORNER_HZ: f64 = 5.0;

/// Frames of delay, at the higher rate, of a stage whose curve has knees.
pub const KNEE_LATENCY: usize = 3;

/// Taps of `1 + u + u²`, centre first.
const BRIGHTENER: [f64; 3] = [1.5, -5.0 / 18.0, 1.0 / 36.0];

/// One stage for all lanes.
pub struct Stage {
    bend: Bend,
    factor: usize,
    gain: Ramp,
    odd: Ramp,
    even: Ramp,
    mean: Frame,
    mean_share: f64,
    lanes: Vec<Memory>,
    work: Work,
}

/// What a lane remembers between chunks, for curves with knees.
#[derive(Clone, Copy, Default)]
struct Memory {
    /// The last frame ahead of the curve.
    last: Frame,
    /// The earlier half of the triangle's sum for the last frame: of the odd part (or of a follower) and the even part.
    rising: [Frame; 2],
    /// The last frames ahead of the brightener.
    recent: [Frame; 4],
}

/// Scratch for one chunk, samples of left and right in turn.
struct Work {
    /// The key after the gain, behind the frame before it.
    line: Vec<f64>,
    odd: Vec<f64>,
    even: Vec<f64>,
    bright: Vec<f64>,
}

impl Stage {
    /// A stage at rest at some amounts, for chunks of up to `most_frames` frames at `factor` times `rate_hz`.
    #[must_use]
    pub fn new(bend: Bend, amounts: Amounts, lanes: usize, factor: usize, most_frames: usize, rate_hz: f64) -> Self {
        let samples = 2 * most_frames;
        Self {
            bend,
            factor,
            gain: Ramp::at(amounts.gain),
            odd: Ramp::at(amounts.odd),
            even: Ramp::at(amounts.even),
            mean: SILENCE,
            mean_share: -libm::expm1(-TAU * DC_CORNER_HZ / rate_hz),
            lanes: vec![Memory::default(); lanes],
            work: Work {
                line: vec![0.0; samples + 2],
                odd: vec![0.0; samples],
                even: vec![0.0; samples],
                bright: vec![0.0; samples + 8],
            },
        }
    }

    /// Glides to other amounts.
    pub fn go_to(&mut self, amounts: Amounts) {
        self.gain.go_to(amounts.gain);
        self.odd.go_to(amounts.odd);
        self.even.go_to(amounts.even);
    }

    /// Silent memory, glides finished.
    pub fn reset(&mut self) {
        [&mut self.gain, &mut self.odd, &mut self.even].into_iter().for_each(Ramp::finish);
        self.mean = SILENCE;
        self.lanes.fill(Memory::default());
    }

    /// Bends a chunk at the higher rate: whole base frames.
    pub fn process(&mut self, chunk: &mut Block<'_>) {
        let (frames, mut from) = (chunk.frames(), 0);
        while from < frames {
            let amounts =
                Amounts { gain: self.gain.next_value(), odd: self.odd.next_value(), even: self.even.next_value() };
            let still = self.gain.is_at_rest() && self.odd.is_at_rest() && self.even.is_at_rest();
            let count = if still { frames - from } else { self.factor };
            self.piece(&mut chunk.part(from, count), &amounts);
            from += count;
        }
    }

    /// A piece over which the amounts stand still.
    fn piece(&mut self, chunk: &mut Block<'_>, amounts: &Amounts) {
        let samples = 2 * chunk.frames();
        for (to, from) in self.work.line[2..].iter_mut().zip(chunk.lane(0).as_flattened()) {
            *to = without_denormals(amounts.gain * from);
        }
        if self.bend.has_knees {
            self.bend_knees(chunk, amounts, samples);
        } else {
            let Work { line, odd, even, .. } = &mut self.work;
            let line = &line[2..2 + samples];
            (self.bend.smooth)(line, amounts, &mut odd[..samples], &mut even[..samples]);
            follow(self.bend.ratio, line, amounts, chunk);
        }
        self.join(chunk, amounts);
        if self.bend.has_knees {
            for (lane, audio) in chunk.lanes_mut().enumerate() {
                brighten(&mut self.lanes[lane].recent, &mut self.work.bright, audio.as_flattened_mut());
            }
        }
    }

    /// A curve with knees: the key's parts into the scratch, the followers in place.
    fn bend_knees(&mut self, chunk: &mut Block<'_>, amounts: &Amounts, samples: usize) {
        let Work { line, odd, even, .. } = &mut self.work;
        let (key, followers) = self.lanes.split_at_mut(1);
        line[..2].copy_from_slice(&key[0].last);
        let line = &line[..2 + samples];
        for (memory, audio) in followers.iter_mut().zip(chunk.lanes_mut().skip(1)) {
            (self.bend.follow_knees)(line, amounts, &mut memory.last, &mut memory.rising[0], audio);
        }
        (self.bend.knees)(line, amounts, &mut key[0].rising, &mut odd[..samples], &mut even[..samples]);
        key[0].last = [line[samples], line[samples + 1]];
    }

    /// Puts the key together from its parts, without the mean of the even one.
    fn join(&mut self, chunk: &mut Block<'_>, amounts: &Amounts) {
        let residue = chunk.lanes() - 1;
        let Work { odd, even, .. } = &self.work;
        if amounts.even == 0.0 && self.mean == SILENCE {
            let key = chunk.key_mut().as_flattened_mut();
            key.copy_from_slice(&odd[..key.len()]);
            return;
        }
        for from in (0..chunk.frames()).step_by(self.factor) {
            let mean = self.mean;
            let mut sum = SILENCE;
            for at in from..from + self.factor {
                for channel in 0..2 {
                    let even = if amounts.even == 0.0 { 0.0 } else { even[2 * at + channel] };
                    sum[channel] += even;
                    chunk.key_mut()[at][channel] = odd[2 * at + channel] + (even - mean[channel]);
                    if residue > 0 {
                        chunk.lane_mut(residue)[at][channel] -= mean[channel];
                    }
                }
            }
            for channel in 0..2 {
                let next = mean[channel] + self.mean_share * (sum[channel] / self.factor as f64 - mean[channel]);
                // Below -400 dB it has died away.
                self.mean[channel] = if next.abs() < 1e-20 { 0.0 } else { next };
            }
        }
    }
}

/// Gives every follower the key's gain, sample by sample.
fn follow(ratio: fn(f64, &Amounts) -> f64, line: &[f64], amounts: &Amounts, chunk: &mut Block<'_>) {
    if chunk.lanes() == 1 {
        return;
    }
    for (i, x) in line.iter().enumerate() {
        let gain = amounts.gain * ratio(*x, amounts);
        for lane in 1..chunk.lanes() {
            chunk.lane_mut(lane)[i / 2][i % 2] *= gain;
        }
    }
}

/// Gives back the top that the triangle took. Two frames late.
fn brighten(recent: &mut [Frame; 4], work: &mut [f64], audio: &mut [f64]) {
    let samples = audio.len();
    work[..8].copy_from_slice(recent.as_flattened());
    work[8..8 + samples].copy_from_slice(audio);
    let [centre, near, far] = BRIGHTENER;
    for (i, y) in audio.iter_mut().enumerate() {
        let x = &work[i..i + 9];
        *y = centre * x[4] + near * (x[2] + x[6]) + far * (x[0] + x[8]);
    }
    recent.as_flattened_mut().copy_from_slice(&work[samples..samples + 8]);
}
