//! Spread: makes the middle wide by adding a decorrelated copy of it to the sides only.
//!
//! `M = (L + R) / 2` goes through a high-pass (Butterworth, 12 dB an octave), so that the low end stays centred, and
//! through a chain of all-passes `(-c + z^-m) / (1 - c z^-m)` (Schroeder, "Natural Sounding Artificial Reverberation",
//! JAES 10, 1962), which smears it in time and leaves its spectrum flat. The result `D` is added to the left and taken
//! from the right: the mono sum does not change at all.
//!
//! With the amount `g` as a gain, the correlation of the channels above the corner is, for a centred source,
//! `(1 - g²) / sqrt((1 + g²)² - 4 r² g²)`, where `r = ` the product of the chain's `-c`, 0.06, is what `D` keeps in
//! common with `M`: 0.78 at -9 dB, 0.60 at -6 dB, 0 at 0 dB.

use std::f64::consts::FRAC_1_SQRT_2;

use units::{At, Block, Frame, Param, Settings, Spec, Unit, Value, gain_from_db};

use crate::biquad::{Coefficients, Gliding, State};
use crate::ramp::Ramp;
use crate::{BuildError, Context, Processor};

/// Level of the copy.
pub const AMOUNT_DB: Param = Param::number(
    "amount_db",
    Unit::Decibel,
    [-60.0, 0.0],
    -9.0,
    "How loud the decorrelated copy in the sides is, against the middle.",
);
/// Corner of the high-pass.
pub const FROM_HZ: Param =
    Param::number("from_hz", Unit::Hertz, [20.0, 2000.0], 150.0, "Below this corner everything stays centred.");
/// Time over which the copy is smeared.
pub const LENGTH_MS: Param = Param::number(
    "length_ms",
    Unit::Millisecond,
    [2.0, 60.0],
    20.0,
    "Over what time the copy is smeared: short is dense, long turns into a room; taken up when playing starts anew.",
);
/// Choice of the smear.
pub const SEED: Param = Param::number(
    "seed",
    Unit::Plain,
    [1.0, 999.0],
    1.0,
    "Picks another smear of the same kind; two spreads with different seeds do not add up.",
);

/// The spread's description.
pub static SPEC: Spec = Spec {
    name: "spread",
    title: "spread",
    summary: "Widens what stands in the middle and leaves the mono sum as it is.",
    sentence: "adds the middle to the sides at {amount_db}, decorrelated over {length_ms}, from {from_hz} up[; seed {seed}]",
    params: &[AMOUNT_DB, FROM_HZ, LENGTH_MS, SEED],
    rows: None,
    outside_key: false,
};

/// All-passes in the chain.
const STAGES: usize = 4;
/// Their coefficient: three passes of the longest are then 18 dB down.
const COEFFICIENT: f64 = 0.5;
/// How the length is shared out among them, before the seed moves each by up to [`JITTER`] of itself.
const SHARES: [f64; STAGES] = [0.43, 0.28, 0.18, 0.11];
const JITTER: f64 = 0.12;
/// Passes through an all-pass until 120 dB are gone: 2^-20.
const TAIL_PASSES: usize = 20;
/// Frames between the points at which states are settled.
const PIECE: usize = 256;
/// -400 dB: nothing, and far from denormals.
const SILENT: f64 = 1e-20;

/// A spread.
pub struct Spread {
    settings: Settings,
    rate_hz: f64,
    amount: Ramp,
    high_pass: Gliding,
    /// Delays of the all-passes.
    delays: [usize; STAGES],
    lanes: Vec<Lane>,
    /// Frames since the last reset.
    at: usize,
}

struct Lane {
    high_pass: State,
    lines: [Line; STAGES],
}

/// The memory of one all-pass.
struct Line {
    ring: Vec<f64>,
    delay: usize,
    at: usize,
}

/// Builds a spread.
///
/// # Errors
/// Never.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    let lanes = (0..context.lanes).map(|_| Lane::new(context.rate_hz)).collect();
    let mut spread = Spread {
        settings: settings.clone(),
        rate_hz: context.rate_hz,
        amount: Ramp::at(0.0),
        high_pass: Gliding::at(Coefficients::IDENTITY),
        delays: [1; STAGES],
        lanes,
        at: 0,
    };
    spread.reset();
    Ok(Box::new(spread))
}

fn high_pass_of(settings: &Settings, rate_hz: f64) -> Coefficients {
    Coefficients::high_pass(settings.number(&FROM_HZ), FRAC_1_SQRT_2, rate_hz)
}

/// Odd delays that share out the length. The seed is stretched by SplitMix64's finaliser (Steele, Lea, Flood 2014).
fn delays_of(settings: &Settings, rate_hz: f64) -> [usize; STAGES] {
    let frames = settings.number(&LENGTH_MS) * 1e-3 * rate_hz;
    let seed = settings.number(&SEED).round() as u64;
    std::array::from_fn(|stage| {
        let mut z = (seed * STAGES as u64 + stage as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let random = ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64;
        (frames * SHARES[stage] * (1.0 + JITTER * (2.0 * random - 1.0))) as usize | 1
    })
}

impl Lane {
    /// Room for the longest length.
    fn new(rate_hz: f64) -> Self {
        let units::Kind::Number { high: longest_ms, .. } = LENGTH_MS.kind else { unreachable!("a number") };
        let room = |share: f64| (longest_ms * 1e-3 * rate_hz * share * (1.0 + JITTER)) as usize + 2;
        let lines = SHARES.map(|share| Line { ring: vec![0.0; room(share)], delay: 1, at: 0 });
        Self { high_pass: State::default(), lines }
    }

    fn clear(&mut self, delays: &[usize; STAGES]) {
        self.high_pass = State::default();
        for (line, delay) in self.lines.iter_mut().zip(delays) {
            line.ring.fill(0.0);
            (line.delay, line.at) = (*delay, 0);
        }
    }

    #[inline]
    fn decorrelate(&mut self, high_pass: &Coefficients, mid: f64) -> f64 {
        let high = self.high_pass.step(high_pass, [mid, 0.0])[0];
        self.lines.iter_mut().fold(high, |x, line| line.pass(x))
    }
}

impl Line {
    #[inline]
    fn pass(&mut self, x: f64) -> f64 {
        let y = self.ring[self.at] - COEFFICIENT * x;
        let kept = x + COEFFICIENT * y;
        self.ring[self.at] = if kept.abs() < SILENT { 0.0 } else { kept };
        self.at += 1;
        if self.at == self.delay {
            self.at = 0;
        }
        y
    }
}

impl Processor for Spread {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        for at in 0..block.frames() {
            let (amount, high_pass) = (self.amount.next_value(), *self.high_pass.advance());
            for (lane, state) in self.lanes.iter_mut().enumerate() {
                let frame = &mut block.lane_mut(lane)[at];
                let added = amount * state.decorrelate(&high_pass, 0.5 * (frame[0] + frame[1]));
                *frame = [frame[0] + added, frame[1] - added];
            }
            self.at = (self.at + 1) % PIECE;
            if self.at == 0 {
                self.lanes.iter_mut().for_each(|lane| lane.high_pass.settle());
            }
        }
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        self.amount.go_to(gain_from_db(self.settings.number(&AMOUNT_DB)));
        self.high_pass.go_to(high_pass_of(&self.settings, self.rate_hz));
    }

    fn reset(&mut self) {
        self.amount = Ramp::at(gain_from_db(self.settings.number(&AMOUNT_DB)));
        self.high_pass = Gliding::at(high_pass_of(&self.settings, self.rate_hz));
        self.delays = delays_of(&self.settings, self.rate_hz);
        self.lanes.iter_mut().for_each(|lane| lane.clear(&self.delays));
        self.at = 0;
    }

    fn tail_frames(&self) -> usize {
        self.high_pass.target().tail_frames() + TAIL_PASSES * self.delays.iter().sum::<usize>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    fn run(settings: &Settings, mut data: Vec<Frame>) -> Vec<Frame> {
        let mut spread = build(settings, &Context::plain(RATE_HZ, 1)).unwrap();
        spread.process(&mut Block::key_only(&mut data), None);
        data
    }

    fn noise(frames: usize, channels: usize) -> Vec<Frame> {
        let mut seed = 3_u64;
        let mut next = move || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
        };
        let mut frame = || {
            let left = next();
            [left, if channels == 2 { next() } else { left }]
        };
        (0..frames).map(|_| frame()).collect()
    }

    fn mean(frames: &[Frame], f: impl Fn(&Frame) -> f64) -> f64 {
        frames.iter().map(f).sum::<f64>() / frames.len() as f64
    }

    /// Level of the side of an impulse's response at a frequency.
    fn side_db(response: &[Frame], hz: f64) -> f64 {
        let mut sum = [0.0; 2];
        for (n, frame) in response.iter().enumerate() {
            let (sin, cos) = libm::sincos(std::f64::consts::TAU * hz * n as f64 / RATE_HZ);
            let side = 0.5 * (frame[0] - frame[1]);
            sum = [sum[0] + side * cos, sum[1] - side * sin];
        }
        units::db_from_power(sum[0] * sum[0] + sum[1] * sum[1])
    }

    fn impulse_response(settings: &Settings) -> Vec<Frame> {
        let mut data = vec![[0.0; 2]; 48_000];
        data[0] = [1.0, 1.0];
        run(settings, data)
    }

    #[test]
    fn the_mono_sum_stays_as_it_was() {
        let before = noise(30_000, 2);
        let after = run(&Settings::defaults(&SPEC).with_number(&AMOUNT_DB, 0.0), before.clone());
        for (b, a) in before.iter().zip(&after) {
            // -300 dB.
            assert!(((a[0] + a[1]) - (b[0] + b[1])).abs() < 1e-15);
        }
    }

    #[test]
    fn the_correlation_is_as_stated() {
        for (amount_db, stated) in [(-9.0, 0.777), (-6.0, 0.599), (0.0, 0.0)] {
            let settings = Settings::defaults(&SPEC).with_number(&AMOUNT_DB, amount_db).with_number(&FROM_HZ, 20.0);
            let out = run(&settings, noise(400_000, 1));
            let power = (mean(&out, |f| f[0] * f[0]) * mean(&out, |f| f[1] * f[1])).sqrt();
            let correlation = mean(&out, |f| f[0] * f[1]) / power;
            assert!((correlation - stated).abs() < 0.01, "{amount_db} dB: {correlation}");
            // What the copy has in common with the middle: the product of the four -c (as for one all-pass: -c).
            let common = mean(&out, |f| 0.25 * (f[0] + f[1]) * (f[0] - f[1])) / gain_from_db(amount_db);
            let middle = mean(&out, |f| 0.25 * (f[0] + f[1]) * (f[0] + f[1]));
            assert!((common / middle - 0.0625).abs() < 0.01, "{}", common / middle);
        }
    }

    #[test]
    fn the_copy_is_flat_above_the_corner_and_gone_below() {
        let response = impulse_response(&Settings::defaults(&SPEC).with_number(&FROM_HZ, 100.0));
        // All-pass chain: flat within 0.01 dB. Butterworth: -3.01 dB at the corner, 10 log10(1 + 4^4) = 24.10 dB two
        // octaves below.
        for (hz, db) in [(2000.0, 0.0), (3777.0, 0.0), (12_345.0, 0.0), (100.0, -3.0103), (25.0, -24.0993)] {
            let level = side_db(&response, hz) + 9.0;
            assert!((level - db).abs() < 0.01, "{hz} Hz: {level}");
        }
    }

    #[test]
    fn the_smear_lasts_about_its_length() {
        for length_ms in [5.0, 20.0, 60.0] {
            let settings = Settings::defaults(&SPEC).with_number(&LENGTH_MS, length_ms);
            let response = impulse_response(&settings);
            let energy = |part: &[Frame]| part.iter().map(|f| (f[0] - f[1]) * (f[0] - f[1])).sum::<f64>();
            let within = (2.0 * length_ms * 48.0) as usize;
            // Nine tenths within twice the length, but not at once.
            assert!(energy(&response[..within]) > 0.9 * energy(&response));
            assert!(energy(&response[..within / 8]) < 0.5 * energy(&response));
        }
    }

    #[test]
    fn seeds_differ_and_repeat() {
        let of = |seed| impulse_response(&Settings::defaults(&SPEC).with_number(&SEED, seed));
        assert!(of(2.0) == of(2.0) && of(2.0) != of(3.0));
    }
}
