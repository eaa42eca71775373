//! Ducking: the gain that sets the repeats back while the source plays.

use units::{Frame, db_from_gain, gain_from_db};

/// Frames between two looks at the level; the gain moves in a straight line from one to the next.
const LOOK_FRAMES: usize = 16;

/// How fast the envelope rises.
const ATTACK_MS: f64 = 5.0;

/// Decibels above the threshold at which the repeats are all the way back.
const KNEE_DB: f64 = 12.0;

/// The source's envelope and the gain it asks for.
pub(super) struct Duck {
    rate_hz: f64,
    depth_db: f64,
    threshold_db: f64,
    attack: f64,
    release: f64,
    envelope: f64,
    gain: f64,
    step: f64,
    /// Frames until the next look.
    left: usize,
}

/// What remains of a distance after one frame, for a time constant.
fn per_frame(ms: f64, rate_hz: f64) -> f64 {
    libm::exp(-1.0 / (ms * 1e-3 * rate_hz))
}

impl Duck {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            depth_db: 0.0,
            threshold_db: 0.0,
            attack: per_frame(ATTACK_MS, rate_hz),
            release: 0.0,
            envelope: 0.0,
            gain: 1.0,
            step: 0.0,
            left: 0,
        }
    }

    pub(super) fn set(&mut self, depth_db: f64, threshold_db: f64, release_ms: f64) {
        self.depth_db = depth_db;
        self.threshold_db = threshold_db;
        self.release = per_frame(release_ms, self.rate_hz);
    }

    pub(super) fn reset(&mut self) {
        (self.envelope, self.gain, self.step, self.left) = (0.0, 1.0, 0.0, 0);
    }

    /// The reduction now, in dB (0 or negative).
    pub(super) fn reduction_db(&self) -> f64 {
        db_from_gain(self.gain).min(0.0)
    }

    /// The gain of each frame of a chunk of the source.
    pub(super) fn gains(&mut self, source: &[Frame], gains: &mut [f64]) {
        for (frame, gain) in source.iter().zip(gains) {
            let level = frame[0].abs().max(frame[1].abs());
            let keep = if level > self.envelope { self.attack } else { self.release };
            self.envelope = crate::space::settle(level + keep * (self.envelope - level));
            if self.left == 0 {
                self.look();
            }
            self.left -= 1;
            self.gain += self.step;
            *gain = self.gain;
        }
    }

    fn look(&mut self) {
        let target = if self.depth_db > 0.0 && self.envelope > 0.0 {
            let over = (db_from_gain(self.envelope) - self.threshold_db) / KNEE_DB;
            gain_from_db(-self.depth_db * over.clamp(0.0, 1.0))
        } else {
            1.0
        };
        // Rounding must not creep in while nothing moves: a gain at rest is exact.
        if (target - self.gain).abs() < 1e-15 {
            self.gain = target;
        }
        self.step = (target - self.gain) / LOOK_FRAMES as f64;
        self.left = LOOK_FRAMES;
    }
}
