//! Delay: repeats of what came in, at a time or a note value.
//!
//! One loop per lane: `line[n] = x[n - pre] + g R y[n]`, `y = F(line[n - D])`. F is the tone of the repeats (the cuts, and
//! what the character adds: a Butterworth band and all-pass diffusion), so each repeat goes through it once more; R leaves
//! the channels alone or, with `bounce`, swaps them. |F| is at most 1 at every frequency, R is orthogonal and |g| at most
//! 0.95, so the loop gain stays below 1 whatever the settings: it cannot run away.
//!
//! Everything on the signal is linear, so followers go through loops of their own. Ducking is a gain, taken from the key
//! (or from the outside key, where one is given) and applied to the repeats of every lane, outside the loop.
//!
//! A new time fades from the old reading of the line to the new one (see `space/moving.rs`): no click, no bent pitch.

use units::{At, Block, Frame, Kind, Param, Settings, Spec, Unit, Value, frames_from_ms};

use crate::{BuildError, Context, Processor, ramp::Ramp, space};
use space::{
    CHUNK_FRAMES, Chunk, MIX, PRE_DELAY, PRE_DELAY_MOST_MS, SILENT,
    cuts::{Cuts, CutsMemory, HIGH_CUT, HIGH_CUT_OFF_HZ, LOW_CUT},
    line::Line,
    moving::Moving,
    side::{FULL_SPREAD_GAIN, SPREAD, Side},
};

use character::{CHARACTERS, Diffuser};
use duck::Duck;

mod character;
mod duck;

/// Time between repeats, when no note value is chosen.
pub const TIME: Param = Param::number(
    "time_ms",
    Unit::Millisecond,
    [1.0, 4000.0],
    120.0,
    "Time from the sound to its repeat, and from repeat to repeat.",
);
/// Time as a note value of the song's tempo.
pub const NOTE: Param = Param::choice(
    "note",
    &[
        "off",
        "1/1",
        "1/2",
        "1/4 dotted",
        "1/4",
        "1/4 triplet",
        "1/8 dotted",
        "1/8",
        "1/8 triplet",
        "1/16 dotted",
        "1/16",
        "1/16 triplet",
        "1/32",
        "1/64",
    ],
    0,
    "Time as a note value of the song's tempo, instead of milliseconds.",
);
/// Quarter notes in each note value.
const QUARTERS: [f64; 14] =
    [0.0, 4.0, 2.0, 1.5, 1.0, 2.0 / 3.0, 0.75, 0.5, 1.0 / 3.0, 0.375, 0.25, 1.0 / 6.0, 0.125, 0.0625];
/// Feedback.
pub const FEEDBACK: Param = Param::number(
    "feedback_percent",
    Unit::Percent,
    [0.0, 95.0],
    20.0,
    "How much of each repeat comes round again; 0% is a single repeat.",
);
/// What the repeats are made of.
pub const CHARACTER: Param = Param::choice(
    "character",
    &["clean", "tube", "slap"],
    0,
    "Clean repeats; a long tube, which blurs and narrows each repeat; or the slap of one wall, close and a little soft.",
);
/// Alternating sides.
pub const BOUNCE: Param =
    Param::switch("bounce", false, "Repeats alternate between left and right, the first on the left.");
/// Depth of the ducking.
pub const DUCK: Param = Param::number(
    "duck_db",
    Unit::Decibel,
    [0.0, 24.0],
    0.0,
    "How far the repeats step back while the source plays; they come up in its gaps.",
);
/// Where ducking starts.
pub const DUCK_THRESHOLD: Param = Param::number(
    "duck_threshold_db",
    Unit::Decibel,
    [-60.0, 0.0],
    -36.0,
    "Level of the source at which the repeats begin to step back; 12 dB above it they are all the way back.",
);
/// How fast ducking lets go.
pub const DUCK_RELEASE: Param = Param::number(
    "duck_release_ms",
    Unit::Millisecond,
    [20.0, 2000.0],
    250.0,
    "How long the repeats take to come up again once the source pauses.",
);

/// Description.
pub const SPEC: Spec = Spec {
    name: "delay",
    title: "delay",
    summary: "Repeats of the source, in time with the song or close behind it.",
    sentence: "a {character} delay of {time_ms}[, set by the tempo to {note}], of which {feedback_percent} comes round again\
               [; the sides take turns: {bounce}][; it waits {pre_delay_ms} first][; cut below {low_cut_hz}]\
               [; cut above {high_cut_hz}][; it steps back {duck_db} while the source is above {duck_threshold_db} and \
               returns in {duck_release_ms}][; spread {spread_percent} in the side only][; {mix_percent} of the output]",
    params: &[
        TIME,
        NOTE,
        FEEDBACK,
        CHARACTER,
        BOUNCE,
        PRE_DELAY,
        LOW_CUT,
        HIGH_CUT,
        DUCK,
        DUCK_THRESHOLD,
        DUCK_RELEASE,
        SPREAD,
        MIX,
    ],
    rows: None,
    outside_key: true,
};

/// Whole delays, in frames.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Times {
    pre: usize,
    repeat: usize,
}

/// What one lane remembers.
struct Lane {
    input: Line<Frame>,
    line: Line<Frame>,
    cuts: CutsMemory,
    band: CutsMemory,
    diffuser: Diffuser,
    side: Side,
}

/// The processor.
pub struct Delay {
    settings: Settings,
    rate_hz: f64,
    tempo_bpm: f64,
    times: Moving<Times>,
    feedback: Ramp,
    spread: Ramp,
    mix: Ramp,
    cuts: Cuts,
    /// The character's own band.
    band: Cuts,
    bounce: bool,
    duck: Duck,
    lanes: Vec<Lane>,
}

/// Builds a delay.
///
/// # Errors
/// None at present.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Delay::new(settings, context)))
}

impl Delay {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let rate_hz = context.rate_hz;
        let times = times(settings, rate_hz, context.tempo_bpm);
        let character = &CHARACTERS[settings.choice(&CHARACTER)];
        let oldest = frames_from_ms(4000.0, rate_hz).max(times.repeat);
        let lane = || Lane {
            input: Line::new(frames_from_ms(PRE_DELAY_MOST_MS, rate_hz) + CHUNK_FRAMES, CHUNK_FRAMES, units::SILENCE),
            line: Line::new(oldest, CHUNK_FRAMES, units::SILENCE),
            cuts: CutsMemory::default(),
            band: CutsMemory::default(),
            diffuser: Diffuser::new(character, rate_hz),
            side: Side::new(rate_hz),
        };
        let mut delay = Self {
            settings: settings.clone(),
            rate_hz,
            tempo_bpm: context.tempo_bpm,
            times: Moving::at(times),
            feedback: Ramp::at(0.0),
            spread: Ramp::at(0.0),
            mix: Ramp::at(0.0),
            cuts: Cuts::new(0.0, HIGH_CUT_OFF_HZ, rate_hz),
            band: Cuts::new(character.low_hz, character.high_hz, rate_hz),
            bounce: settings.switch(&BOUNCE),
            duck: Duck::new(rate_hz),
            lanes: (0..context.lanes).map(|_| lane()).collect(),
        };
        delay.derive();
        delay.reset();
        delay
    }

    /// Takes over what the settings say.
    fn derive(&mut self) {
        let s = &self.settings;
        self.times.go_to(times(s, self.rate_hz, self.tempo_bpm));
        self.feedback.go_to(s.number(&FEEDBACK) / 100.0);
        self.spread.go_to(s.number(&SPREAD) / 100.0 * FULL_SPREAD_GAIN);
        self.mix.go_to(s.number(&MIX) / 100.0);
        self.cuts.set(s.number(&LOW_CUT), s.number(&HIGH_CUT), self.rate_hz);
        self.duck.set(s.number(&DUCK), s.number(&DUCK_THRESHOLD), s.number(&DUCK_RELEASE));
    }

    /// Frames that can be worked on at once: no more than the line is long, and all in one fade.
    fn chunk_frames(&self, most: usize) -> usize {
        let shortest = self.times.now().repeat.min(self.times.next().map_or(usize::MAX, |next| next.repeat));
        self.times.steady_frames(most.min(CHUNK_FRAMES).min(shortest))
    }

    fn process_chunk(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        let frames = block.frames();
        let mut duck = [1.0; CHUNK_FRAMES];
        let duck = &mut duck[..frames];
        self.duck.gains(outside_key.unwrap_or(block.lane(0)), duck);
        let mut lanes = std::mem::take(&mut self.lanes);
        for (lane, signal) in lanes.iter_mut().zip(block.lanes_mut()) {
            self.process_lane(lane, signal, duck);
        }
        self.lanes = lanes;
        self.times.pass(frames);
        for ramp in [&mut self.feedback, &mut self.spread, &mut self.mix] {
            space::pass(ramp, frames);
        }
        self.cuts.pass(frames);
    }

    fn process_lane(&self, lane: &mut Lane, signal: &mut [Frame], duck: &[f64]) {
        let frames = signal.len();
        let (mut dry, mut send, mut wet): (Chunk, Chunk, Chunk) = (SILENT, SILENT, SILENT);
        let (dry, send, wet) = (&mut dry[..frames], &mut send[..frames], &mut wet[..frames]);
        dry.copy_from_slice(signal);
        lane.input.write(dry);
        self.times.read(&lane.input, |t| t.pre + frames, send);
        self.times.read(&lane.line, |t| t.repeat, wet);
        self.cuts.process(&mut lane.cuts, wet);
        self.band.process(&mut lane.band, wet);
        lane.diffuser.process(wet);
        let mut feedback = self.feedback;
        for (send, wet) in send.iter_mut().zip(wet.iter()) {
            let g = feedback.next_value();
            let enter = if self.bounce { [0.5 * (send[0] + send[1]), 0.0] } else { *send };
            let back = if self.bounce { [wet[1], wet[0]] } else { *wet };
            *send = [0, 1].map(|c| space::settle(enter[c] + g * back[c]));
        }
        lane.line.write(send);
        lane.side.process(self.spread, wet);
        for (wet, duck) in wet.iter_mut().zip(duck) {
            *wet = wet.map(|x| x * duck);
        }
        space::blend(self.mix, dry, wet, signal);
    }
}

fn times(settings: &Settings, rate_hz: f64, tempo_bpm: f64) -> Times {
    let ms = match settings.choice(&NOTE) {
        0 => settings.number(&TIME),
        note => QUARTERS[note] * 60_000.0 / tempo_bpm.max(1.0),
    };
    Times { pre: frames_from_ms(settings.number(&PRE_DELAY), rate_hz), repeat: frames_from_ms(ms, rate_hz).max(1) }
}

impl Processor for Delay {
    fn process(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        let mut done = 0;
        while done < block.frames() {
            let frames = self.chunk_frames(block.frames() - done);
            let key = outside_key.map(|key| &key[done..done + frames]);
            self.process_chunk(&mut block.part(done, frames), key);
            done += frames;
        }
    }

    fn set(&mut self, at: At, value: f64) {
        if matches!(SPEC.params[at.param].kind, Kind::Number { .. }) {
            self.settings.set(at, Value::Number(value));
            self.derive();
        }
    }

    fn reset(&mut self) {
        self.times.finish();
        self.feedback.finish();
        self.spread.finish();
        self.mix.finish();
        self.cuts.finish();
        self.duck.reset();
        for lane in &mut self.lanes {
            lane.input.clear(units::SILENCE);
            lane.line.clear(units::SILENCE);
            lane.cuts = CutsMemory::default();
            lane.band = CutsMemory::default();
            lane.diffuser.reset();
            lane.side.reset();
        }
    }

    /// Repeats until the feedback has taken 120 dB, each as late as its slowest frequency, and what then still rings.
    fn tail_frames(&self) -> usize {
        let s = &self.settings;
        let times = self.times.wanted();
        let g = s.number(&FEEDBACK) / 100.0;
        let repeats = if g < 1e-6 { 1.0 } else { 1.0 + (6.0 / -libm::log10(g)).ceil() };
        let character = &CHARACTERS[s.choice(&CHARACTER)];
        let held = Cuts::most_delay_frames(s.number(&LOW_CUT), s.number(&HIGH_CUT), self.rate_hz)
            + Cuts::most_delay_frames(character.low_hz, character.high_hz, self.rate_hz)
            + character.most_delay_frames(self.rate_hz);
        let ring = self.cuts.tail_frames() + self.band.tail_frames() + character.tail_frames(self.rate_hz);
        let spread = if s.number(&SPREAD) > 0.0 { Side::tail_frames(self.rate_hz) } else { 0 };
        times.pre + (repeats * (times.repeat as f64 + held)).ceil() as usize + ring + spread
    }

    fn gain_reduction_db(&self) -> Option<f64> {
        Some(self.duck.reduction_db())
    }
}

#[cfg(test)]
mod tests;
