//! Delay: repeats of what came in, at a time or a note value.
//!
//! One loop per lane: `line[n] = x[n] + g R y[n]`, `y = F(line[n - D])`. F is the tone of the repeats (the cuts, and
//! what the character adds: a Butterworth band and all-pass diffusion), so each repeat goes through it once more; R leaves
//! the channels alone or, with `bounce`, swaps them. |F| is at most 1 at every frequency, R is orthogonal and |g| at most
//! 0.95, so the loop gain stays below 1 whatever the settings: it cannot run away.
//!
//! Everything on the signal is linear, so followers go through loops of their own. Ducking is a gain, taken from the key
//! (or from the outside key, where one is given) and applied to the repeats of every lane, outside the loop.
//!
//! A new time fades from the old reading of the line to the new one (see `space/moving.rs`): no click, no bent pitch.

use units::{Frame, Kind, Param, SILENCE, Settings, Spec, Unit, frames_from_ms};

use crate::{BuildError, Context, Processor, ramp::Ramp, space};
use space::{
    CHUNK_FRAMES, SILENT,
    cuts::{Cuts, CutsMemory, HIGH_CUT, HIGH_CUT_OFF_HZ, LOW_CUT},
    line::Line,
    moving::Moving,
    return_path::{MIX, PRE_DELAY, ReturnPath, Space},
    side::{FULL_SPREAD_GAIN, SPREAD, Side},
};

use character::{CHARACTERS, Character, Diffuser};
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
    "How much of each repeat comes round again; 0 % is a single repeat.",
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
    source: "A recirculating line whose loop gain is below 1 at every frequency; all-pass sections after \
             Schroeder (JAES 10, 1962). The characters are our own choice.",
    caution: "A return that comes t ms late cancels at 500 / t Hz and its odd multiples. Keep the low cut above \
             the bass, or move the time off its notes.",
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

/// What one lane remembers.
struct Memory {
    line: Line<Frame>,
    cuts: CutsMemory,
    band: CutsMemory,
    diffuser: Diffuser,
    side: Side,
}

/// The loop of repeats.
struct Repeats {
    rate_hz: f64,
    tempo_bpm: f64,
    character: &'static Character,
    bounce: bool,
    time: Moving<usize>,
    feedback: Ramp,
    spread: Ramp,
    cuts: Cuts,
    /// The character's own band.
    band: Cuts,
    duck: Duck,
    /// Gains of the chunk at hand.
    ducked: [f64; CHUNK_FRAMES],
}

/// Builds a delay.
///
/// # Errors
/// None at present.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(ReturnPath::new(settings, context, Repeats::new(settings, context))))
}

/// Longest time that can be set, in milliseconds.
const LONGEST_MS: f64 = match TIME.kind {
    Kind::Number { high, .. } => high,
    _ => 0.0,
};

impl Repeats {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let rate_hz = context.rate_hz;
        let character = &CHARACTERS[settings.choice(&CHARACTER)];
        Self {
            rate_hz,
            tempo_bpm: context.tempo_bpm,
            character,
            bounce: settings.switch(&BOUNCE),
            time: Moving::at(time_frames(settings, rate_hz, context.tempo_bpm)),
            feedback: Ramp::at(0.0),
            spread: Ramp::at(0.0),
            cuts: Cuts::new(0.0, HIGH_CUT_OFF_HZ, rate_hz),
            band: Cuts::new(character.low_hz, character.high_hz, rate_hz),
            duck: Duck::new(rate_hz),
            ducked: [1.0; CHUNK_FRAMES],
        }
    }
}

impl Space for Repeats {
    type Memory = Memory;

    fn memory(&self) -> Memory {
        // A note value may be longer than any time in milliseconds; it never changes.
        let oldest = frames_from_ms(LONGEST_MS, self.rate_hz).max(*self.time.wanted());
        Memory {
            line: Line::new(oldest, CHUNK_FRAMES, SILENCE),
            cuts: CutsMemory::default(),
            band: CutsMemory::default(),
            diffuser: Diffuser::new(self.character, self.rate_hz),
            side: Side::new(self.rate_hz),
        }
    }

    fn clear(&self, memory: &mut Memory) {
        memory.line.clear(SILENCE);
        memory.cuts = CutsMemory::default();
        memory.band = CutsMemory::default();
        memory.diffuser.clear();
        memory.side.clear();
    }

    fn set(&mut self, s: &Settings) {
        self.time.go_to(time_frames(s, self.rate_hz, self.tempo_bpm));
        self.feedback.go_to(s.number(&FEEDBACK) / 100.0);
        self.spread.go_to(s.number(&SPREAD) / 100.0 * FULL_SPREAD_GAIN);
        self.cuts.set(s.number(&LOW_CUT), s.number(&HIGH_CUT), self.rate_hz);
        self.duck.set(s.number(&DUCK), s.number(&DUCK_THRESHOLD), s.number(&DUCK_RELEASE));
    }

    fn finish(&mut self) {
        self.time.finish();
        self.feedback.finish();
        self.spread.finish();
        self.cuts.finish();
        self.duck.reset();
    }

    /// No more than the line is long, and all in one fade.
    fn steady_frames(&self, most: usize) -> usize {
        let shortest = (*self.time.now()).min(self.time.next().copied().unwrap_or(usize::MAX));
        self.time.steady_frames(most.min(shortest))
    }

    fn prepare(&mut self, key: &[Frame]) {
        self.duck.gains(key, &mut self.ducked[..key.len()]);
    }

    fn answer(&mut self, memory: &mut Memory, signal: &mut [Frame]) {
        let mut repeats = SILENT;
        let repeats = &mut repeats[..signal.len()];
        self.time.read(&memory.line, |frames| *frames, repeats);
        self.cuts.process(&mut memory.cuts, repeats);
        self.band.process(&mut memory.band, repeats);
        memory.diffuser.process(repeats);
        let mut feedback = self.feedback;
        for (x, y) in signal.iter_mut().zip(repeats.iter()) {
            let g = feedback.next_value();
            let enter = if self.bounce { [0.5 * (x[0] + x[1]), 0.0] } else { *x };
            let back = if self.bounce { [y[1], y[0]] } else { *y };
            *x = [0, 1].map(|c| space::settle(enter[c] + g * back[c]));
        }
        memory.line.write(signal);
        memory.side.process(self.spread, repeats);
        for (out, (repeat, gain)) in signal.iter_mut().zip(repeats.iter().zip(&self.ducked)) {
            *out = repeat.map(|x| x * gain);
        }
    }

    fn pass(&mut self, frames: usize) {
        self.time.pass(frames);
        space::pass(&mut self.feedback, frames);
        space::pass(&mut self.spread, frames);
        self.cuts.pass(frames);
    }

    /// Repeats until the feedback has taken 120 dB, each as late as its slowest frequency, and what then still rings.
    fn tail_frames(&self, s: &Settings) -> usize {
        let g = s.number(&FEEDBACK) / 100.0;
        let repeats = if g < 1e-6 { 1.0 } else { 1.0 + (6.0 / -libm::log10(g)).ceil() };
        let character = self.character;
        let held = Cuts::most_delay_frames(s.number(&LOW_CUT), s.number(&HIGH_CUT), self.rate_hz)
            + Cuts::most_delay_frames(character.low_hz, character.high_hz, self.rate_hz)
            + character.most_delay_frames(self.rate_hz);
        let ring = self.cuts.tail_frames() + self.band.tail_frames() + character.tail_frames(self.rate_hz);
        let spread = if s.number(&SPREAD) > 0.0 { Side::tail_frames(self.rate_hz) } else { 0 };
        (repeats * (*self.time.wanted() as f64 + held)).ceil() as usize + ring + spread
    }

    fn gain_reduction_db(&self) -> Option<f64> {
        Some(self.duck.reduction_db())
    }
}

/// Frames from repeat to repeat.
fn time_frames(settings: &Settings, rate_hz: f64, tempo_bpm: f64) -> usize {
    let ms = match settings.choice(&NOTE) {
        0 => settings.number(&TIME),
        note => QUARTERS[note] * 60_000.0 / tempo_bpm.max(1.0),
    };
    frames_from_ms(ms, rate_hz).max(1)
}

#[cfg(test)]
mod tests;
