//! Compressor: holds back what rises above a threshold.
//!
//! Five kinds by principle. All share the published soft-knee curve (`curve`), the ballistics (`ballistics`) and the order
//! key -> filters -> link -> level -> reduction -> gain; they differ in what they hear and how they let go:
//!
//! | kind | hears | level | release |
//! | --- | --- | --- | --- |
//! | clean | its input | peak | as set |
//! | bus | its output | root mean square over 10 ms, a sine read as its peak | as set |
//! | fast | its output | peak | always programme-dependent |
//! | optical | its output | peak | always programme-dependent: half of it as set, half four times slower, up to twenty times the longer it was lit |
//! | valve | its output | peak | as set; the curve bends over 24 dB more than the knee (remote cut-off), and the tube adds a little second and third harmonic |
//!
//! A loop that hears its output is closed without a delay, so it is stable at every setting: it hears the level of its
//! input less the reduction of the same frame. Where an outside key is given, it is heard in place of the input.
//!
//! Distortion at 20 dB of reduction of a full-level tone, 0.2 ms attack, 60 ms release, no knee (the valve takes 11 dB), the
//! same at 44.1, 48 and 96 kHz: harmonics of 50 and of 100 Hz, and intermodulation of 60 Hz and 7 kHz (SMPTE RP 120). It is
//! what the law makes of the ripple between crests, frame for frame; a hold over half a wave takes it away.
//!
//! | kind | 50 Hz | 100 Hz | intermodulation |
//! | --- | --- | --- | --- |
//! | clean | 2.56 % | 1.36 % | 2.79 % |
//! | bus | none | none | 0.86 % |
//! | fast | 1.11 % | 0.58 % | 1.23 % |
//! | optical | 3.12 % | 1.69 % | 3.00 % |
//! | valve | 3.22 % | 1.77 % | 3.00 % |
//!
//! Times are time constants of the reduction in dB (63 %). Latency is the look-ahead. Lanes share the key's gain.

mod ballistics;
mod curve;
mod detector;
mod make_up;
mod tube;

#[cfg(test)]
mod tests;

use crate::biquad::Coefficients;
use crate::decibel_fast;
use crate::lag::Lag;
use crate::ramp::Ramp;
use crate::{BuildError, Context, Processor};
use ballistics::{Ballistics, Law, Timing};
use curve::Curve;
use detector::{KeyFilter, Window, peak_levels};
use make_up::LoudnessMatch;
use std::f64::consts::FRAC_1_SQRT_2;
use tube::Tube;
use units::{At, Block, Frame, Param, Settings, Spec, Unit, Value, frames_from_ms, gain_from_db};

/// How it works.
pub const KIND: Param = Param::choice(
    "kind",
    &["clean", "bus", "fast", "optical", "valve"],
    0,
    "The principle it works by, from invisible to full of character.",
);
/// Where it begins.
pub const THRESHOLD_DB: Param =
    Param::number("threshold_db", Unit::Decibel, [-60.0, 0.0], -20.0, "The level above which it holds back.");
/// How hard it holds.
pub const RATIO: Param = Param::number(
    "ratio",
    Unit::Plain,
    [1.0, 100.0],
    4.0,
    "How many dB the input must rise for the output to rise by one.",
);
/// How gently it begins.
pub const KNEE_DB: Param = Param::number(
    "knee_db",
    Unit::Decibel,
    [0.0, 24.0],
    6.0,
    "The width of the bend around the threshold; wide is gentle.",
);
/// Time to grip.
pub const ATTACK_MS: Param = Param::number(
    "attack_ms",
    Unit::Millisecond,
    [0.02, 200.0],
    10.0,
    "The time it takes to grip (63 % of the way); short rounds off hits, long lets them through.",
);
/// Time before it lets go.
pub const HOLD_MS: Param = Param::number(
    "hold_ms",
    Unit::Millisecond,
    [0.0, 500.0],
    0.0,
    "The time it waits before it lets go; over half a wave of the lowest bass it keeps that clean.",
);
/// Time to let go.
pub const RELEASE_MS: Param = Param::number(
    "release_ms",
    Unit::Millisecond,
    [5.0, 3000.0],
    150.0,
    "The time it takes to let go (63 % of the way); short is loud and lively, long is calm.",
);
/// Release after the programme.
pub const AUTO_RELEASE: Param = Param::switch(
    "auto_release",
    false,
    "Lets go of brief peaks in the release time and of long ones up to eight times slower.",
);
/// Bound of the reduction.
pub const RANGE_DB: Param = Param::number("range_db", Unit::Decibel, [0.0, 60.0], 60.0, "The most it ever takes away.");
/// Time it sees ahead.
pub const LOOK_AHEAD_MS: Param = Param::number(
    "look_ahead_ms",
    Unit::Millisecond,
    [0.0, 10.0],
    0.0,
    "How far it sees ahead; the output is later by as much, which the bench makes good.",
);
/// Gain after it.
pub const MAKE_UP_DB: Param =
    Param::number("make_up_db", Unit::Decibel, [-12.0, 36.0], 0.0, "Gain after the reduction.");
/// Loudness-neutral gain after it.
pub const AUTO_MAKE_UP: Param = Param::switch(
    "auto_make_up",
    false,
    "Slowly gives back the loudness that the reduction takes, so that it can be judged fairly.",
);
/// What shares a gain.
pub const LINK: Param = Param::choice(
    "link",
    &["stereo", "mid/side", "unlinked"],
    0,
    "What shares one gain: both channels by the louder of them, middle and side apart, or left and right apart.",
);
/// High-pass in the key.
pub const KEY_HIGH_PASS_HZ: Param = Param::number(
    "key_high_pass_hz",
    Unit::Hertz,
    [0.0, 500.0],
    0.0,
    "Keeps what lies below from driving it (0: off).",
);
/// Low-pass in the key.
pub const KEY_LOW_PASS_HZ: Param = Param::number(
    "key_low_pass_hz",
    Unit::Hertz,
    [500.0, 20_000.0],
    20_000.0,
    "Keeps what lies above from driving it (20 kHz: off).",
);
/// Share of the compressed signal.
pub const MIX_PERCENT: Param =
    Param::number("mix_percent", Unit::Percent, [0.0, 100.0], 100.0, "How much of the output is compressed.");

/// The compressor.
pub const SPEC: Spec = Spec {
    name: "compressor",
    title: "compressor",
    summary: "Holds back what rises above a threshold.",
    source: "D. Giannoulis, M. Massberg, J. D. Reiss, “Digital Dynamic Range Compressor Design: A Tutorial and \
             Analysis”, JAES 60(6), 2012: soft knee, time constants of 63 %, smooth branching. The kinds are \
             principles, not machines.",
    caution: "What comes out louder wins every comparison: set the make-up so that the loudness stays. A release \
             shorter than half a wave of the bass distorts it; a hold cures that.",
    sentence: "of the {kind} kind; above {threshold_db} it holds the level at {ratio} to 1 over a knee of {knee_db}; \
        it takes {attack_ms} to grip and {release_ms} to let go[, after a hold of {hold_ms}][; release by the \
        programme: {auto_release}][; it takes away at most {range_db}][; it sees {look_ahead_ms} ahead][; link: {link}]\
        [; its key is high-passed at {key_high_pass_hz}][; its key is low-passed at {key_low_pass_hz}][; make-up \
        {make_up_db}][; loudness-neutral make-up: {auto_make_up}][; {mix_percent} of it in the mix]",
    params: &[
        KIND,
        THRESHOLD_DB,
        RATIO,
        KNEE_DB,
        ATTACK_MS,
        HOLD_MS,
        RELEASE_MS,
        AUTO_RELEASE,
        RANGE_DB,
        LOOK_AHEAD_MS,
        MAKE_UP_DB,
        AUTO_MAKE_UP,
        LINK,
        KEY_HIGH_PASS_HZ,
        KEY_LOW_PASS_HZ,
        MIX_PERCENT,
    ],
    rows: None,
    outside_key: true,
};

/// Frames handled at once; the result does not depend on it.
const PIECE: usize = 128;
/// How many dB beyond the knee the valve's curve bends: its remote cut-off.
const REMOTE_CUTOFF_DB: f64 = 24.0;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Clean,
    Bus,
    Fast,
    Optical,
    Valve,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Link {
    Stereo,
    MidSide,
    Unlinked,
}

/// The compressor's state. See the module's description.
pub struct Compressor {
    settings: Settings,
    rate_hz: f64,
    kind: Kind,
    link: Link,
    curve: Curve,
    timing: Timing,
    key_filters: [KeyFilter; 2],
    windows: [Window; 2],
    ballistics: [Ballistics; 2],
    loudness: Option<LoudnessMatch>,
    tube: Option<Tube>,
    make_up: Ramp,
    mix: Ramp,
    look_ahead_frames: usize,
    lag: Lag,
    deepest_db: f64,
}

/// Builds it.
///
/// # Errors
/// None: every setting in range can be had.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Compressor::new(settings, context)))
}

impl Compressor {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let kind = [Kind::Clean, Kind::Bus, Kind::Fast, Kind::Optical, Kind::Valve][settings.choice(&KIND)];
        let rate_hz = context.rate_hz;
        let look_ahead_frames = frames_from_ms(settings.number(&LOOK_AHEAD_MS), rate_hz);
        let curve = curve_of(kind, settings);
        let mut compressor = Self {
            settings: settings.clone(),
            rate_hz,
            kind,
            link: [Link::Stereo, Link::MidSide, Link::Unlinked][settings.choice(&LINK)],
            curve,
            timing: timing_of(kind, settings, &curve, rate_hz),
            key_filters: [KeyFilter::default(); 2],
            windows: [Window::new(rate_hz), Window::new(rate_hz)],
            ballistics: [Ballistics::default(); 2],
            loudness: settings.switch(&AUTO_MAKE_UP).then(|| LoudnessMatch::new(rate_hz)),
            tube: (kind == Kind::Valve).then(|| Tube::new(rate_hz, context.lanes)),
            make_up: Ramp::at(gain_from_db(settings.number(&MAKE_UP_DB))),
            mix: Ramp::at(settings.number(&MIX_PERCENT) / 100.0),
            look_ahead_frames,
            lag: Lag::new(context.lanes, look_ahead_frames),
            deepest_db: 0.0,
        };
        compressor.tune_key();
        compressor
    }

    /// Derives the key's filters from the settings.
    fn tune_key(&mut self) {
        let (high_hz, low_hz) = (self.settings.number(&KEY_HIGH_PASS_HZ), self.settings.number(&KEY_LOW_PASS_HZ));
        let [high_pass, low_pass] = &mut self.key_filters;
        high_pass.tune((high_hz > 0.0).then(|| Coefficients::high_pass(high_hz, FRAC_1_SQRT_2, self.rate_hz)));
        low_pass.tune((low_hz < 20_000.0).then(|| Coefficients::low_pass(low_hz, FRAC_1_SQRT_2, self.rate_hz)));
    }

    /// One piece of a block.
    fn piece(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        let frames = block.frames();
        let mut levels = [[0.0; PIECE]; 2];
        self.hear(outside_key.unwrap_or(block.lane(0)), &mut levels);
        let mut gains = [[0.0; 2]; PIECE];
        self.reduce(&mut levels, &mut gains[..frames]);
        self.lag.process(block);
        if self.tube.is_some() || self.loudness.is_some() || self.link == Link::MidSide {
            self.apply_with_character(block, &gains[..frames]);
        } else {
            self.apply(block, &mut gains[..frames]);
        }
    }

    /// The key's amplitudes for each gain that is wanted: filtered, and linked.
    fn hear(&mut self, key: &[Frame], heard: &mut [[f64; PIECE]; 2]) {
        let mut filtered = [[0.0; 2]; PIECE];
        let filtered = &mut filtered[..key.len()];
        filtered.copy_from_slice(key);
        if self.link == Link::MidSide {
            filtered.iter_mut().for_each(|frame| *frame = mid_side(*frame));
        }
        self.key_filters.iter_mut().for_each(|filter| filter.process(filtered));
        let [first, second] = heard;
        if self.link == Link::Stereo {
            for (level, frame) in first.iter_mut().zip(filtered) {
                *level = frame[0].abs().max(frame[1].abs());
            }
        } else {
            for ((left, right), frame) in first.iter_mut().zip(second).zip(filtered) {
                (*left, *right) = (frame[0].abs(), frame[1].abs());
            }
        }
    }

    /// Amplitudes to gains, and the strongest reduction.
    fn reduce(&mut self, heard: &mut [[f64; PIECE]; 2], gains: &mut [[f64; 2]]) {
        let detectors = if self.link == Link::Stereo { 1 } else { 2 };
        for (index, levels) in heard[..detectors].iter_mut().enumerate() {
            let levels = &mut levels[..gains.len()];
            match self.kind {
                Kind::Bus => self.windows[index].levels(levels),
                _ => peak_levels(levels),
            }
            self.ballistics[index].run(&self.timing, &self.curve, levels);
            self.deepest_db = levels.iter().fold(self.deepest_db, |deepest, db| deepest.max(*db));
            for (gain, reduction_db) in gains.iter_mut().zip(levels) {
                gain[index] = decibel_fast::gain_from_db(-*reduction_db);
            }
        }
        if detectors == 1 {
            gains.iter_mut().for_each(|gain| gain[1] = gain[0]);
        }
    }

    /// Plain gains: make-up and mix are folded into them.
    fn apply(&mut self, block: &mut Block<'_>, gains: &mut [[f64; 2]]) {
        if !(self.make_up.is_at_rest()
            && self.make_up.value() == 1.0
            && self.mix.is_at_rest()
            && self.mix.value() == 1.0)
        {
            for gain in gains.iter_mut() {
                let (make_up, mix) = (self.make_up.next_value(), self.mix.next_value());
                *gain = gain.map(|g| 1.0 + mix * (g * make_up - 1.0));
            }
        }
        for lane in block.lanes_mut() {
            for (frame, gain) in lane.iter_mut().zip(&*gains) {
                *frame = [frame[0] * gain[0], frame[1] * gain[1]];
            }
        }
    }

    /// Gains on mid and side, loudness-neutral make-up and the tube's tone: frame by frame, all lanes.
    fn apply_with_character(&mut self, block: &mut Block<'_>, gains: &[[f64; 2]]) {
        let lanes = block.lanes();
        let mid_side_link = self.link == Link::MidSide;
        for (at, gain) in gains.iter().enumerate() {
            let (mut make_up, mix) = (self.make_up.next_value(), self.mix.next_value());
            let key = block.lane(0)[at];
            let reduced_key = reduced(key, *gain, mid_side_link);
            if let Some(loudness) = &mut self.loudness {
                let heard = if mid_side_link { mid_side(key) } else { key };
                make_up *= loudness.next(heard, *gain);
            }
            let bend = self.tube.as_mut().map(|tube| tube.bend(reduced_key));
            for lane in 0..lanes {
                let frame = &mut block.lane_mut(lane)[at];
                let mut wet = reduced(*frame, *gain, mid_side_link);
                if let (Some(tube), Some(bend)) = (&mut self.tube, bend) {
                    wet = tube.colour(lane, wet, bend);
                }
                for channel in 0..2 {
                    frame[channel] += mix * (wet[channel] * make_up - frame[channel]);
                }
            }
        }
    }
}

/// A frame times the gains of its channels, or of its middle and side.
#[inline]
fn reduced(frame: Frame, gain: [f64; 2], mid_side_link: bool) -> Frame {
    if !mid_side_link {
        return [frame[0] * gain[0], frame[1] * gain[1]];
    }
    let [mid, side] = mid_side(frame);
    [mid * gain[0] + side * gain[1], mid * gain[0] - side * gain[1]]
}

/// Middle and side of a frame: half the sum and half the difference.
#[inline]
fn mid_side(frame: Frame) -> [f64; 2] {
    [0.5 * (frame[0] + frame[1]), 0.5 * (frame[0] - frame[1])]
}

fn curve_of(kind: Kind, settings: &Settings) -> Curve {
    let mut threshold_db = settings.number(&THRESHOLD_DB);
    let mut knee_db = settings.number(&KNEE_DB);
    if kind == Kind::Valve {
        threshold_db += REMOTE_CUTOFF_DB / 2.0;
        knee_db += REMOTE_CUTOFF_DB;
    }
    Curve::new(threshold_db, settings.number(&RATIO), knee_db, settings.number(&RANGE_DB))
}

fn timing_of(kind: Kind, settings: &Settings, curve: &Curve, rate_hz: f64) -> Timing {
    let law = match kind {
        Kind::Clean => Law::FeedForward,
        Kind::Bus | Kind::Fast | Kind::Valve => Law::Feedback,
        Kind::Optical => Law::LightCell,
    };
    let programme = kind == Kind::Fast || settings.switch(&AUTO_RELEASE);
    let times = [&ATTACK_MS, &HOLD_MS, &RELEASE_MS].map(|param| settings.number(param));
    Timing::new(law, programme, times, curve, rate_hz)
}

impl Processor for Compressor {
    fn process(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        self.deepest_db = 0.0;
        let frames = block.frames();
        for from in (0..frames).step_by(PIECE) {
            let length = PIECE.min(frames - from);
            self.piece(&mut block.part(from, length), outside_key.map(|key| &key[from..from + length]));
        }
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        self.curve = curve_of(self.kind, &self.settings);
        self.timing = timing_of(self.kind, &self.settings, &self.curve, self.rate_hz);
        self.tune_key();
        let make_up = gain_from_db(self.settings.number(&MAKE_UP_DB));
        let mix = self.settings.number(&MIX_PERCENT) / 100.0;
        for (ramp, target) in [(&mut self.make_up, make_up), (&mut self.mix, mix)] {
            if ramp.target() != target {
                ramp.go_to(target);
            }
        }
    }

    fn reset(&mut self) {
        self.key_filters.iter_mut().for_each(KeyFilter::reset);
        self.windows.iter_mut().for_each(Window::reset);
        self.ballistics = [Ballistics::default(); 2];
        if let Some(loudness) = &mut self.loudness {
            loudness.reset();
        }
        if let Some(tube) = &mut self.tube {
            tube.reset();
        }
        self.make_up.finish();
        self.mix.finish();
        self.lag.reset();
        self.deepest_db = 0.0;
    }

    fn latency_frames(&self) -> usize {
        self.look_ahead_frames
    }

    fn tail_frames(&self) -> usize {
        self.tube.as_ref().map_or(0, Tube::tail_frames)
    }

    fn gain_reduction_db(&self) -> Option<f64> {
        Some(-self.deepest_db)
    }
}
