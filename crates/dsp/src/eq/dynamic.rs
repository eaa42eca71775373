//! What moves a band: a detector that hears the band's own part of the key.
//!
//! The key's component (both channels, mid, ...) goes through a filter that leaves the band's part: a band-pass for a
//! bell, a low-pass for a low shelf, a high-pass for a high shelf or tilt (Audio EQ Cookbook). Its mean square over
//! about two periods of the band's frequency gives a level `L`, read so that a full-scale sine in the band is 0 dB; the
//! louder channel counts. Above the threshold `T` the band's gain is
//!
//! ```text
//! gain = gain_db - (1 - 1/ratio) (L - T),   moved by at most range_db
//! ```
//!
//! so a ratio over 1 turns the band down (a de-esser is a bell or high shelf at 0 dB with a ratio over 1), and a ratio
//! under 1 lifts it. The move follows with the time constants `attack` (away from rest) and `release` (back): 63 % of
//! the way in dB. It is worked out every [`RAMP_FRAMES`] frames, and the coefficients glide in between, so that all
//! lanes get the same moving linear filter.

use std::f64::consts::FRAC_1_SQRT_2;

use units::{Frame, db_from_power};

use super::prototype::{Band, Shape};
use crate::biquad::{Coefficients, State};
use crate::ramp::RAMP_FRAMES;

/// Narrowest window of the detector.
const SHORTEST_WINDOW_S: f64 = 1e-3;
/// Quality of the detector's low- and high-pass.
const BUTTERWORTH_Q: f64 = FRAC_1_SQRT_2;
/// A move smaller than this is none.
const AT_REST_DB: f64 = 1e-6;
/// Power under which there is silence.
const SILENT_POWER: f64 = 1e-40;

/// The numbers of a moving band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dynamics {
    /// Level where it starts to move.
    pub threshold_db: f64,
    /// Input over output change above the threshold.
    pub ratio: f64,
    /// Farthest move.
    pub range_db: f64,
    /// Time constant away from rest.
    pub attack_ms: f64,
    /// Time constant back to rest.
    pub release_ms: f64,
}

impl Dynamics {
    /// The move at rest for a level: negative is down.
    #[must_use]
    pub fn change_db(&self, level_db: f64) -> f64 {
        let over = (level_db - self.threshold_db).max(0.0);
        ((1.0 / self.ratio - 1.0) * over).clamp(-self.range_db, self.range_db)
    }
}

/// A detector at work.
#[derive(Clone, Debug)]
pub struct Detector {
    dynamics: Dynamics,
    filter: Coefficients,
    state: State,
    /// Mean square of each channel, averaged twice: once would leave a ripple of 0.3 dB that a fast attack holds.
    power: [Frame; 2],
    window: f64,
    attack: f64,
    release: f64,
    change_db: f64,
}

impl Detector {
    /// For a band at a sample rate.
    #[must_use]
    pub fn new(dynamics: Dynamics, band: &Band, rate_hz: f64) -> Self {
        let mut detector = Self {
            dynamics,
            filter: Coefficients::IDENTITY,
            state: State::default(),
            power: [[0.0; 2]; 2],
            window: 0.0,
            attack: 0.0,
            release: 0.0,
            change_db: 0.0,
        };
        detector.tune(dynamics, band, rate_hz);
        detector
    }

    /// Takes new numbers, keeps its state.
    pub fn tune(&mut self, dynamics: Dynamics, band: &Band, rate_hz: f64) {
        let share = |seconds: f64, frames: usize| -libm::expm1(-(frames as f64) / (seconds * rate_hz));
        self.dynamics = dynamics;
        self.filter = match band.shape {
            Shape::LowShelf => Coefficients::low_pass(band.hz, BUTTERWORTH_Q, rate_hz),
            Shape::HighShelf | Shape::Tilt => Coefficients::high_pass(band.hz, BUTTERWORTH_Q, rate_hz),
            _ => Coefficients::band_pass(band.hz, band.q, rate_hz),
        };
        self.window = share((1.0 / band.hz).max(SHORTEST_WINDOW_S), 1);
        self.attack = share(dynamics.attack_ms * 1e-3, RAMP_FRAMES);
        self.release = share(dynamics.release_ms * 1e-3, RAMP_FRAMES);
    }

    /// Hears some frames of the key.
    pub fn hear(&mut self, frames: &[Frame]) {
        let (filter, window) = (self.filter, self.window);
        let (mut state, mut power) = (self.state, self.power);
        for frame in frames {
            let part = state.step(&filter, *frame);
            for channel in 0..2 {
                power[0][channel] += window * (part[channel] * part[channel] - power[0][channel]);
                power[1][channel] += window * (power[0][channel] - power[1][channel]);
            }
        }
        (self.state, self.power) = (state, power);
    }

    /// The move for the next [`RAMP_FRAMES`] frames, after as many have been heard.
    pub fn tick(&mut self) -> f64 {
        // A sine's mean square is half its peak's square.
        let target = self.dynamics.change_db(db_from_power(2.0 * self.power[1][0].max(self.power[1][1])));
        let away = target.abs() > self.change_db.abs();
        self.change_db += if away { self.attack } else { self.release } * (target - self.change_db);
        if self.change_db.abs() < AT_REST_DB && target == 0.0 {
            self.change_db = 0.0;
        }
        self.change_db
    }

    /// The present move.
    #[must_use]
    pub fn change_db(&self) -> f64 {
        self.change_db
    }

    /// Ends what has died away.
    pub fn settle(&mut self) {
        self.state.settle();
        self.power = self.power.map(|frame| frame.map(|power| if power < SILENT_POWER { 0.0 } else { power }));
    }

    /// Hears silence and rests.
    pub fn reset(&mut self) {
        self.state = State::default();
        (self.power, self.change_db) = ([[0.0; 2]; 2], 0.0);
    }
}
