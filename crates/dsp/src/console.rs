//! Console colour: what a channel and a summing bus of an analogue desk leave on a signal. A little even and odd
//! harmonic distortion, and a little of the other side.
//!
//! ```text
//! in ─ gain g ─ tanh curve, oversampled 4x ─ 1/g ─ + other side through the crosstalk ─ out
//! ```
//!
//! **Amount.** It is stated as the level of the harmonics, second and third together by power, of a sine with a peak of
//! [`REFERENCE_DBFS`], re its fundamental. For a tanh of `g A cos t` the third harmonic is `g² A² / 12` and for `tanh² / 2`
//! the second is `g A / 4` of the fundamental, to the first order; `g` follows from that, so the amount is linear in dB.
//! One amount for the song and an offset for a stem add. With the amount at its lowest, or the sum at or below it, the
//! signal passes bit for bit, delayed like the rest.
//!
//! **Crosstalk** is capacitive: it rises by 6 dB an octave and is stated at 1 kHz.
//!
//! A small signal keeps its level, a full-scale one is rounded the more the higher the amount (-0.4 dB by default).

use units::{At, Block, Frame, Param, SILENCE, Settings, Spec, Unit, Value, gain_from_db};

use crate::biquad::Coefficients;
use crate::drive::bend::Bend;
use crate::drive::blocker;
use crate::drive::shapes::{Amounts, Shape};
use crate::drive::stage::Stage;
use crate::elementary::without_denormals;
use crate::lag::Lag;
use crate::oversample::Oversampler;
use crate::ramp::Ramp;
use crate::section::Section;
use crate::{BuildError, Context, Processor};

/// Amount; its lowest value is off.
pub const AMOUNT_DB: Param = Param::number(
    "amount_db",
    Unit::Decibel,
    [OFF_DB, MOST_DB],
    -60.0,
    "Level of the harmonics of a tone at -12 dBFS, for the whole song; at -100 dB the desk is off and passes every bit.",
);
/// Offset of a stem.
pub const OFFSET_DB: Param = Param::number(
    "offset_db",
    Unit::Decibel,
    [-40.0, 40.0],
    0.0,
    "How much more or less of it this one gets than the rest of the song.",
);
/// Share of the even harmonics.
pub const EVEN_PERCENT: Param = Param::number(
    "even_percent",
    Unit::Percent,
    [0.0, 100.0],
    40.0,
    "How much of the harmonics' power is even (fuller) rather than odd (harder).",
);
/// Crosstalk; its lowest value is off.
pub const CROSSTALK_DB: Param = Param::number(
    "crosstalk_db",
    Unit::Decibel,
    [OFF_DB, -40.0],
    -80.0,
    "How much of each side reaches the other at 1 kHz, more above and less below; at -100 dB none.",
);

/// Description.
pub const SPEC: Spec = Spec {
    name: "console",
    title: "console colour",
    summary: "Leaves the traces of an analogue desk: a little distortion and a little crosstalk.",
    source: "A tanh curve of known harmonics, `g² A² / 12` for the third and `g A / 4` for the second, at four \
             times the rate; crosstalk through a capacitance, 6 dB an octave.",
    caution: "It is meant for every channel at a small amount. On one alone it is hardly heard, and blind proof \
             is better than belief.",
    sentence: "console colour of {amount_db} (-100 dB is off)[, {offset_db} for this one], {even_percent} of it even, \
               crosstalk {crosstalk_db}",
    params: &[AMOUNT_DB, OFFSET_DB, EVEN_PERCENT, CROSSTALK_DB],
    rows: None,
    outside_key: false,
};

/// Peak of the sine at which the amount is stated.
pub const REFERENCE_DBFS: f64 = -12.0;

const OFF_DB: f64 = -100.0;
const MOST_DB: f64 = -24.0;
const FACTOR: usize = 4;
/// Where the crosstalk is stated.
const CROSSTALK_STATED_HZ: f64 = 1000.0;
/// Frames taken at a time, counted from the start of the song.
const PIECE: usize = 64;

/// Builds a console.
///
/// # Errors
/// None.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Console::new(settings, context)))
}

/// The processor.
struct Console {
    settings: Settings,
    rate_hz: f64,
    oversampler: Oversampler,
    stage: Stage,
    crosstalk: Section,
    lag: Lag,
    /// The delayed input of every lane, and its sides changed over.
    dry: Vec<Frame>,
    other: Vec<Frame>,
    /// Share of the coloured signal: 0 when off, 1 when on.
    presence: Ramp,
    /// Frames for which the colour still runs unheard after it has been switched on, until its memory is filled.
    warming: usize,
    /// Frames since the last multiple of [`PIECE`].
    clock: usize,
}

impl Console {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let (lanes, rate_hz) = (context.lanes, context.rate_hz);
        let oversampler = Oversampler::for_rate(rate_hz, lanes, FACTOR, 0);
        let most = Oversampler::most_inner_frames(FACTOR);
        Self {
            stage: Stage::new(Bend::of(Shape::Tanh), amounts(settings), lanes, FACTOR, most, rate_hz),
            crosstalk: Section::new(lanes, crosstalk(settings, rate_hz)),
            lag: Lag::new(lanes, oversampler.latency_frames()),
            dry: vec![SILENCE; lanes * PIECE],
            other: vec![SILENCE; lanes * PIECE],
            presence: Ramp::at(if is_on(settings) { 1.0 } else { 0.0 }),
            warming: 0,
            clock: 0,
            settings: settings.clone(),
            rate_hz,
            oversampler,
        }
    }

    fn is_asleep(&self) -> bool {
        self.presence.is_at_rest() && self.presence.value() == 0.0 && self.warming == 0
    }

    fn piece(&mut self, part: &mut Block<'_>) {
        let frames = part.frames();
        for (dry, audio) in self.dry.chunks_exact_mut(PIECE).zip(part.lanes_mut()) {
            dry[..frames].copy_from_slice(audio);
        }
        self.lag.process(&mut Block::new(&mut self.dry, PIECE, frames));
        if !self.is_asleep() {
            self.colour(part);
        }
        for at in 0..frames {
            let presence = self.presence.next_value();
            let dry = self.dry.chunks_exact(PIECE).zip(self.other.chunks_exact(PIECE));
            for ((dry, other), audio) in dry.zip(part.lanes_mut()) {
                for channel in 0..2 {
                    let dry = dry[at][channel];
                    let wet = audio[at][channel] + other[at][channel];
                    // Off, this is the dry sample to the bit.
                    audio[at][channel] = dry + presence * (wet - dry);
                }
            }
        }
    }

    /// Curve and crosstalk.
    fn colour(&mut self, part: &mut Block<'_>) {
        let frames = part.frames();
        part.lanes_mut().flatten().for_each(|frame| *frame = frame.map(without_denormals));
        let stage = &mut self.stage;
        self.oversampler.process(part, |chunk| stage.process(chunk));
        for (other, dry) in self.other.iter_mut().zip(&self.dry) {
            *other = [dry[1], dry[0]].map(without_denormals);
        }
        self.crosstalk.process(&mut Block::new(&mut self.other, PIECE, frames));
    }

    /// Empties the colour's memory.
    fn forget(&mut self) {
        self.oversampler.reset();
        self.stage.reset();
        self.crosstalk.reset();
        self.other.fill(SILENCE);
    }
}

impl Processor for Console {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        let mut from = 0;
        while from < block.frames() {
            let mut count = (PIECE - self.clock).min(block.frames() - from);
            if self.warming > 0 {
                count = count.min(self.warming);
            }
            self.piece(&mut block.part(from, count));
            from += count;
            if self.warming > 0 {
                self.warming -= count;
                if self.warming == 0 {
                    self.presence.go_to(1.0);
                }
            }
            self.clock += count;
            if self.clock == PIECE {
                self.clock = 0;
                self.crosstalk.settle();
                if self.is_asleep() {
                    self.forget();
                }
            }
        }
        block.settle_residue();
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        self.stage.go_to(amounts(&self.settings));
        self.crosstalk.go_to(crosstalk(&self.settings, self.rate_hz));
        match (is_on(&self.settings), self.is_asleep()) {
            (true, true) => self.warming = 4 * self.latency_frames(),
            (true, false) if self.warming == 0 => self.presence.go_to(1.0),
            (true, false) => {}
            (false, _) => {
                self.warming = 0;
                self.presence.go_to(0.0);
            }
        }
    }

    fn reset(&mut self) {
        self.forget();
        self.presence = Ramp::at(if is_on(&self.settings) { 1.0 } else { 0.0 });
        self.lag.reset();
        (self.warming, self.clock) = (0, 0);
    }

    fn latency_frames(&self) -> usize {
        self.oversampler.latency_frames()
    }

    fn tail_frames(&self) -> usize {
        self.latency_frames() + (blocker::tail_secs(1, 0.0) * self.rate_hz).ceil() as usize
    }
}

/// Amount and offset together.
fn total_db(settings: &Settings) -> f64 {
    (settings.number(&AMOUNT_DB) + settings.number(&OFFSET_DB)).clamp(OFF_DB, MOST_DB)
}

fn is_on(settings: &Settings) -> bool {
    settings.number(&AMOUNT_DB) > OFF_DB && total_db(settings) > OFF_DB
}

/// The curve that gives the amount.
fn amounts(settings: &Settings) -> Amounts {
    let harmonics = gain_from_db(total_db(settings));
    let even = settings.number(&EVEN_PERCENT) / 100.0;
    let drive = (12.0 * harmonics).sqrt();
    Amounts {
        gain: drive / gain_from_db(REFERENCE_DBFS),
        odd: (1.0 - even).sqrt(),
        even: 4.0 * harmonics * even.sqrt() / drive,
        through: 1.0,
    }
}

/// A difference of neighbours, which rises by 6 dB an octave.
fn crosstalk(settings: &Settings, rate_hz: f64) -> Coefficients {
    let level_db = settings.number(&CROSSTALK_DB);
    let stated = 2.0 * libm::sin(std::f64::consts::PI * CROSSTALK_STATED_HZ / rate_hz);
    let gain = if level_db <= OFF_DB { 0.0 } else { gain_from_db(level_db) / stated };
    Coefficients { b: [gain, -gain, 0.0], a: [0.0; 2] }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::testing::RATES_HZ;

    fn with(amount_db: f64, even: f64, crosstalk_db: f64) -> Settings {
        Settings::defaults(&SPEC)
            .with_number(&AMOUNT_DB, amount_db)
            .with_number(&EVEN_PERCENT, even)
            .with_number(&CROSSTALK_DB, crosstalk_db)
    }

    /// The last of three seconds of a tone on the left.
    fn tone_through(settings: &Settings, rate_hz: f64, hz: usize, peak: f64) -> Vec<Frame> {
        let rate = rate_hz as usize;
        let mut console = Console::new(settings, &Context::plain(rate as f64, 1));
        let mut audio: Vec<Frame> =
            (0..3 * rate).map(|n| [peak * libm::cos(TAU * ((n * hz) % rate) as f64 / rate as f64), 0.0]).collect();
        audio.chunks_mut(4096).for_each(|piece| console.process(&mut Block::key_only(piece), None));
        audio.split_off(2 * rate)
    }

    /// Amplitude of a whole number of cycles in a second.
    fn amplitude(second: &[Frame], channel: usize, hz: usize) -> f64 {
        let rate = second.len();
        let (mut re, mut im) = (0.0, 0.0);
        for (n, frame) in second.iter().enumerate() {
            let (sin, cos) = libm::sincos(TAU * ((n * hz) % rate) as f64 / rate as f64);
            re += frame[channel] * cos;
            im += frame[channel] * sin;
        }
        2.0 * (re * re + im * im).sqrt() / rate as f64
    }

    fn db(ratio: f64) -> f64 {
        20.0 * libm::log10(ratio)
    }

    #[test]
    fn harmonics_have_the_level_that_is_stated_and_follow_the_sum_of_amount_and_offset() {
        for rate_hz in RATES_HZ {
            // First-order Fourier terms of tanh and tanh^2 (see the module); the rest grows with the amount.
            for (amount_db, tolerance) in [(-80.0, 0.05), (-60.0, 0.1), (-40.0, 0.8)] {
                for even in [0.0, 40.0, 100.0] {
                    let settings = with(amount_db + 10.0, even, -100.0).with_number(&OFFSET_DB, -10.0);
                    let second = tone_through(&settings, rate_hz, 1000, gain_from_db(REFERENCE_DBFS));
                    let [h1, h2, h3] = [1000, 2000, 3000].map(|hz| amplitude(&second, 0, hz));
                    let level = db((h2 * h2 + h3 * h3).sqrt() / h1);
                    assert!((level - amount_db).abs() < tolerance, "{amount_db} dB, even {even}: {level} dB");
                    let share = h2 * h2 / (h2 * h2 + h3 * h3);
                    assert!((share - even / 100.0).abs() < 0.03, "{amount_db} dB, even {even}: {share}");
                }
            }
        }
    }

    #[test]
    fn a_small_signal_keeps_its_level_and_no_direct_current_is_left() {
        for rate_hz in RATES_HZ {
            let second = tone_through(&with(-40.0, 60.0, -100.0), rate_hz, 1000, 1e-4);
            assert!(db(amplitude(&second, 0, 1000) / 1e-4).abs() < 0.001);
            let second = tone_through(&with(-30.0, 100.0, -100.0), rate_hz, 1000, 0.5);
            let mean = second.iter().map(|frame| frame[0]).sum::<f64>() / rate_hz;
            assert!(mean.abs() < 1e-7, "{mean}");
        }
    }

    #[test]
    fn crosstalk_is_stated_at_1_khz_and_rises_by_the_octave() {
        for rate_hz in RATES_HZ {
            for (hz, expected) in [(250, -82.0), (500, -76.0), (1000, -70.0), (2000, -64.0), (4000, -58.0)] {
                let second = tone_through(&with(-80.0, 0.0, -70.0), rate_hz, hz, 0.01);
                let level = db(amplitude(&second, 1, hz) / 0.01);
                assert!((level - expected).abs() < 0.2, "{hz} Hz: {level} dB");
            }
        }
    }

    #[test]
    fn off_passes_every_bit_as_late_as_on() {
        for rate_hz in RATES_HZ {
            let input: Vec<Frame> =
                (0..5000).map(|n| [libm::sin(f64::from(n * n)), libm::cos(f64::from(n * n))]).collect();
            for settings in [
                with(-100.0, 40.0, -60.0).with_number(&OFFSET_DB, 40.0),
                with(-80.0, 40.0, -60.0).with_number(&OFFSET_DB, -40.0),
            ] {
                let mut console = Console::new(&settings, &Context::plain(rate_hz, 1));
                let late = Console::new(&Settings::defaults(&SPEC), &Context::plain(rate_hz, 1)).latency_frames();
                let mut audio = input.clone();
                audio.chunks_mut(700).for_each(|piece| console.process(&mut Block::key_only(piece), None));
                assert_eq!(audio[late..], input[..5000 - late]);
            }
        }
    }

    #[test]
    fn switching_on_and_off_makes_no_click() {
        let mut console = Console::new(&with(-100.0, 40.0, -60.0), &Context::plain(48_000.0, 1));
        let turn = TAU * 200.0 / 48_000.0;
        let mut audio: Vec<Frame> = (0..48_000).map(|n| [0.25 * libm::sin(turn * f64::from(n)); 2]).collect();
        for (k, piece) in audio.chunks_mut(480).enumerate() {
            match k {
                20 => console.set(At { row: None, param: 0 }, -50.0),
                60 => console.set(At { row: None, param: 0 }, -100.0),
                _ => {}
            }
            console.process(&mut Block::key_only(piece), None);
        }
        // The second difference of the tone is at most 0.25 turn^2; a click would stand far above it.
        for three in audio[200..].windows(3) {
            let bend = three[0][0] - 2.0 * three[1][0] + three[2][0];
            assert!(bend.abs() < 3.0 * 0.25 * turn * turn, "{bend}");
        }
    }

    #[test]
    fn aliases_lie_100_db_down() {
        for rate_hz in RATES_HZ {
            for amount_db in [-60.0, -40.0, -24.0] {
                let second = tone_through(&with(amount_db, 40.0, -100.0), rate_hz, 5000, 1.0);
                let worst =
                    (1..20).filter(|khz| khz % 5 != 0).map(|khz| amplitude(&second, 0, 1000 * khz)).fold(0.0, f64::max);
                let worst = db(worst / amplitude(&second, 0, 5000));
                assert!(worst < -100.0, "{amount_db}: {worst} dB");
            }
        }
    }
}
