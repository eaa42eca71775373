//! The equaliser: bands that lift, lower and cut, on the whole signal or on its middle, sides, left or right.
//!
//! What each band stands for is in [`prototype`]; how it becomes digital sections within 0.1 dB of the analogue response
//! up to 20 kHz is in [`design`]. Middle and side are `M = (L + R) / 2`, `S = (L - R) / 2`: the band's change of one of
//! them is added to both channels, so the other component passes as it is.

use std::f64::consts::FRAC_1_SQRT_2;

use units::{At, Block, Frame, Param, Rows, SILENCE, Settings, Spec, Unit, Value};

use crate::biquad::{Coefficients, Gliding, State};
use crate::{BuildError, Context, Processor};

mod design;
mod prototype;
#[cfg(test)]
mod tests;

use design::{Matcher, Pair};
use prototype::{Band, Curve, MOST_SECTIONS, Shape};

/// Which component is worked on.
pub const OF: Param = Param::choice(
    "of",
    &["both", "mid", "side", "left", "right"],
    0,
    "Which part of the signal is worked on: both channels, the middle, the sides, or one channel alone.",
);
/// How gain and width hang together.
pub const CURVE: Param = Param::choice(
    "curve",
    Curve::WORDS,
    0,
    "Symmetric: a cut mirrors a boost. Proportional: bells narrow as they grow. Passive: broad, and a low boost and a \
     low cut at one frequency leave a dip above the lift.",
);
/// A band's shape.
pub const SHAPE: Param = Param::choice("shape", Shape::WORDS, 0, "What the band does around its frequency.");
/// A band's frequency.
pub const HZ: Param =
    Param::number("hz", Unit::Hertz, [20.0, 20_000.0], 1000.0, "Centre of a bell, corner of a shelf or cut.");
/// A band's gain.
pub const GAIN_DB: Param =
    Param::number("gain_db", Unit::Decibel, [-18.0, 18.0], 0.0, "How far a bell, shelf or tilt lifts or lowers.");
/// A band's quality.
pub const Q: Param = Param::number(
    "q",
    Unit::Plain,
    [0.1, 40.0],
    FRAC_1_SQRT_2,
    "How narrow a bell or notch is, how resonant a shelf or cut.",
);
/// Slope of cuts.
pub const SLOPE: Param = Param::number(
    "slope_db_per_octave",
    Unit::DecibelPerOctave,
    [6.0, 48.0],
    12.0,
    "How steep a low or high cut is, in steps of 6 dB.",
);

/// The equaliser's description.
pub static SPEC: Spec = Spec {
    name: "eq",
    title: "equaliser",
    summary: "Lifts, lowers and cuts parts of the spectrum.",
    sentence: "works on {of}[, {curve} curves]",
    params: &[OF, CURVE],
    rows: Some(Rows {
        name: "bands",
        singular: "band",
        params: &[SHAPE, HZ, GAIN_DB, Q, SLOPE],
        sentence: "{shape} at {hz}[, {gain_db}][, Q {q}][, {slope_db_per_octave}]",
        most: 24,
    }),
    outside_key: false,
};

/// Frames between the points at which states are settled and long pieces end.
const PIECE: usize = 256;

/// The equaliser.
pub struct Equaliser {
    settings: Settings,
    route: Route,
    curve: Curve,
    matcher: Matcher,
    bands: Vec<Running>,
    /// Frames since the last reset, modulo [`PIECE`].
    at: usize,
    scratch: Box<[Frame; PIECE]>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Route {
    Both,
    Mid,
    Side,
    Left,
    Right,
}

/// One band at work: up to four pairs of sections.
struct Running {
    pairs: [[Gliding; 2]; MOST_SECTIONS],
    /// Per lane.
    states: Vec<[[State; 2]; MOST_SECTIONS]>,
}

/// Builds an equaliser.
///
/// # Errors
/// None so far.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    let route = [Route::Both, Route::Mid, Route::Side, Route::Left, Route::Right][settings.choice(&OF)];
    let curve = Curve::ALL[settings.choice(&CURVE)];
    let matcher = Matcher::new(context.rate_hz);
    let bands = (0..settings.row_count())
        .map(|row| Running::new(&design_band(&matcher, settings, row, curve), context.lanes))
        .collect();
    let scratch = Box::new([SILENCE; PIECE]);
    Ok(Box::new(Equaliser { settings: settings.clone(), route, curve, matcher, bands, at: 0, scratch }))
}

fn band_of(settings: &Settings, row: usize) -> Band {
    Band {
        shape: Shape::ALL[settings.row_choice(row, &SHAPE)],
        hz: settings.row_number(row, &HZ),
        gain_db: settings.row_number(row, &GAIN_DB),
        q: settings.row_number(row, &Q),
        slope_db_per_octave: settings.row_number(row, &SLOPE),
    }
}

fn design_band(matcher: &Matcher, settings: &Settings, row: usize, curve: Curve) -> [Pair; MOST_SECTIONS] {
    let band = band_of(settings, row);
    matcher.cascade(&band.prototypes(curve), band.hz)
}

impl Running {
    fn new(pairs: &[Pair; MOST_SECTIONS], lanes: usize) -> Self {
        Self {
            pairs: pairs.map(|pair| pair.map(Gliding::at)),
            states: vec![[[State::default(); 2]; MOST_SECTIONS]; lanes],
        }
    }

    fn go_to(&mut self, pairs: &[Pair; MOST_SECTIONS]) {
        for (gliding, target) in self.pairs.as_flattened_mut().iter_mut().zip(pairs.as_flattened()) {
            gliding.go_to(*target);
        }
    }

    /// One pair of sections over one lane's piece.
    fn process_pair(pair: &mut [Gliding; 2], states: &mut [State; 2], frames: &mut [Frame]) {
        let mut from = 0;
        while from < frames.len() && !(pair[0].is_at_rest() && pair[1].is_at_rest()) {
            let first = states[0].step(pair[0].advance(), frames[from]);
            frames[from] = states[1].step(pair[1].advance(), first);
            from += 1;
        }
        State::process_pair(states, &[*pair[0].now(), *pair[1].now()], &mut frames[from..]);
    }

    fn process(&mut self, lane: usize, last: bool, frames: &mut [Frame]) {
        for (pair, states) in self.pairs.iter_mut().zip(&mut self.states[lane]) {
            if is_idle(pair, states) {
                continue;
            }
            // Every lane starts from the same place on the way; the last one leaves the coefficients where they got to.
            let mut moved = *pair;
            Self::process_pair(&mut moved, states, frames);
            if last {
                *pair = moved;
            }
        }
    }

    fn settle(&mut self) {
        self.states.as_mut_slice().as_flattened_mut().as_flattened_mut().iter_mut().for_each(State::settle);
    }
}

/// Whether a pair passes everything unchanged and holds nothing.
fn is_idle(pair: &[Gliding; 2], states: &[State; 2]) -> bool {
    let passes = |gliding: &Gliding| gliding.is_at_rest() && *gliding.now() == Coefficients::IDENTITY;
    pair.iter().all(passes) && states.iter().all(State::is_silent)
}

impl Equaliser {
    fn process_piece(&mut self, block: &mut Block<'_>) {
        let lanes = block.lanes();
        for lane in 0..lanes {
            let last = lane + 1 == lanes;
            let frames = block.lane_mut(lane);
            let work = &mut self.scratch[..frames.len()];
            take(self.route, frames, work);
            for band in &mut self.bands {
                band.process(lane, last, work);
            }
            give(self.route, work, frames);
        }
    }
}

/// Copies the component that is worked on. A single component goes into both channels' places at no extra cost.
fn take(route: Route, frames: &[Frame], work: &mut [Frame]) {
    for (w, f) in work.iter_mut().zip(frames) {
        *w = match route {
            Route::Both | Route::Left | Route::Right => *f,
            Route::Mid => [0.5 * (f[0] + f[1]), 0.0],
            Route::Side => [0.5 * (f[0] - f[1]), 0.0],
        };
    }
}

/// Puts the worked component back.
fn give(route: Route, work: &[Frame], frames: &mut [Frame]) {
    for (w, f) in work.iter().zip(frames) {
        match route {
            Route::Both => *f = *w,
            Route::Left => f[0] = w[0],
            Route::Right => f[1] = w[1],
            Route::Mid => {
                let change = w[0] - 0.5 * (f[0] + f[1]);
                *f = [f[0] + change, f[1] + change];
            }
            Route::Side => {
                let change = w[0] - 0.5 * (f[0] - f[1]);
                *f = [f[0] + change, f[1] - change];
            }
        }
    }
}

impl Processor for Equaliser {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        if self.bands.is_empty() {
            return;
        }
        let mut from = 0;
        while from < block.frames() {
            let frames = (block.frames() - from).min(PIECE - self.at);
            self.process_piece(&mut block.part(from, frames));
            from += frames;
            self.at += frames;
            if self.at == PIECE {
                self.at = 0;
                self.bands.iter_mut().for_each(Running::settle);
            }
        }
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        if let Some(row) = at.row {
            let pairs = design_band(&self.matcher, &self.settings, row, self.curve);
            self.bands[row].go_to(&pairs);
        }
    }

    fn reset(&mut self) {
        self.at = 0;
        for band in &mut self.bands {
            band.pairs.as_flattened_mut().iter_mut().for_each(Gliding::finish);
            band.states.fill([[State::default(); 2]; MOST_SECTIONS]);
        }
    }

    fn tail_frames(&self) -> usize {
        self.bands.iter().flat_map(|band| band.pairs.as_flattened()).map(|gliding| gliding.target().tail_frames()).sum()
    }
}
