//! What the player tells of itself: what sounds, and how long pieces take to compute.

use std::time::{Duration, Instant};

use super::Player;
use crate::behind;
use crate::meters::Glance;
use crate::protocol::Now;
use crate::take::Take;

/// How long pieces took.
#[derive(Default)]
pub(super) struct Effort {
    sum: Duration,
    worst: Duration,
    /// The same of processor time, without what a piece waited for its turn.
    worst_computing: Duration,
    pieces: u32,
}

impl Effort {
    /// Takes a piece that was begun at a time and with so much processor time behind it.
    pub(super) fn take(&mut self, (began, had): (Instant, Option<Duration>)) {
        let took = began.elapsed();
        let computing = had.zip(behind::processor_time()).map_or(took, |(had, has)| has.saturating_sub(had));
        (self.sum, self.worst, self.pieces) = (self.sum + took, self.worst.max(took), self.pieces + 1);
        self.worst_computing = self.worst_computing.max(computing);
    }

    /// As parts of the 10 ms that a piece lasts: mean, worst, worst of processor time.
    pub(super) fn parts(&self) -> (f64, f64, f64) {
        let part = |time: Duration| time.as_secs_f64() / 0.01;
        (part(self.sum / self.pieces.max(1)), part(self.worst), part(self.worst_computing))
    }
}

impl Player {
    /// Tells what sounds now.
    pub(super) fn report(&mut self) {
        let (effort, played) = (std::mem::take(&mut self.effort).parts(), self.played.read());
        if self.blind.is_some() {
            // A meter would say what X is.
            let at_s = self.at as f64 / self.scene.plan.rate_hz;
            let (playing, late) = (self.playing, self.late);
            return (self.ears.now)(Now { playing, at_s, effort, late, played, ..Now::default() });
        }
        let reductions = self.now.as_mut().map_or_else(Vec::new, Take::reductions);
        (self.ears.now)(Now {
            playing: self.playing,
            at_s: self.at as f64 / self.scene.plan.rate_hz,
            nodes: self.glances.iter().map(Glance::read).collect(),
            programmes: self.programmes.iter().map(Glance::read).collect(),
            reductions,
            heard: self.heard.read(),
            matched_db: self.voice.matched_db,
            plain: self.voice.through.codec().is_some() && self.sounding.0.through.codec().is_none(),
            effort,
            late: self.late,
            played,
        });
    }
}
