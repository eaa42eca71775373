//! Width: how loud the sides are against the middle, overall, below and above a split, with the bass in mono.
//!
//! With `M = (L + R) / 2` and `S = (L - R) / 2`, only `S` is worked on and its change is added to left and taken from
//! right, so the mono sum passes as it is.
//!
//! - The split is of first order and complementary: low is a one-pole low-pass of `S`, high is the rest, so equal
//!   widths sum to flat exactly.
//! - The bass goes to mono through a high-pass of `S`, Butterworth, 12 dB an octave (an elliptical filter, as disc
//!   cutting calls it; corners of 100 to 150 Hz are common practice).

use std::f64::consts::FRAC_1_SQRT_2;

use units::{At, Block, Frame, Param, Settings, Spec, Unit, Value};

use crate::biquad::{Coefficients, Gliding, State};
use crate::ramp::Ramp;
use crate::{BuildError, Context, Processor};

/// Gain of the sides.
pub const WIDTH_PERCENT: Param = Param::number(
    "width_percent",
    Unit::Percent,
    [0.0, 200.0],
    100.0,
    "How wide it is: 0 is mono, 100 as it came, 200 twice the sides.",
);
/// Corner of the mono bass.
pub const BASS_MONO_HZ: Param = Param::number(
    "bass_mono_hz",
    Unit::Hertz,
    [0.0, 500.0],
    0.0,
    "Below this corner the sides fade out, so that the bass stands in the middle; 0 is off.",
);
/// Where low and high widths part.
pub const SPLIT_HZ: Param =
    Param::number("split_hz", Unit::Hertz, [100.0, 8000.0], 1000.0, "Where the low and the high width part.");
/// Width below the split.
pub const LOW_PERCENT: Param = Param::number(
    "low_percent",
    Unit::Percent,
    [0.0, 200.0],
    100.0,
    "Width below the split, on top of the overall one.",
);
/// Width above the split.
pub const HIGH_PERCENT: Param = Param::number(
    "high_percent",
    Unit::Percent,
    [0.0, 200.0],
    100.0,
    "Width above the split, on top of the overall one.",
);

/// The width's description.
pub static SPEC: Spec = Spec {
    name: "width",
    title: "width",
    summary: "Makes the sides louder or quieter against the middle, and centres the bass.",
    source: "Middle and side as half the sum and half the difference; a complementary first-order split; a \
             Butterworth high-pass of the side, which disc cutting calls an elliptical filter.",
    caution: "Over 100 % puts a little of what stands hard on one side into the other, with inverted polarity. The mono sum \
             stays as it is, so what was wide sounds weaker there.",
    sentence: "sets the width to {width_percent}[, the bass in mono below {bass_mono_hz}][, {low_percent} of it below and \
               {high_percent} above {split_hz}]",
    params: &[WIDTH_PERCENT, BASS_MONO_HZ, SPLIT_HZ, LOW_PERCENT, HIGH_PERCENT],
    rows: None,
    outside_key: false,
};

/// Frames between the points at which states are settled.
const PIECE: usize = 256;

/// A width.
pub struct Width {
    settings: Settings,
    rate_hz: f64,
    low_gain: Ramp,
    high_gain: Ramp,
    split: Gliding,
    bass: Gliding,
    /// Per lane: split, bass.
    states: Vec<[State; 2]>,
    /// Frames since the last reset, modulo [`PIECE`].
    at: usize,
}

/// Builds a width.
///
/// # Errors
/// Never.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    let [low, high] = gains(settings);
    let [split, bass] = filters(settings, context.rate_hz);
    Ok(Box::new(Width {
        settings: settings.clone(),
        rate_hz: context.rate_hz,
        low_gain: Ramp::at(low),
        high_gain: Ramp::at(high),
        split: Gliding::at(split),
        bass: Gliding::at(bass),
        states: vec![[State::default(); 2]; context.lanes],
        at: 0,
    }))
}

fn gains(settings: &Settings) -> [f64; 2] {
    let overall = settings.number(&WIDTH_PERCENT) / 100.0;
    [&LOW_PERCENT, &HIGH_PERCENT].map(|param| overall * settings.number(param) / 100.0)
}

fn filters(settings: &Settings, rate_hz: f64) -> [Coefficients; 2] {
    let split = Coefficients::one_pole_low_pass(settings.number(&SPLIT_HZ), rate_hz);
    let bass_hz = settings.number(&BASS_MONO_HZ);
    let bass =
        if bass_hz > 0.0 { Coefficients::high_pass(bass_hz, FRAC_1_SQRT_2, rate_hz) } else { Coefficients::IDENTITY };
    [split, bass]
}

impl Width {
    fn process_frame(&mut self, block: &mut Block<'_>, at: usize) {
        let (low, high) = (self.low_gain.next_value(), self.high_gain.next_value());
        let (split, bass) = (*self.split.advance(), *self.bass.advance());
        for (lane, states) in self.states.iter_mut().enumerate() {
            let frame = &mut block.lane_mut(lane)[at];
            let side = 0.5 * (frame[0] - frame[1]);
            let low_side = states[0].step(&split, [side, 0.0])[0];
            let wide = high * side + (low - high) * low_side;
            let change = states[1].step(&bass, [wide, 0.0])[0] - side;
            *frame = [frame[0] + change, frame[1] - change];
        }
    }
}

impl Processor for Width {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        for at in 0..block.frames() {
            self.process_frame(block, at);
            self.at = (self.at + 1) % PIECE;
            if self.at == 0 {
                self.states.as_flattened_mut().iter_mut().for_each(State::settle);
            }
        }
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        let [low, high] = gains(&self.settings);
        self.low_gain.go_to(low);
        self.high_gain.go_to(high);
        let [split, bass] = filters(&self.settings, self.rate_hz);
        self.split.go_to(split);
        self.bass.go_to(bass);
    }

    fn reset(&mut self) {
        self.low_gain.finish();
        self.high_gain.finish();
        self.split.finish();
        self.bass.finish();
        self.states.fill([State::default(); 2]);
        self.at = 0;
    }

    fn tail_frames(&self) -> usize {
        self.split.target().tail_frames() + self.bass.target().tail_frames()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{RATES_HZ, power_db, sine, stereo_noise};

    fn run(settings: &Settings, rate_hz: f64, mut data: Vec<Frame>) -> Vec<Frame> {
        let mut width = build(settings, &Context::plain(rate_hz, 1)).unwrap();
        width.process(&mut Block::key_only(&mut data), None);
        data
    }

    fn correlation(frames: &[Frame]) -> f64 {
        let sum = |f: fn(&Frame) -> f64| frames.iter().map(f).sum::<f64>();
        sum(|f| f[0] * f[1]) / (sum(|f| f[0] * f[0]) * sum(|f| f[1] * f[1])).sqrt()
    }

    /// Level of a tone in the side after a width, in the second half of a second.
    fn side_db(settings: &Settings, rate_hz: f64, hz: f64) -> f64 {
        let tone = sine(hz, 1.0, rate_hz, rate_hz as usize).iter().map(|x| [*x, -x]).collect();
        let left: Vec<f64> = run(settings, rate_hz, tone).iter().skip(rate_hz as usize / 2).map(|f| f[0]).collect();
        power_db(&left) - power_db(&[0.5_f64.sqrt()])
    }

    #[test]
    fn as_it_came_no_bit_changes() {
        assert!(run(&Settings::defaults(&SPEC), 48_000.0, stereo_noise(1000, 1)) == stereo_noise(1000, 1));
    }

    #[test]
    fn the_correlation_of_unlike_channels_follows_the_width() {
        // M and S of equal power P: correlation (P - w² P) / (P + w² P), by definition.
        for rate_hz in RATES_HZ {
            for width in [0.0, 50.0, 100.0, 150.0, 200.0] {
                let settings = Settings::defaults(&SPEC).with_number(&WIDTH_PERCENT, width);
                let found = correlation(&run(&settings, rate_hz, stereo_noise(100_000, 1)));
                let w = width / 100.0;
                let expected = (1.0 - w * w) / (1.0 + w * w);
                assert!((found - expected).abs() < 0.01, "{width}: {found} {expected}");
            }
        }
    }

    #[test]
    fn the_mono_sum_stays_as_it_was() {
        let settings = Settings::defaults(&SPEC)
            .with_number(&WIDTH_PERCENT, 170.0)
            .with_number(&BASS_MONO_HZ, 140.0)
            .with_number(&LOW_PERCENT, 30.0);
        for rate_hz in RATES_HZ {
            let before = stereo_noise(20_000, 1);
            let after = run(&settings, rate_hz, before.clone());
            for (b, a) in before.iter().zip(&after) {
                // -300 dB, the design's figure for mid/side there and back.
                assert!(((a[0] + a[1]) - (b[0] + b[1])).abs() < 1e-15 * 4.0);
            }
        }
    }

    #[test]
    fn the_bass_goes_to_mono_at_twelve_decibels_an_octave() {
        // Butterworth of order 2: -3.01 dB at the corner, 10 log10(1 + 2^4) = 12.30 dB one octave below.
        let settings = Settings::defaults(&SPEC).with_number(&BASS_MONO_HZ, 120.0);
        for rate_hz in RATES_HZ {
            for (hz, db) in [(120.0, -3.0103), (60.0, -12.3045), (30.0, -24.0993), (2000.0, 0.0)] {
                let level = side_db(&settings, rate_hz, hz);
                assert!((level - db).abs() < 0.02, "{hz} Hz at {rate_hz} Hz: {level}");
            }
        }
    }

    #[test]
    fn widths_below_and_above_the_split_hold_and_equal_ones_are_flat() {
        let apart = Settings::defaults(&SPEC).with_number(&LOW_PERCENT, 50.0).with_number(&HIGH_PERCENT, 200.0);
        let equal = Settings::defaults(&SPEC).with_number(&LOW_PERCENT, 50.0).with_number(&HIGH_PERCENT, 50.0);
        for rate_hz in RATES_HZ {
            for (hz, db) in [(20.0, -6.02), (16_000.0, 6.02)] {
                assert!((side_db(&apart, rate_hz, hz) - db).abs() < 0.1, "{hz} Hz at {rate_hz} Hz");
            }
            for hz in [200.0, 1000.0, 4000.0] {
                assert!((side_db(&equal, rate_hz, hz) + 6.0206).abs() < 1e-4, "{hz} Hz at {rate_hz} Hz");
            }
        }
    }
}
