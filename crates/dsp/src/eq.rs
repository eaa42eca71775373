//! The equaliser: bands that lift, lower and cut, on the whole signal or on its middle, sides, left or right.
//!
//! - `prototype`: the analogue filters that the bands stand for;
//! - `design`: how they become digital sections within 0.1 dB of the analogue response up to 20 kHz;
//! - `minimum_phase`: the equaliser that runs those sections, with bands that `dynamic` moves;
//! - `linear_phase`: the equaliser that makes one symmetric response of all bands;
//! - `route`: how one component of the signal is worked on while the other passes as it is.

use std::f64::consts::FRAC_1_SQRT_2;

use units::{Param, Rows, Settings, Spec, Unit};

use crate::{BuildError, Context, Processor};

mod design;
mod dynamic;
mod linear_phase;
mod minimum_phase;
mod prototype;
mod route;
#[cfg(test)]
mod tests;

use dynamic::Dynamics;
use linear_phase::LinearPhase;
use minimum_phase::MinimumPhase;
use prototype::{Band, Curve, Shape};
use route::Route;

/// Which component is worked on.
pub const OF: Param = Param::choice(
    "of",
    Route::WORDS,
    0,
    "Which part of the signal is worked on: both channels, the middle, the sides, or one channel alone.",
);
/// What becomes of the phase.
pub const PHASE: Param = Param::choice(
    "phase",
    &["minimum", "linear"],
    0,
    "Minimum follows the analogue filters; linear delays everything alike and rings ahead of sharp sounds.",
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
    "How narrow a bell or notch is, how resonant a shelf or cut (up to 4).",
);
/// Slope of cuts.
pub const SLOPE: Param = Param::number(
    "slope_db_per_octave",
    Unit::DecibelPerOctave,
    [6.0, 48.0],
    12.0,
    "How steep a low or high cut is, in steps of 6 dB.",
);

/// Where a band starts to move.
pub const THRESHOLD_DB: Param = Param::number(
    "threshold_db",
    Unit::Decibel,
    [-80.0, 0.0],
    0.0,
    "Above this level in the band it moves, where the ratio is not 1.",
);
/// How far a band moves.
pub const RATIO: Param = Param::number(
    "ratio",
    Unit::Plain,
    [0.5, 20.0],
    1.0,
    "Above the threshold: over 1 holds the band back, under 1 lifts it, 1 leaves it still.",
);
/// Farthest move.
pub const RANGE_DB: Param =
    Param::number("range_db", Unit::Decibel, [0.0, 24.0], 12.0, "The farthest that the band moves from its gain.");
/// Time to move.
pub const ATTACK_MS: Param =
    Param::number("attack_ms", Unit::Millisecond, [1.0, 200.0], 10.0, "How long a move takes to get two thirds there.");
/// Time to come back.
pub const RELEASE_MS: Param =
    Param::number("release_ms", Unit::Millisecond, [10.0, 2000.0], 150.0, "How long it takes to get two thirds back.");

/// The equaliser's description.
pub static SPEC: Spec = Spec {
    name: "eq",
    title: "equaliser",
    summary: "Lifts, lowers and cuts parts of the spectrum.",
    source: "Prototypes of the Audio EQ Cookbook (W3C Working Group Note, 2021) and Butterworth cuts, made \
             digital by matched roots and a fitted correction, with the closed-form factorisation of Vicanek, \
             “Matched Second Order Digital Filters” (2016).",
    caution: "Unequal work on middle and sides reaches the other loudspeaker; a steep cut turns the phase near \
             its corner, which matters on a path that joins its source again. Linear phase cures that and rings \
             ahead of sharp sounds.",
    sentence: "works on {of}[, {phase} phase][, {curve} curves]",
    params: &[OF, PHASE, CURVE],
    rows: Some(Rows {
        name: "bands",
        singular: "band",
        params: &[SHAPE, HZ, GAIN_DB, Q, SLOPE, THRESHOLD_DB, RATIO, RANGE_DB, ATTACK_MS, RELEASE_MS],
        sentence: "{shape} at {hz}[, {gain_db}][, Q {q}][, {slope_db_per_octave}][; above {threshold_db} it moves with \
                   ratio {ratio}, by at most {range_db}, there in {attack_ms} and back in {release_ms}]",
        most: 24,
    }),
    outside_key: true,
};

/// Builds an equaliser.
///
/// # Errors
/// If a band is to move in an equaliser of linear phase: its one response cannot follow.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    if settings.choice(&PHASE) == 0 {
        return Ok(Box::new(MinimumPhase::new(settings, context)));
    }
    if let Some(row) = (0..settings.row_count()).find(|row| dynamics_of(settings, *row).is_some()) {
        return Err(BuildError {
            message: format!("band {} moves with the level, which linear phase cannot do", row + 1),
            remedy: "set its ratio to 1, or put it into an eq of its own with phase = \"minimum\"".to_owned(),
        });
    }
    Ok(Box::new(LinearPhase::new(settings, context)))
}

fn route_of(settings: &Settings) -> Route {
    Route::ALL[settings.choice(&OF)]
}

fn curve_of(settings: &Settings) -> Curve {
    Curve::ALL[settings.choice(&CURVE)]
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

/// How a band moves, if it does: only what has a gain can.
fn dynamics_of(settings: &Settings, row: usize) -> Option<Dynamics> {
    let ratio = settings.row_number(row, &RATIO);
    let moves = ratio != 1.0 && Shape::ALL[settings.row_choice(row, &SHAPE)].has_gain();
    moves.then(|| Dynamics {
        threshold_db: settings.row_number(row, &THRESHOLD_DB),
        ratio,
        range_db: settings.row_number(row, &RANGE_DB),
        attack_ms: settings.row_number(row, &ATTACK_MS),
        release_ms: settings.row_number(row, &RELEASE_MS),
    })
}
