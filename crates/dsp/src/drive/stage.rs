//! One stage of bending at the higher rate: a gain, a curve, a level, and what keeps the result clean.
//!
//! **Knees.** Where a curve's derivative jumps, harmonics fall so slowly that no affordable oversampling holds them
//! down. There the curve is applied to the straight lines between samples, and its output is averaged under a triangle
//! two samples wide before it is sampled again: second-order antiderivative antialiasing (Parker, Zavalishin and
//! Le Bivic, DAFx-16, section 3). The antiderivatives of that paper divide differences of nearly equal numbers; here
//! each line is cut at the knees, and on each piece, where the curve is a polynomial, a Gauss rule gives the exact
//! integral from sums alone. The triangle dulls the top by `1 - u` with `u = (1 - cos w) / 3`; a
//! filter of the first terms of `1 + u + u² + ...`, which is `1 / (1 - u)`, gives it back to 0.001 dB at 20 kHz.
//!
//! **Followers** get the gain `f(x) / x` of the key's sample, or of every point of the Gauss rule; the sums come out
//! exact. Direct current that is taken away (see `blocker`) goes to the residue.

use units::{Block, Frame};

use super::bend::Bend;
use super::blocker::Blocker;
use super::shapes::Amounts;
use crate::elementary::without_denormals;
use crate::ramp::Ramp;
use crate::symmetric::Symmetric;

/// Powers of `u` that the brightener needs at 1, 2, 4, 8 and 16 times the rate: at 20 kHz and a base rate of 44.1 kHz the
/// first one left out is below 0.0001.
const BRIGHTENER_POWERS: [usize; 5] = [24, 7, 3, 2, 1];

/// Frames of delay, at the higher rate, of a stage: of the triangle and the brightener if the curve has knees.
#[must_use]
pub fn stage_latency(bend: &Bend, factor: usize) -> usize {
    if bend.has_knees { 1 + BRIGHTENER_POWERS[factor.trailing_zeros() as usize] } else { 0 }
}

/// One stage for all lanes.
pub struct Stage {
    bend: Bend,
    factor: usize,
    gain: Ramp,
    odd: Ramp,
    even: Ramp,
    through: Ramp,
    blocker: Blocker,
    lanes: Vec<Memory>,
    brightener: Symmetric,
    /// The key of a chunk after the gain, behind the frame before it; samples of left and right in turn.
    line: Vec<f64>,
}

/// What a lane remembers between chunks, for curves with knees.
#[derive(Clone, Copy, Default)]
struct Memory {
    /// The last frame ahead of the curve.
    last: Frame,
    /// The earlier half of the triangle's sum for that frame.
    rising: Frame,
}

impl Stage {
    /// A stage at rest at some amounts, for chunks of up to `most_frames` frames at `factor` times `rate_hz`.
    #[must_use]
    pub fn new(bend: Bend, amounts: Amounts, lanes: usize, factor: usize, most_frames: usize, rate_hz: f64) -> Self {
        Self {
            bend,
            factor,
            gain: Ramp::at(amounts.gain),
            odd: Ramp::at(amounts.odd),
            even: Ramp::at(amounts.even),
            through: Ramp::at(amounts.through),
            blocker: Blocker::new(rate_hz),
            lanes: vec![Memory::default(); lanes],
            brightener: brightener(lanes, factor, most_frames),
            line: vec![0.0; 2 * most_frames + 2],
        }
    }

    /// Glides to other amounts.
    pub fn go_to(&mut self, amounts: Amounts) {
        self.gain.go_to(amounts.gain);
        self.odd.go_to(amounts.odd);
        self.even.go_to(amounts.even);
        self.through.go_to(amounts.through);
    }

    /// Silent memory, glides finished.
    pub fn reset(&mut self) {
        [&mut self.gain, &mut self.odd, &mut self.even, &mut self.through].into_iter().for_each(Ramp::finish);
        self.blocker.reset();
        self.lanes.fill(Memory::default());
        self.brightener.reset();
    }

    /// Bends a chunk at the higher rate: whole base frames.
    pub fn process(&mut self, chunk: &mut Block<'_>) {
        let (frames, mut from) = (chunk.frames(), 0);
        while from < frames {
            let amounts = Amounts {
                gain: self.gain.next_value(),
                odd: self.odd.next_value(),
                even: self.even.next_value(),
                through: self.through.next_value(),
            };
            let ramps = [&self.gain, &self.odd, &self.even, &self.through];
            let still = ramps.into_iter().all(Ramp::is_at_rest);
            let count = if still { frames - from } else { self.factor };
            self.piece(&mut chunk.part(from, count), &amounts);
            from += count;
        }
    }

    /// A piece over which the amounts stand still.
    fn piece(&mut self, chunk: &mut Block<'_>, amounts: &Amounts) {
        let samples = 2 * chunk.frames();
        let (key, followers) = self.lanes.split_at_mut(1);
        self.line[..2].copy_from_slice(&key[0].last);
        for (to, from) in self.line[2..].iter_mut().zip(chunk.lane(0).as_flattened()) {
            *to = without_denormals(amounts.gain * from);
        }
        let line = &self.line[..2 + samples];
        if self.bend.has_knees {
            for (memory, audio) in followers.iter_mut().zip(chunk.lanes_mut().skip(1)) {
                (self.bend.follow_knees)(line, amounts, &mut memory.last, &mut memory.rising, audio);
            }
            (self.bend.knees)(line, amounts, &mut key[0].rising, chunk.key_mut().as_flattened_mut());
        } else {
            (self.bend.smooth)(&line[2..], amounts, chunk.key_mut().as_flattened_mut());
            self.bend.follow(&line[2..], amounts, chunk);
        }
        key[0].last = [line[samples], line[samples + 1]];
        let is_straight = amounts.odd == 0.0 && amounts.even == 0.0;
        self.blocker.process(chunk, self.factor, amounts.level(), is_straight);
        if self.bend.has_knees {
            self.brightener.process(chunk);
        }
    }
}

/// `1 + u + u² + ...` as taps: each power is the one before, convolved with `u`'s own, 1/3 and -1/6 either side.
fn brightener(lanes: usize, factor: usize, most_frames: usize) -> Symmetric {
    let powers = BRIGHTENER_POWERS[factor.trailing_zeros() as usize];
    // Index 0 is the middle.
    let mut power = vec![0.0; powers + 2];
    power[0] = 1.0;
    let mut taps = power.clone();
    for _ in 0..powers {
        let last = power.clone();
        for away in 0..=powers {
            let inner = last[if away == 0 { 1 } else { away - 1 }];
            power[away] = last[away] / 3.0 - (inner + last[away + 1]) / 6.0;
        }
        taps.iter_mut().zip(&power).for_each(|(tap, power)| *tap += power);
    }
    let mut filter = Symmetric::new(lanes, powers, most_frames);
    filter.set_taps(|away| taps[away]);
    filter
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::drive::shapes::{SHAPES, Shape};

    #[test]
    fn the_brightener_undoes_the_triangle() {
        for (doublings, factor) in [1, 2, 4, 8, 16].into_iter().enumerate() {
            let filter = brightener(1, factor, 64);
            for hz in [0.0, 1000.0, 10_000.0, 15_000.0, 20_000.0] {
                let turn = TAU * hz / (44_100.0 * factor as f64);
                let triangle = 2.0 / 3.0 + libm::cos(turn) / 3.0;
                let db = 20.0 * libm::log10(triangle * filter.response(turn));
                assert!(db.abs() < 1e-3, "{factor}x, {hz} Hz: {db} dB");
            }
            assert_eq!(filter.latency_frames(), BRIGHTENER_POWERS[doublings]);
        }
    }

    #[test]
    fn parts_of_the_key_share_its_curve_exactly() {
        // Key = two followers + residue, through every curve, before anything is settled.
        const FRAMES: usize = 256;
        let mut random = chance::Random(5);
        let others = |data: &[Frame], at: usize| -> Frame {
            [0, 1].map(|channel| (1..4).map(|lane| data[lane * FRAMES + at][channel]).sum())
        };
        for (index, name) in SHAPES.iter().enumerate() {
            for even in [0.0, 0.7] {
                let amounts = Amounts { gain: 4.0, odd: 0.8, even, through: 2.0 };
                let mut stage = Stage::new(Bend::of(Shape::at(index)), amounts, 4, 4, FRAMES, 48_000.0);
                let mut worst = 0.0_f64;
                for _ in 0..20 {
                    let mut data: Vec<Frame> = random.signal(4 * FRAMES, 1.0);
                    for at in 0..FRAMES {
                        data[at] = others(&data, at);
                    }
                    stage.process(&mut Block::new(&mut data, FRAMES, FRAMES));
                    for at in 0..FRAMES {
                        let ([left, right], sum) = (data[at], others(&data, at));
                        worst = worst.max((left - sum[0]).abs()).max((right - sum[1]).abs());
                    }
                }
                // -260 dB; the gain f(x)/x near a zero of x magnifies rounding.
                assert!(worst < 1e-12, "{name}, even {even}: {worst}");
            }
        }
    }
}
