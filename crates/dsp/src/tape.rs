//! Tape: a recording on magnetic tape and its replay.
//!
//! ```text
//! in ─┬─ record equaliser ─ hysteresis, oversampled: what it adds ─ no DC ─ replay equaliser ─┐
//!     └────────────────────── delayed by whole frames ────────────────────────────────────────┴─ losses ─ bump ─ speed ─ out
//! ```
//!
//! The magnetisation's answer to a vanishing signal is the signal itself; the branch carries only what the tape adds to
//! it or takes from it, and joins the untouched signal. So a quiet signal passes flat to rounding through the pair of
//! equalisers, and what tells of the tape are the losses of the head, its bass bump, and the level.
//!
//! **Scale.** At drive 0 dB and 100 % bias a full-scale sine of 1 kHz has 3 % of third harmonic, which is how IEC 60094
//! defines the maximum output level (from memory). A vanishing signal passes at unity whatever the drive.
//!
//! **Figures**, held by the tests: at -60 dBFS the response is that of losses and bump within 0.1 dB and unity at 1 kHz
//! within 0.1 dB; harmonics are odd, the even ones more than 100 dB down; the worst alias below 20 kHz of a full-scale
//! 5 kHz tone, at 0 and +12 dB drive, lies 85 dB under the fundamental at 4x, 100 dB at 8x and 16x (50 dB at 2x).
//!
//! **Followers** pass the linear path; what the key's tape adds goes to the residue.

use units::{At, Block, Frame, Param, SILENCE, Settings, Spec, Unit, Value, gain_from_db};

use crate::biquad::Coefficients;
use crate::elementary::without_denormals;
use crate::lag::Lag;
use crate::oversample::Oversampler;
use crate::ramp::Ramp;
use crate::section::Section;
use crate::{BuildError, Context, Processor};

pub mod equalisation;
pub mod hysteresis;
pub mod losses;
pub mod transport;

use equalisation::{METRES_PER_INCH, Standard};
use hysteresis::{Hysteresis, reversible_share};
use losses::Losses;
use transport::{MOST_PERCENT, Transport};

/// Speed.
pub const IPS: Param = Param::choice(
    "ips",
    &["7.5", "15", "30"],
    1,
    "The tape's speed in inches a second: slower loses more treble and has its bass bump lower.",
);
/// Level on tape.
pub const DRIVE_DB: Param = Param::number(
    "drive_db",
    Unit::Decibel,
    [-24.0, 24.0],
    0.0,
    "How hot the tape is recorded; at 0 dB a full-scale tone has 3 % of third harmonic. Quiet sound keeps its level.",
);
/// Bias.
pub const BIAS_PERCENT: Param = Param::number(
    "bias_percent",
    Unit::Percent,
    [40.0, 150.0],
    100.0,
    "Too little bias makes quiet sound rough; too much dulls the treble.",
);
/// Equalisation.
pub const STANDARD: Param = Param::choice(
    "standard",
    &["iec", "nab"],
    0,
    "Which equalisation the tape is recorded with: nab puts more bass on the tape and less treble.",
);
/// Head bump.
pub const BUMP_DB: Param = Param::number(
    "bump_db",
    Unit::Decibel,
    [0.0, 6.0],
    1.0,
    "How much the head lifts the bass whose wave is as long as the head: 30, 60 or 120 Hz by speed.",
);
/// Slow wander.
pub const WOW_PERCENT: Param = Param::number(
    "wow_percent",
    Unit::Percent,
    [0.0, MOST_PERCENT],
    0.0,
    "How much the speed wanders slowly, as the weighted peak of AES6.",
);
/// Fast wander.
pub const FLUTTER_PERCENT: Param = Param::number(
    "flutter_percent",
    Unit::Percent,
    [0.0, MOST_PERCENT],
    0.0,
    "How much the speed trembles, as the weighted peak of AES6.",
);
/// Hiss; its lowest value is off.
pub const HISS_DB: Param = Param::number(
    "hiss_db",
    Unit::Decibel,
    [HISS_OFF_DB, -40.0],
    HISS_OFF_DB,
    "Level of the tape's noise in dBFS rms, the same on every print; at -120 dB it is off.",
);
/// Rate at which the magnetisation runs.
pub const OVERSAMPLING: Param = Param::choice(
    "oversampling",
    &["2x", "4x", "8x", "16x"],
    1,
    "How many times the song's rate the magnetisation runs at.",
);

/// Description.
pub const SPEC: Spec = Spec {
    name: "tape",
    title: "tape",
    summary: "Rounds loud sound as a magnetic tape does, more the hotter it is recorded.",
    source: "Hysteresis after Jiles and Atherton with the constants of Chowdhury, “Real-time Physical Modelling \
             for Analog Tape Machines” (DAFx-19); spacing, gap and thickness losses after Wallace (1951); \
             equalisations as in IASA TC-04, 5.4.10.",
    caution: "Its bass bump and its treble losses come with every pass. Wow, flutter and hiss are off unless \
             asked for.",
    sentence: "tape at {ips} inches a second, {standard} equalisation, recorded {drive_db} hot[ with {bias_percent} of \
               the bias][; bass bump {bump_db}][; wow {wow_percent}][; flutter {flutter_percent}][; hiss at {hiss_db}][; \
               {oversampling} oversampled]",
    params: &[IPS, DRIVE_DB, BIAS_PERCENT, STANDARD, BUMP_DB, WOW_PERCENT, FLUTTER_PERCENT, HISS_DB, OVERSAMPLING],
    rows: None,
    outside_key: false,
};

/// Where the hiss is off.
const HISS_OFF_DB: f64 = -120.0;
/// Field, in units of the tape's constant, of a full-scale signal at drive 0 dB: the one that gives 3 % of third harmonic.
const FIELD_AT_FULL_SCALE: f64 = 1.468;
/// Bass bump at 15 in/s: a wave as long as a head of 6.35 mm. Common practice, no source.
const BUMP_AT_15_IPS_HZ: f64 = 60.0;
const BUMP_Q: f64 = 1.0;
/// Corner under which what the tape adds is removed: a tape is replayed by its changes and keeps no direct current.
const DC_CORNER_HZ: f64 = 5.0;
/// Seed of the hiss.
const SEED: u64 = 0x7469_6e5f_6f72_6368;
/// Frames taken at a time, counted from the start of the song.
const PIECE: usize = 64;

/// Builds a tape.
///
/// # Errors
/// None.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Tape::new(settings, context)))
}

/// The processor.
struct Tape {
    settings: Settings,
    rate_hz: f64,
    ips: f64,
    record: [Section; 2],
    oversampler: Oversampler,
    hysteresis: Hysteresis,
    field: Ramp,
    reversible: Ramp,
    replay: [Section; 3],
    added: Vec<Frame>,
    lag: Lag,
    losses: Losses,
    bump: Section,
    transport: Transport,
    hiss: Ramp,
    noise: u64,
    /// Frames since the last multiple of [`PIECE`].
    clock: usize,
}

impl Tape {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let (lanes, rate_hz) = (context.lanes, context.rate_hz);
        let ips = [7.5, 15.0, 30.0][settings.choice(&IPS)];
        let speed = ips * METRES_PER_INCH;
        let standard = if settings.choice(&STANDARD) == 0 { Standard::iec(ips) } else { Standard::nab(ips) };
        let (record, [treble, bass]) = standard.filters(speed, rate_hz);
        let no_dc = Coefficients::one_pole_high_pass(DC_CORNER_HZ, rate_hz);
        let factor = 2 << settings.choice(&OVERSAMPLING);
        let oversampler = Oversampler::for_rate(rate_hz, 1, factor, 0);
        Self {
            rate_hz,
            ips,
            record: record.map(|coefficients| Section::new(1, coefficients)),
            hysteresis: Hysteresis::new(Oversampler::most_inner_frames(factor)),
            field: Ramp::at(field(settings)),
            reversible: Ramp::at(reversible(settings)),
            replay: [no_dc, treble, bass].map(|coefficients| Section::new(1, coefficients)),
            added: vec![SILENCE; PIECE],
            lag: Lag::new(lanes, oversampler.latency_frames()),
            losses: Losses::new(lanes, speed, spacing(settings), rate_hz, PIECE),
            bump: Section::new(lanes, bump(settings, ips, rate_hz)),
            transport: Transport::new(lanes, depths(settings), rate_hz, context.first_frame),
            hiss: Ramp::at(hiss(settings)),
            noise: SEED,
            clock: 0,
            settings: settings.clone(),
            oversampler,
        }
    }

    fn piece(&mut self, part: &mut Block<'_>) {
        let frames = part.frames();
        part.lanes_mut().flatten().for_each(|frame| *frame = frame.map(without_denormals));
        self.added[..frames].copy_from_slice(part.lane(0));
        self.lag.process(part);
        self.magnetise(frames);
        for (frame, added) in part.key_mut().iter_mut().zip(&self.added) {
            *frame = [frame[0] + added[0], frame[1] + added[1]];
        }
        self.losses.process(part);
        self.bump.process(part);
        self.transport.process(part);
        for frame in part.key_mut() {
            let level = self.hiss.next_value();
            if level > 0.0 {
                *frame = frame.map(|x| x + level * triangular(&mut self.noise));
            }
        }
    }

    /// Turns the copy of the key into what the tape adds to it.
    fn magnetise(&mut self, frames: usize) {
        let Self { field, reversible, hysteresis, .. } = self;
        let mut added = Block::key_only(&mut self.added[..frames]);
        self.record.iter_mut().for_each(|section| section.process(&mut added));
        let factor = self.oversampler.factor();
        self.oversampler.process(&mut added, |chunk| {
            let mut rest = chunk.key_mut();
            while !rest.is_empty() {
                let (field_now, reversible_now) = (field.next_value(), reversible.next_value());
                let still = field.is_at_rest() && reversible.is_at_rest();
                let (now, later) = rest.split_at_mut(if still { rest.len() } else { factor });
                hysteresis.process(now, field_now, reversible_now);
                rest = later;
            }
        });
        self.replay.iter_mut().for_each(|section| section.process(&mut added));
    }

    fn sections(&mut self) -> impl Iterator<Item = &mut Section> {
        self.record.iter_mut().chain(&mut self.replay).chain(std::iter::once(&mut self.bump))
    }
}

impl Processor for Tape {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        let mut from = 0;
        while from < block.frames() {
            let count = (PIECE - self.clock).min(block.frames() - from);
            self.piece(&mut block.part(from, count));
            from += count;
            self.clock += count;
            if self.clock == PIECE {
                self.clock = 0;
                self.sections().for_each(Section::settle);
            }
        }
        block.settle_residue();
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        let settings = &self.settings;
        self.field.go_to(field(settings));
        self.reversible.go_to(reversible(settings));
        self.losses.set(spacing(settings));
        self.bump.go_to(bump(settings, self.ips, self.rate_hz));
        self.transport.go_to(depths(settings));
        self.hiss.go_to(hiss(settings));
    }

    fn reset(&mut self) {
        self.sections().for_each(Section::reset);
        self.oversampler.reset();
        self.hysteresis.reset();
        [&mut self.field, &mut self.reversible, &mut self.hiss].into_iter().for_each(Ramp::finish);
        self.lag.reset();
        self.losses.reset();
        self.transport.reset();
        self.noise = SEED;
        self.clock = 0;
    }

    fn latency_frames(&self) -> usize {
        self.oversampler.latency_frames() + self.losses.latency_frames() + self.transport.latency_frames()
    }

    fn tail_frames(&self) -> usize {
        // The remanence leaves through 5 Hz, with nab's bass lift undone after it at 3 Hz, below hearing: -70 dB.
        let secs = 70.0 / 20.0 * std::f64::consts::LN_10 / (std::f64::consts::TAU * equalisation::BASS_END_HZ);
        self.latency_frames() + (secs * self.rate_hz).ceil() as usize
    }
}

/// Field for a signal of 1.
fn field(settings: &Settings) -> f64 {
    FIELD_AT_FULL_SCALE * gain_from_db(settings.number(&DRIVE_DB))
}

fn reversible(settings: &Settings) -> f64 {
    reversible_share(settings.number(&BIAS_PERCENT) / 100.0)
}

/// Distance that counts for the losses, m.
fn spacing(settings: &Settings) -> f64 {
    let over = (settings.number(&BIAS_PERCENT) / 100.0 - 1.0).max(0.0);
    losses::SPACING_M + losses::OVER_BIAS_M * over
}

/// Gain of the noise, 0 when off. Triangular noise between -1 and 1 has an rms value of 1/sqrt 6; 0 dBFS rms is that of a
/// full-scale sine, 1/sqrt 2 (AES17).
fn hiss(settings: &Settings) -> f64 {
    let level_db = settings.number(&HISS_DB);
    if level_db <= HISS_OFF_DB { 0.0 } else { gain_from_db(level_db) * 3.0_f64.sqrt() }
}

/// Depths of wow and flutter in per cent.
fn depths(settings: &Settings) -> [f64; 2] {
    [&WOW_PERCENT, &FLUTTER_PERCENT].map(|param| settings.number(param))
}

/// The bell of the Audio EQ Cookbook (W3C Working Group Note, 8 June 2021, peakingEQ).
fn bump(settings: &Settings, ips: f64, rate_hz: f64) -> Coefficients {
    let a = gain_from_db(settings.number(&BUMP_DB) / 2.0);
    if a == 1.0 {
        return Coefficients::IDENTITY;
    }
    let (sin, cos) = libm::sincos(std::f64::consts::TAU * BUMP_AT_15_IPS_HZ * ips / 15.0 / rate_hz);
    let alpha = sin / (2.0 * BUMP_Q);
    Coefficients::normalised(
        [1.0 + alpha * a, -2.0 * cos, 1.0 - alpha * a],
        [1.0 + alpha / a, -2.0 * cos, 1.0 - alpha / a],
    )
}

/// Noise of triangular distribution between -1 and 1, by a linear congruential generator (Knuth's MMIX constants).
fn triangular(state: &mut u64) -> f64 {
    let mut uniform = || {
        *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (*state >> 11) as f64 / (1_u64 << 53) as f64
    };
    uniform() - uniform()
}

#[cfg(test)]
mod tests;
