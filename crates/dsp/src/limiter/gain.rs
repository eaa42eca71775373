//! The gain that keeps known peaks under a ceiling.
//!
//! The largest peak of the last L frames asks for a gain; release lets it rise again; an average over L frames smooths
//! it. Every value in the average of a frame was bounded by that frame's own peak, so the average is too: the
//! order-statistics route (P. Hamalainen, "Smoothing of the Control Signal without Clipped Output in Digital Peak
//! Limiters", DAFx-02). The average is three running means in a row, a bell without corners, and is taken in whole
//! numbers, so that nothing gathers: at rest the gain is 1, exactly.
//!
//! Release is a one-pole of the gain's depth (1 - gain) with the release time as its time constant. With programme-
//! dependent release a memory charges towards the depth and empties slowly; the gain recovers quickly down to the memory
//! and slowly with it, so that steady loud passages ride on an almost constant gain.

use std::collections::VecDeque;

/// Charging time of the memory, in release times.
const MEMORY_CHARGE: f64 = 2.0;
/// Emptying time of the memory, in release times.
const MEMORY_RELEASE: f64 = 10.0;
/// Depths below this (9e-6 dB) are none.
const NOTHING: f64 = 1e-6;
/// A gain of 1 in the running means: 2^32.
const ONE: f64 = 4_294_967_296.0;

/// Release as coefficients for one frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Release {
    share: f64,
    memory_charge: f64,
    memory_release: f64,
}

impl Release {
    pub(super) fn new(release_ms: f64, programme: bool, rate_hz: f64) -> Self {
        let share = |ms: f64| -libm::expm1(-1000.0 / (ms * rate_hz));
        let memory_charge = if programme { share(release_ms * MEMORY_CHARGE) } else { 0.0 };
        Self { share: share(release_ms), memory_charge, memory_release: share(release_ms * MEMORY_RELEASE) }
    }
}

/// Running mean of whole numbers, as their sum.
#[derive(Debug)]
struct RunningSum {
    values: Vec<i64>,
    at: usize,
    sum: i64,
}

impl RunningSum {
    fn new(length: usize) -> Self {
        Self { values: vec![0; length], at: 0, sum: 0 }
    }

    fn fill(&mut self, value: i64) {
        self.values.fill(value);
        self.sum = value * self.values.len() as i64;
        self.at = 0;
    }

    #[inline]
    fn next(&mut self, value: i64) -> i64 {
        self.sum += value - self.values[self.at];
        self.values[self.at] = value;
        self.at = if self.at + 1 == self.values.len() { 0 } else { self.at + 1 };
        self.sum
    }
}

/// Gain for a stream of peaks; it lags them by [`GainCurve::delay`].
#[derive(Debug)]
pub(super) struct GainCurve {
    window: usize,
    /// Depths that peaks ask for and no later one tops, with the frame at which they leave the window.
    wanted: VecDeque<(u64, f64)>,
    now: u64,
    depth: f64,
    memory: f64,
    means: [RunningSum; 3],
    /// A gain of 1 after the means, and the share of it that is one step.
    full: i64,
    per_full: f64,
    /// Frames since the last gain below 1 went into the means.
    rested: usize,
}

impl GainCurve {
    /// Over a window of about that many frames (at least 4).
    pub(super) fn new(frames: usize) -> Self {
        let part = (frames + 2).div_ceil(3).max(2);
        let window = 3 * part - 2;
        let full = ONE as i64 * (part * part * part) as i64;
        let mut curve = Self {
            window,
            wanted: VecDeque::with_capacity(window + 1),
            now: 0,
            depth: 0.0,
            memory: 0.0,
            means: [part; 3].map(RunningSum::new),
            full,
            per_full: 1.0 / full as f64,
            rested: 0,
        };
        curve.reset();
        curve
    }

    /// Frames by which a gain follows its peak.
    pub(super) fn delay(&self) -> usize {
        self.window - 1
    }

    pub(super) fn reset(&mut self) {
        self.wanted.clear();
        (self.now, self.depth, self.memory, self.rested) = (0, 0.0, 0.0, self.window);
        let mut value = ONE as i64;
        for mean in &mut self.means {
            mean.fill(value);
            value *= mean.values.len() as i64;
        }
    }

    /// Whether, without a new peak, the gain stays at 1.
    pub(super) fn is_at_rest(&self) -> bool {
        self.rested >= self.window && self.depth == 0.0 && self.wanted.is_empty()
    }

    /// Takes the next peak (0: below the ceiling) and gives the gain for the frame [`GainCurve::delay`] before it.
    #[inline]
    pub(super) fn next(&mut self, peak: f64, ceiling: f64, release: &Release) -> f64 {
        self.now += 1;
        if peak > ceiling {
            self.want(1.0 - ceiling / peak);
        }
        let target = self.deepest();
        self.move_depth(target, release);
        self.rested = if self.depth > 0.0 { 0 } else { self.rested + 1 };
        let mut value = ((1.0 - self.depth) * ONE) as i64;
        for mean in &mut self.means {
            value = mean.next(value);
        }
        if value == self.full { 1.0 } else { value as f64 * self.per_full }
    }

    /// Takes up the depth that a peak asks for.
    fn want(&mut self, depth: f64) {
        while self.wanted.back().is_some_and(|(_, other)| *other <= depth) {
            self.wanted.pop_back();
        }
        self.wanted.push_back((self.now + self.window as u64, depth));
    }

    /// The greatest depth that is asked for in the window.
    #[inline]
    fn deepest(&mut self) -> f64 {
        while self.wanted.front().is_some_and(|(leaves, _)| *leaves <= self.now) {
            self.wanted.pop_front();
        }
        self.wanted.front().map_or(0.0, |(_, depth)| *depth)
    }

    #[inline]
    fn move_depth(&mut self, target: f64, release: &Release) {
        let gap = target.min(self.depth) - self.memory;
        self.memory += gap * if gap > 0.0 { release.memory_charge } else { release.memory_release };
        if target >= self.depth {
            self.depth = target;
            return;
        }
        self.depth += release.share * (target.max(self.memory.min(self.depth)) - self.depth);
        if self.depth < NOTHING {
            (self.depth, self.memory) = (0.0, 0.0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::noise;

    #[test]
    fn no_frame_gets_more_gain_than_its_own_peak_allows() {
        let mut curve = GainCurve::new(96);
        let release = Release::new(50.0, true, 48_000.0);
        let peaks: Vec<f64> = noise(20_000, 1)
            .iter()
            .enumerate()
            .map(|(n, x)| if n % 3000 < 1000 && *x > 0.875 { 1.0 + 32.0 * (x - 0.875) } else { 0.0 })
            .collect();
        let gains: Vec<f64> = peaks.iter().map(|peak| curve.next(*peak, 0.9, &release)).collect();
        let delay = curve.delay();
        let worst = peaks.iter().zip(&gains[delay..]).map(|(peak, gain)| peak * gain).fold(0.0, f64::max);
        // The published invariant: never above the ceiling; and the ceiling is reached, so nothing is given away.
        assert!(worst <= 0.9 && worst > 0.899, "{worst}");
        for _ in 0..500_000 {
            curve.next(0.0, 0.9, &release);
        }
        assert!(curve.is_at_rest() && curve.next(0.0, 0.9, &release) == 1.0);
    }
}
