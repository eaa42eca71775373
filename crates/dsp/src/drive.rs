//! Drive: bends the signal so that it gains harmonics. Memoryless curves at a higher rate, between filters.
//!
//! ```text
//! in ─ low cut ─ pre-emphasis ─ [ gain ─ curve ] x stages, oversampled ─ de-emphasis ─ high cut ─ output ─ mix ─ out
//!  └────────────────────────────── delayed by whole frames ─────────────────────────────────────────────┘
//! ```
//!
//! **Scale.** Curves meet their limit near 1, digital full scale, after the gain. With drive 0 dB a small signal passes
//! at unity and a full-scale one reaches the limit. Several stages share the drive equally in dB.
//!
//! **Level-neutral law.** The output is scaled so that a sine with a peak of [`REFERENCE_DBFS`] keeps its rms value: a
//! fixed gain worked out from shape, drive, amounts and stages whenever one of them moves, never from the programme.
//! The filters are left out of the law.
//!
//! **Filters.** De-emphasis is the exact inverse of pre-emphasis, so the pair is neutral where the curve is straight. The
//! cuts are minimum phase: on a bus that runs beside its source they turn the phase near their corners.
//!
//! **Figures**, held by the tests: harmonics within 0.1 dB of the closed forms; worst alias below 20 kHz of a
//! full-scale 5 kHz tone at +18 dB drive and 8x below -100 dB (tanh, cubic, tube, diode) and -80 dB (hard clip, fuzz)
//! re the fundamental, at 44.1, 48 and 96 kHz.

use units::{
    At, Block, Frame, MAX_BLOCK_FRAMES, Param, SILENCE, Settings, Spec, Unit, Value, db_from_gain, gain_from_db,
};

use crate::biquad::Coefficients;
use crate::elementary::without_denormals;
use crate::lag::Lag;
use crate::oversample::Oversampler;
use crate::ramp::Ramp;
use crate::section::Section;
use crate::{BuildError, Context, Processor};

pub mod bend;
pub mod blocker;
pub mod shapes;
pub mod stage;

use bend::Bend;
use shapes::{Amounts, Shape};
use stage::{Stage, stage_latency};

/// Curve.
pub const SHAPE: Param = Param::choice(
    "shape",
    shapes::SHAPES,
    0,
    "The curve: from the soft tanh over the cubic, one biased tube stage and a diode pair to the hard clip and the \
     choking, snapping fuzz.",
);
/// Gain ahead of the curve.
pub const DRIVE_DB: Param =
    Param::number("drive_db", Unit::Decibel, [-12.0, 48.0], 6.0, "How hard the signal is pushed into the curve.");
/// Share of the odd part.
pub const ODD_PERCENT: Param = Param::number(
    "odd_percent",
    Unit::Percent,
    [0.0, 100.0],
    100.0,
    "How much of the symmetrical bend, which makes odd harmonics and limits; at 0 that part stays straight.",
);
/// Share of the even part.
pub const EVEN_PERCENT: Param = Param::number(
    "even_percent",
    Unit::Percent,
    [0.0, 100.0],
    0.0,
    "How much asymmetry, which makes even harmonics; at 0 the curve is symmetrical.",
);
/// Curves in series.
pub const STAGES: Param =
    Param::choice("stages", &["1", "2", "3", "4"], 0, "How many curves follow one another; they share the drive.");
/// Rate at which the curve runs.
pub const OVERSAMPLING: Param = Param::choice(
    "oversampling",
    &["1x", "2x", "4x", "8x", "16x"],
    3,
    "How many times the song's rate the curve runs at; more folds less of the harmonics back.",
);
/// Emphasis.
pub const PRE_EMPHASIS_DB: Param = Param::number(
    "pre_emphasis_db",
    Unit::Decibel,
    [-12.0, 12.0],
    0.0,
    "How much the treble is lifted ahead of the curve and lowered after it, so that it bends more (or less) than the \
     bass.",
);
/// Middle of the emphasis.
pub const PRE_EMPHASIS_HZ: Param = Param::number(
    "pre_emphasis_hz",
    Unit::Hertz,
    [100.0, 12_000.0],
    2000.0,
    "The middle of the slope of the emphasis.",
);
/// Low cut; 0 is off.
pub const LOW_CUT_HZ: Param = Param::number(
    "low_cut_hz",
    Unit::Hertz,
    [0.0, 2000.0],
    0.0,
    "Keeps what lies below out of the curve, 12 dB an octave, from 10 Hz up; 0 is off.",
);
/// High cut; its highest value is off.
pub const HIGH_CUT_HZ: Param = Param::number(
    "high_cut_hz",
    Unit::Hertz,
    [500.0, HIGH_CUT_OFF_HZ],
    HIGH_CUT_OFF_HZ,
    "Softens what lies above after the curve, 12 dB an octave; at its highest it is off.",
);
/// Level-neutral switch.
pub const LEVEL_NEUTRAL: Param = Param::switch(
    "level_neutral",
    true,
    "Holds the level of a sine at -12 dBFS whatever the drive, so that more drive is not simply louder.",
);
/// Output gain.
pub const OUTPUT_DB: Param = Param::number("output_db", Unit::Decibel, [-48.0, 24.0], 0.0, "Gain of the bent signal.");
/// Mix.
pub const MIX_PERCENT: Param = Param::number(
    "mix_percent",
    Unit::Percent,
    [0.0, 100.0],
    100.0,
    "Share of the bent signal; the rest is the input, aligned to the sample.",
);

/// Description.
pub const SPEC: Spec = Spec {
    name: "drive",
    title: "drive",
    summary: "Adds harmonics by bending the signal: warmth when small, dirt when large.",
    source: "Curves that are split into an odd and an even part (an odd function of a sine has odd harmonics \
             only, an even one even), run at a higher rate between half-band filters (Vaidyanathan, “Multirate \
             Systems and Filter Banks”, 1993, section 4.6).",
    caution: "The cuts turn the phase near their corners: beside its source, keep them away from what must not \
             hollow out. What lies below the low cut stays clean.",
    sentence: "a {shape} curve pushed by {drive_db}, odd harmonics {odd_percent}, even {even_percent}[, in {stages} \
               stages][; treble {pre_emphasis_db} ahead of it from {pre_emphasis_hz} and back after][; cut below \
               {low_cut_hz}][; cut above {high_cut_hz}][; level neutral {level_neutral}][; output {output_db}][; \
               {oversampling} oversampled][; {mix_percent} of the mix]",
    params: &[
        SHAPE,
        DRIVE_DB,
        ODD_PERCENT,
        EVEN_PERCENT,
        STAGES,
        OVERSAMPLING,
        PRE_EMPHASIS_DB,
        PRE_EMPHASIS_HZ,
        LOW_CUT_HZ,
        HIGH_CUT_HZ,
        LEVEL_NEUTRAL,
        OUTPUT_DB,
        MIX_PERCENT,
    ],
    rows: None,
    outside_key: false,
};

/// Where the high cut is off.
const HIGH_CUT_OFF_HZ: f64 = 22_000.0;

/// The low cut's lowest corner, when it is on.
const LOWEST_CUT_HZ: f64 = 10.0;

/// Peak of the sine whose level the level-neutral law holds.
pub const REFERENCE_DBFS: f64 = -12.0;

/// Q of a second-order Butterworth filter.
const BUTTERWORTH_Q: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Frames taken at a time, counted from the start of the song.
const PIECE: usize = 64;

const _: () = assert!(PIECE <= MAX_BLOCK_FRAMES && PIECE.is_multiple_of(crate::ramp::RAMP_FRAMES));

/// Builds a drive.
///
/// # Errors
/// None.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Drive::new(settings, context)))
}

/// The processor.
struct Drive {
    settings: Settings,
    rate_hz: f64,
    bend: Bend,
    before: [Section; 2],
    oversampler: Oversampler,
    stages: Vec<Stage>,
    after: [Section; 2],
    mix: Ramp,
    dry: Vec<Frame>,
    lag: Lag,
    /// Frames since the last multiple of [`PIECE`].
    clock: usize,
}

impl Drive {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let (lanes, rate_hz) = (context.lanes, context.rate_hz);
        let bend = Bend::of(Shape::at(settings.choice(&SHAPE)));
        let factor = 1 << settings.choice(&OVERSAMPLING);
        let count = settings.choice(&STAGES) + 1;
        let inner_latency = count * stage_latency(&bend, factor);
        let oversampler = Oversampler::for_rate(rate_hz, lanes, factor, inner_latency);
        let most = Oversampler::most_inner_frames(factor);
        let stage = |amounts| Stage::new(bend, amounts, lanes, factor, most, rate_hz);
        let section = |coefficients| Section::new(lanes, coefficients);
        let filters = Filters::of(settings, rate_hz);
        Self {
            rate_hz,
            bend,
            before: filters.before.map(section),
            stages: all_amounts(settings, &bend, count).map(stage).collect(),
            after: filters.after.map(section),
            mix: Ramp::at(settings.number(&MIX_PERCENT) / 100.0),
            dry: vec![SILENCE; lanes * PIECE],
            lag: Lag::new(lanes, oversampler.latency_frames()),
            clock: 0,
            settings: settings.clone(),
            oversampler,
        }
    }

    fn piece(&mut self, part: &mut Block<'_>) {
        let frames = part.frames();
        for (dry, audio) in self.dry.chunks_exact_mut(PIECE).zip(part.lanes_mut()) {
            dry[..frames].copy_from_slice(audio);
        }
        self.lag.process(&mut Block::new(&mut self.dry, PIECE, frames));
        for lane in part.lanes_mut() {
            lane.as_flattened_mut().iter_mut().for_each(|x| *x = without_denormals(*x));
        }
        self.before.iter_mut().for_each(|section| section.process(part));
        let stages = &mut self.stages;
        self.oversampler.process(part, |chunk| stages.iter_mut().for_each(|stage| stage.process(chunk)));
        self.after.iter_mut().for_each(|section| section.process(part));
        if self.mix.is_at_rest() && self.mix.value() == 1.0 {
            return;
        }
        for at in 0..frames {
            let mix = self.mix.next_value();
            for (dry, audio) in self.dry.chunks_exact(PIECE).zip(part.lanes_mut()) {
                for channel in 0..2 {
                    let wet = audio[at][channel];
                    audio[at][channel] = if mix == 1.0 { wet } else { mix * wet + (1.0 - mix) * dry[at][channel] };
                }
            }
        }
    }
}

impl Processor for Drive {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        let mut from = 0;
        while from < block.frames() {
            let count = (PIECE - self.clock).min(block.frames() - from);
            self.piece(&mut block.part(from, count));
            from += count;
            self.clock += count;
            if self.clock == PIECE {
                self.clock = 0;
                self.before.iter_mut().chain(&mut self.after).for_each(Section::settle);
            }
        }
        block.settle_residue();
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        let settings = &self.settings;
        let amounts = all_amounts(settings, &self.bend, self.stages.len());
        self.stages.iter_mut().zip(amounts).for_each(|(stage, amounts)| stage.go_to(amounts));
        let filters = Filters::of(settings, self.rate_hz);
        let targets = filters.before.into_iter().chain(filters.after);
        for (section, target) in self.before.iter_mut().chain(&mut self.after).zip(targets) {
            section.go_to(target);
        }
        self.mix.go_to(settings.number(&MIX_PERCENT) / 100.0);
    }

    fn reset(&mut self) {
        self.before.iter_mut().chain(&mut self.after).for_each(Section::reset);
        self.oversampler.reset();
        self.stages.iter_mut().for_each(Stage::reset);
        self.mix.finish();
        self.lag.reset();
        self.clock = 0;
    }

    fn latency_frames(&self) -> usize {
        self.oversampler.latency_frames()
    }

    fn tail_frames(&self) -> usize {
        let settings = &self.settings;
        let low_cut_hz = settings.number(&LOW_CUT_HZ);
        // The slowest pole decides; the gains ahead of the curve lift what is left.
        let cut_hz = if low_cut_hz > 0.0 { BUTTERWORTH_Q * low_cut_hz.max(LOWEST_CUT_HZ) } else { f64::INFINITY };
        let emphasis_hz = BUTTERWORTH_Q * settings.number(&PRE_EMPHASIS_HZ) / 4.0;
        let slowest_hz = cut_hz.min(emphasis_hz);
        let output_db = db_from_gain(output_gain(settings, &self.bend, self.stages.len()));
        let lift_db = settings.number(&DRIVE_DB).max(0.0) + output_db.max(0.0);
        // Poles in a row, three in every stage, die away later by about two time constants each.
        let nepers = (120.0 + 20.0 + lift_db) / 20.0 * std::f64::consts::LN_10 + 6.0 * self.stages.len() as f64;
        let secs = (nepers / (std::f64::consts::TAU * slowest_hz)).max(blocker::tail_secs(self.stages.len(), lift_db));
        // The oversampling filters ring as long behind the centre as ahead of it.
        self.latency_frames() + (secs * self.rate_hz).ceil() as usize
    }
}

/// The coefficients of the four filters.
struct Filters {
    before: [Coefficients; 2],
    after: [Coefficients; 2],
}

impl Filters {
    fn of(settings: &Settings, rate_hz: f64) -> Self {
        let (low, high) = (settings.number(&LOW_CUT_HZ), settings.number(&HIGH_CUT_HZ));
        let identity = Coefficients::IDENTITY;
        let low_cut = match low {
            0.0 => identity,
            corner_hz => Coefficients::high_pass(corner_hz.max(LOWEST_CUT_HZ), BUTTERWORTH_Q, rate_hz),
        };
        let high_cut =
            if high >= HIGH_CUT_OFF_HZ { identity } else { Coefficients::low_pass(high, BUTTERWORTH_Q, rate_hz) };
        let [emphasis, back] = emphasis(settings.number(&PRE_EMPHASIS_DB), settings.number(&PRE_EMPHASIS_HZ), rate_hz);
        Self { before: [low_cut, emphasis], after: [back, high_cut] }
    }
}

/// A first-order shelf, `(1 + s sqrt(G) / w) / (1 + s / (sqrt(G) w))`, by the bilinear transform with the middle kept,
/// and its inverse.
fn emphasis(db: f64, middle_hz: f64, rate_hz: f64) -> [Coefficients; 2] {
    if db == 0.0 {
        return [Coefficients::IDENTITY; 2];
    }
    let root = gain_from_db(db / 2.0);
    let k = libm::tan(std::f64::consts::PI * (middle_hz / rate_hz).min(crate::biquad::HIGHEST_CORNER));
    let up = [1.0 + root / k, 1.0 - root / k, 0.0];
    let down = [1.0 + 1.0 / (root * k), 1.0 - 1.0 / (root * k), 0.0];
    [Coefficients::normalised(up, down), Coefficients::normalised(down, up)]
}

/// What each of the stages does. The last one carries the output gain.
fn all_amounts(settings: &Settings, bend: &Bend, stages: usize) -> impl Iterator<Item = Amounts> {
    let amounts = amounts(settings, stages);
    let output = output_gain(settings, bend, stages);
    (1..=stages).map(move |stage| Amounts {
        through: if stage == stages { amounts.gain * output } else { amounts.gain },
        ..amounts
    })
}

/// What a stage does, with nothing behind its curve.
fn amounts(settings: &Settings, stages: usize) -> Amounts {
    let gain = gain_from_db(settings.number(&DRIVE_DB) / stages as f64);
    Amounts {
        gain,
        odd: settings.number(&ODD_PERCENT) / 100.0,
        even: settings.number(&EVEN_PERCENT) / 100.0,
        through: gain,
    }
}

/// Gain behind the curve: the output and, if switched on, the level-neutral law.
fn output_gain(settings: &Settings, bend: &Bend, stages: usize) -> f64 {
    let output = gain_from_db(settings.number(&OUTPUT_DB));
    if !settings.switch(&LEVEL_NEUTRAL) {
        return output;
    }
    output * neutral_gain(bend, &amounts(settings, stages), stages)
}

/// The gain after which the reference sine has the rms value that it came with. Half a period at equal steps stands for
/// all of it.
fn neutral_gain(bend: &Bend, amounts: &Amounts, stages: usize) -> f64 {
    const STEPS: usize = 128;
    let peak = gain_from_db(REFERENCE_DBFS);
    let mut wave = [0.0; STEPS];
    for (k, x) in wave.iter_mut().enumerate() {
        *x = peak * libm::cos(std::f64::consts::PI * (k as f64 + 0.5) / STEPS as f64);
    }
    for _ in 0..stages {
        wave = wave.map(|x| (bend.value)(amounts.gain * x, amounts));
        let mean = wave.iter().sum::<f64>() / STEPS as f64;
        wave = wave.map(|y| y - mean);
    }
    let power = wave.iter().map(|y| y * y).sum::<f64>() / STEPS as f64;
    peak * std::f64::consts::FRAC_1_SQRT_2 / power.sqrt()
}

#[cfg(test)]
mod tests;
