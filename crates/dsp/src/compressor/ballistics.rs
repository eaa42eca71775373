//! How the reduction moves: attack, hold and release.
//!
//! Times are time constants (the 63 % convention of the tutorial named in [`super::curve`]): after `attack_ms` a step
//! has brought 63.2 % of its reduction, in dB; after `release_ms` 63.2 % of it has gone. A one-pole with
//! alpha = exp(-1 / (time * rate)) moves the reduction, attack while the curve asks for more than there is, release
//! otherwise ("smooth branching").
//!
//! Loops that hear their output run faster the higher the ratio. Here the open loop is slowed so that the *closed* one
//! has the attack that was set, exactly, for levels above the knee; the release is as set once the level is below the
//! knee, and faster while the output still lies above it.
//!
//! Programme-dependent release: a memory charges towards the reduction and empties slowly; the reduction recovers at
//! `release_ms` down to the memory and then with it. Brief peaks let go at once, long ones slowly.

use super::curve::Curve;
use units::frames_from_ms;

/// Charging time of the memory, in release times.
const MEMORY_CHARGE: f64 = 2.0;
/// Emptying time of the memory, in release times.
const MEMORY_RELEASE: f64 = 7.0;
/// Time constant with which the light cell takes up its exposure, in ms.
const EXPOSURE_MS: f64 = 3000.0;
/// Reduction at which the cell counts as fully exposed.
const FULL_EXPOSURE_DB: f64 = 12.0;
/// Share of the slow part of a light cell.
const SLOW_SHARE: f64 = 0.5;
/// Release of the slow part, in release times: unexposed, and what full exposure adds.
const SLOW_RELEASE: [f64; 2] = [4.0, 16.0];
/// Reductions below this are nothing (and would end in denormal numbers).
const NOTHING_DB: f64 = 1e-9;

/// Which law moves the reduction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Law {
    /// Hears the input; one time constant each way.
    FeedForward,
    /// Hears the output.
    Feedback,
    /// Hears the output; two light-dependent parts, of which the slow one remembers how long it was lit.
    LightCell,
}

/// Times as coefficients for one frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Timing {
    pub(super) law: Law,
    programme_release: bool,
    attack: f64,
    release: f64,
    hold_frames: usize,
    memory_charge: f64,
    memory_release: f64,
    exposure: f64,
    slow_release: [f64; 2],
}

/// The part of the way that a one-pole of a time constant goes in one frame: 1 - exp(-1 / (time * rate)).
pub(super) fn share_per_frame(time_ms: f64, rate_hz: f64) -> f64 {
    -libm::expm1(-1000.0 / (time_ms * rate_hz))
}

impl Timing {
    /// From times in ms.
    pub(super) fn new(
        law: Law,
        programme_release: bool,
        [attack_ms, hold_ms, release_ms]: [f64; 3],
        curve: &Curve,
        rate_hz: f64,
    ) -> Self {
        let share = |ms: f64| share_per_frame(ms, rate_hz);
        let closed = share(attack_ms);
        let attack = match law {
            Law::FeedForward => closed,
            // (1 - a) / (1 + a (R - 1)) = 1 - closed, solved for a.
            Law::Feedback | Law::LightCell => closed / (1.0 + (1.0 - closed) * (curve.ratio() - 1.0)),
        };
        Self {
            law,
            programme_release,
            attack,
            release: share(release_ms),
            hold_frames: frames_from_ms(hold_ms, rate_hz),
            memory_charge: share(release_ms * MEMORY_CHARGE),
            memory_release: share(release_ms * MEMORY_RELEASE),
            exposure: share(EXPOSURE_MS),
            slow_release: SLOW_RELEASE.map(|times| 1.0 / (times * release_ms * 1e-3 * rate_hz)),
        }
    }
}

/// Where one detector's reduction stands.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Ballistics {
    reduction_db: f64,
    hold_left: usize,
    memory_db: f64,
    slow_db: f64,
    exposure: f64,
}

impl Ballistics {
    /// Turns levels into reductions (0 or above), in place.
    pub(super) fn run(&mut self, timing: &Timing, curve: &Curve, levels_db: &mut [f64]) {
        match (timing.law, timing.programme_release) {
            (Law::FeedForward, false) => self.each(levels_db, |own, x| own.feed_forward(timing, curve, x, 0.0)),
            (Law::FeedForward, true) => self.each(levels_db, |own, x| {
                let target = curve.reduction_db(x);
                let floor = own.remember(timing, target);
                own.feed_forward(timing, curve, x, floor)
            }),
            (Law::Feedback, false) => self.each(levels_db, |own, x| own.feedback(timing, curve, x, 0.0)),
            (Law::Feedback, true) => self.each(levels_db, |own, x| {
                let target = curve.reduction_db(x);
                let floor = own.remember(timing, target);
                own.feedback(timing, curve, x, floor)
            }),
            (Law::LightCell, _) => self.each(levels_db, |own, x| own.light_cell(timing, curve, x)),
        }
    }

    #[inline]
    fn each(&mut self, levels_db: &mut [f64], step: impl Fn(&mut Self, f64) -> f64) {
        for level in levels_db {
            *level = step(self, *level);
        }
    }

    /// Whether this frame holds what there is instead of releasing it; counts the hold down.
    #[inline]
    fn holds(&mut self) -> bool {
        let holds = self.hold_left > 0;
        self.hold_left -= usize::from(holds);
        holds
    }

    #[inline]
    fn feed_forward(&mut self, timing: &Timing, curve: &Curve, level_db: f64, floor_db: f64) -> f64 {
        let target = curve.reduction_db(level_db);
        let gap = target - self.reduction_db;
        if gap >= 0.0 {
            self.reduction_db += timing.attack * gap;
            self.hold_left = timing.hold_frames;
        } else if !self.holds() {
            self.reduction_db += timing.release * (target.max(floor_db.min(self.reduction_db)) - self.reduction_db);
            if self.reduction_db < NOTHING_DB {
                self.reduction_db = 0.0;
            }
        }
        self.reduction_db
    }

    #[inline]
    fn feedback(&mut self, timing: &Timing, curve: &Curve, level_db: f64, floor_db: f64) -> f64 {
        // The loop's answer lies above what there is exactly when the curve's does.
        if curve.reduction_db(level_db) >= self.reduction_db {
            let rest = (1.0 - timing.attack) * self.reduction_db;
            let moved = rest + timing.attack * curve.answer_db(level_db, rest, timing.attack);
            self.reduction_db = moved.min(curve.range_db());
            self.hold_left = timing.hold_frames;
        } else if !self.holds() {
            let rest = (1.0 - timing.release) * self.reduction_db;
            let floor = floor_db.min(self.reduction_db);
            self.reduction_db = rest + timing.release * curve.answer_db(level_db, rest, timing.release).max(floor);
            if self.reduction_db < NOTHING_DB {
                self.reduction_db = 0.0;
            }
        }
        self.reduction_db
    }

    /// Moves the memory of programme-dependent release and gives it.
    #[inline]
    fn remember(&mut self, timing: &Timing, target_db: f64) -> f64 {
        let gap = target_db.min(self.reduction_db) - self.memory_db;
        self.memory_db += gap * if gap > 0.0 { timing.memory_charge } else { timing.memory_release };
        if self.memory_db < NOTHING_DB {
            self.memory_db = 0.0;
        }
        self.memory_db
    }

    /// `reduction_db` is the quick part of the cell here, `slow_db` the slow one; what acts is their mixture.
    #[inline]
    fn light_cell(&mut self, timing: &Timing, curve: &Curve, level_db: f64) -> f64 {
        let [quick, slow] = [self.reduction_db, self.slow_db];
        let now = quick + SLOW_SHARE * (slow - quick);
        if curve.reduction_db(level_db) >= now {
            self.hold_left = timing.hold_frames;
            self.move_cell(curve, level_db, timing.attack, timing.attack);
        } else if !self.holds() {
            let [fresh, exposed] = timing.slow_release;
            // Times add, so the coefficient of a mixture is that of parallel rates.
            let slow_share = 1.0 / (1.0 / fresh + self.exposure / exposed);
            self.move_cell(curve, level_db, timing.release, slow_share);
        }
        let acting = self.reduction_db + SLOW_SHARE * (self.slow_db - self.reduction_db);
        let light = (acting / FULL_EXPOSURE_DB).min(1.0);
        self.exposure += timing.exposure * (light - self.exposure);
        if acting < NOTHING_DB {
            (self.reduction_db, self.slow_db) = (0.0, 0.0);
        }
        if self.exposure < NOTHING_DB {
            self.exposure = 0.0;
        }
        acting
    }

    #[inline]
    fn move_cell(&mut self, curve: &Curve, level_db: f64, quick_share: f64, slow_share: f64) {
        let rest_quick = (1.0 - quick_share) * self.reduction_db;
        let rest_slow = (1.0 - slow_share) * self.slow_db;
        let rest = rest_quick + SLOW_SHARE * (rest_slow - rest_quick);
        let share = quick_share + SLOW_SHARE * (slow_share - quick_share);
        let answer = curve.answer_db(level_db, rest, share);
        self.reduction_db = (rest_quick + quick_share * answer).min(curve.range_db());
        self.slow_db = (rest_slow + slow_share * answer).min(curve.range_db());
    }
}
