//! Gains that move: rides as straight lines over song time, and what a fader, a send and a pan make of them together.

use multiversion::multiversion;
use units::{Frame, gain_from_db};

/// Frames between two exact values of a moving gain; in between it goes in a straight line. Anchored at song time 0, so
/// that the gain of a frame does not depend on how the song is cut into blocks.
const TICK_FRAMES: i64 = dsp::ramp::RAMP_FRAMES as i64;

/// A steeper move than from one point to the next within this time would be heard as a click: later points give way.
const SHORTEST_MOVE_MS: f64 = 5.0;

/// A parameter over song time: straight lines between points, held before the first and after the last.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    points: Vec<(i64, f64)>,
}

impl Curve {
    /// A curve through points in seconds, in order of time. Points closer than 5 ms are pulled apart so that no step
    /// is heard as a click. An empty list counts as 0 throughout.
    #[must_use]
    pub fn new(points: &[(f64, f64)], rate_hz: f64) -> Self {
        let shortest = units::frames_from_ms(SHORTEST_MOVE_MS, rate_hz) as i64;
        let mut placed: Vec<(i64, f64)> = Vec::with_capacity(points.len());
        for (secs, value) in points {
            let frame = units::frames_from_secs(*secs, rate_hz);
            let earliest = placed.last().map_or(i64::MIN, |(last, _)| last + shortest);
            placed.push((frame.max(earliest), *value));
        }
        Self { points: placed }
    }

    /// A straight line from one point (frame, value) to a later one.
    pub(crate) fn between(from: (i64, f64), to: (i64, f64)) -> Self {
        Self { points: vec![from, to] }
    }

    /// The same curve with a number added to every value.
    #[must_use]
    pub fn raised_by(mut self, amount: f64) -> Self {
        self.points.iter_mut().for_each(|(_, value)| *value += amount);
        self
    }

    /// Moves all points by so many frames towards the start.
    pub(crate) fn earlier_by(&mut self, frames: i64) {
        self.points.iter_mut().for_each(|(at, _)| *at -= frames);
    }

    /// Value at a frame of song time.
    #[must_use]
    pub fn value_at(&self, frame: i64) -> f64 {
        let after = self.points.partition_point(|(at, _)| *at <= frame);
        match (after.checked_sub(1).map(|i| self.points[i]), self.points.get(after).copied()) {
            (None, None) => 0.0,
            (None, Some((_, value))) | (Some((_, value)), None) => value,
            (Some((from, low)), Some((to, high))) => low + (high - low) * ((frame - from) as f64 / (to - from) as f64),
        }
    }

    /// Whether the value is the same at every frame from `from` to `to`, both included.
    #[must_use]
    pub fn rests_between(&self, from: i64, to: i64) -> bool {
        let value = self.value_at(from);
        value == self.value_at(to)
            && self.points.iter().filter(|(at, _)| (from..=to).contains(at)).all(|(_, other)| *other == value)
    }
}

/// A gain in dB, at rest or ridden.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Level {
    /// The part that rests.
    pub rest_db: f64,
    /// Rides that add to it.
    pub rides: Vec<Curve>,
}

impl Level {
    /// A level at rest.
    #[must_use]
    pub fn at(rest_db: f64) -> Self {
        Self { rest_db, rides: Vec::new() }
    }

    fn db_at(&self, frame: i64) -> f64 {
        self.rest_db + self.rides.iter().map(|ride| ride.value_at(frame)).sum::<f64>()
    }

    fn rests_between(&self, from: i64, to: i64) -> bool {
        self.rides.iter().all(|ride| ride.rests_between(from, to))
    }
}

/// What happens to a signal on its way from one node into another: fader, send, pan, polarity, mute.
#[derive(Clone, Debug, PartialEq)]
pub struct GainLaw {
    /// Levels whose decibels add: a fader, a send.
    pub levels: Vec<Level>,
    /// Pan from -100 (left) over 0 to 100 (right), at rest or ridden.
    pub pan_percent: Level,
    /// Whether the sign is turned.
    pub inverted: bool,
    /// Whether nothing passes.
    pub muted: bool,
}

impl GainLaw {
    /// Everything passes as it is.
    #[must_use]
    pub fn unity() -> Self {
        Self { levels: Vec::new(), pan_percent: Level::default(), inverted: false, muted: false }
    }

    /// One level, nothing else.
    #[must_use]
    pub fn of(level: Level) -> Self {
        Self { levels: vec![level], ..Self::unity() }
    }

    /// Moves everything that rides by so many frames towards the start.
    pub(crate) fn earlier_by(&mut self, frames: i64) {
        let levels = self.levels.iter_mut().chain([&mut self.pan_percent]);
        levels.flat_map(|level| &mut level.rides).for_each(|ride| ride.earlier_by(frames));
    }

    /// Gains of left and right at a frame of song time.
    #[must_use]
    pub fn gains_at(&self, frame: i64) -> Frame {
        if self.muted {
            return units::SILENCE;
        }
        let db: f64 = self.levels.iter().map(|level| level.db_at(frame)).sum();
        let gain = if db == 0.0 { 1.0 } else { gain_from_db(db) };
        let gain = if self.inverted { -gain } else { gain };
        let [left, right] = pan_gains(self.pan_percent.db_at(frame));
        [gain * left, gain * right]
    }

    /// Whether the gains are the same at every frame from `from` to `to`, both included.
    #[must_use]
    pub fn rests_between(&self, from: i64, to: i64) -> bool {
        self.muted || self.levels.iter().chain([&self.pan_percent]).all(|level| level.rests_between(from, to))
    }

    /// Multiplies `frames`, whose first is at frame `from` of song time, and adds them to `sum`.
    pub fn add(&self, from: i64, frames: &[Frame], sum: &mut [Frame]) {
        self.walk(from, frames.len(), |range, gain| add_scaled(gain, &frames[range.clone()], &mut sum[range]));
    }

    /// The same where `sum` was silence; whatever it holds is lost.
    pub(crate) fn begin(&self, from: i64, frames: &[Frame], sum: &mut [Frame]) {
        self.walk(from, frames.len(), |range, gain| begin_scaled(gain, &frames[range.clone()], &mut sum[range]));
    }

    /// Multiplies `frames`, whose first is at frame `from` of song time, in place.
    pub fn apply(&self, from: i64, frames: &mut [Frame]) {
        self.walk(from, frames.len(), |range, gain| {
            if gain != [1.0; 2] {
                scale(gain, &mut frames[range]);
            }
        });
    }

    /// Multiplies `frames` in place, gliding in a straight line from this law at the first to another behind the last.
    pub(crate) fn glide(&self, to: &Self, at: i64, frames: &mut [Frame]) {
        let gain = self.gliding(to, (at, frames.len()));
        for (index, frame) in frames.iter_mut().enumerate() {
            let gain = gain(at + index as i64);
            *frame = [frame[0] * gain[0], frame[1] * gain[1]];
        }
    }

    /// As [`Self::add`], gliding from this law to another within the block (its first frame, and how many).
    pub(crate) fn add_gliding(&self, to: &Self, block: (i64, usize), from: i64, frames: &[Frame], sum: &mut [Frame]) {
        let gain = self.gliding(to, block);
        for ((index, frame), out) in frames.iter().enumerate().zip(sum) {
            let gain = gain(from + index as i64);
            out[0] += frame[0] * gain[0];
            out[1] += frame[1] * gain[1];
        }
    }

    fn gliding(&self, to: &Self, (at, frames): (i64, usize)) -> impl Fn(i64) -> Frame {
        let (start, end) = (self.gains_at(at), to.gains_at(at + frames as i64));
        move |frame| {
            let part = (frame - at) as f64 / frames as f64;
            [start[0] + (end[0] - start[0]) * part, start[1] + (end[1] - start[1]) * part]
        }
    }

    /// Cuts a stretch into pieces of one gain: the whole where the gain rests, single frames where it moves.
    fn walk(&self, from: i64, frames: usize, mut piece: impl FnMut(std::ops::Range<usize>, Frame)) {
        let end = from + frames as i64;
        if frames == 0 {
            return;
        }
        let last_tick = (end - 1).div_euclid(TICK_FRAMES) * TICK_FRAMES + TICK_FRAMES;
        if self.rests_between(from.div_euclid(TICK_FRAMES) * TICK_FRAMES, last_tick) {
            return piece(0..frames, self.gains_at(from));
        }
        let mut at = from;
        while at < end {
            let tick = at.div_euclid(TICK_FRAMES) * TICK_FRAMES;
            let (start, target) = (self.gains_at(tick), self.gains_at(tick + TICK_FRAMES));
            // Every frame's gain is computed from its tick, never from the frame before: a block may start anywhere.
            let stop = (tick + TICK_FRAMES).min(end);
            for frame in at..stop {
                let part = (frame - tick) as f64 / TICK_FRAMES as f64;
                let gain = [start[0] + (target[0] - start[0]) * part, start[1] + (target[1] - start[1]) * part];
                let index = (frame - from) as usize;
                piece(index..index + 1, gain);
            }
            at = stop;
        }
    }
}

/// Adds frames times a gain. Wider registers give the same bytes: nothing is fused.
#[multiversion(targets("x86_64+avx2"))]
fn add_scaled(gain: Frame, frames: &[Frame], sum: &mut [Frame]) {
    for (out, frame) in sum.iter_mut().zip(frames) {
        out[0] += frame[0] * gain[0];
        out[1] += frame[1] * gain[1];
    }
}

/// Adds frames times a gain to silence.
#[multiversion(targets("x86_64+avx2"))]
fn begin_scaled(gain: Frame, frames: &[Frame], sum: &mut [Frame]) {
    for (out, frame) in sum.iter_mut().zip(frames) {
        *out = [0.0 + frame[0] * gain[0], 0.0 + frame[1] * gain[1]];
    }
}

/// Multiplies frames by a gain.
#[multiversion(targets("x86_64+avx2"))]
fn scale(gain: Frame, frames: &mut [Frame]) {
    for frame in frames {
        *frame = [frame[0] * gain[0], frame[1] * gain[1]];
    }
}

/// Constant-power pan, 0 dB in the centre: `sqrt(2) cos`, `sqrt(2) sin` of an angle from 0 (left) to a right angle.
///
/// The constant-power law (sine and cosine, 3.01 dB between the centre and one side) is the handbook's; that the centre
/// keeps 0 dB, so that a source in the middle passes untouched, is common practice, no source.
fn pan_gains(percent: f64) -> Frame {
    if percent == 0.0 {
        return [1.0, 1.0];
    }
    let angle = (percent.clamp(-100.0, 100.0) / 100.0 + 1.0) * std::f64::consts::FRAC_PI_4;
    [std::f64::consts::SQRT_2 * libm::cos(angle), std::f64::consts::SQRT_2 * libm::sin(angle)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ride() -> GainLaw {
        let curve = Curve::new(&[(0.01, -11.0), (0.02, -8.0), (0.02, -20.0)], 48_000.0);
        GainLaw::of(Level { rest_db: 1.0, rides: vec![curve] })
    }

    #[test]
    fn a_curve_is_straight_between_points_and_held_outside() {
        let curve = Curve::new(&[(1.0, -11.0), (2.0, -8.0)], 1000.0);
        assert_eq!(curve.value_at(-5), -11.0);
        assert_eq!(curve.value_at(1500), -9.5);
        assert_eq!(curve.value_at(9000), -8.0);
        assert!(curve.rests_between(0, 1000) && curve.rests_between(2000, 3000) && !curve.rests_between(0, 1001));
    }

    #[test]
    fn a_step_is_spread_so_that_it_does_not_click() {
        let curve = Curve::new(&[(1.0, 0.0), (1.0, -60.0)], 48_000.0);
        assert_eq!((curve.value_at(48_000), curve.value_at(48_240)), (0.0, -60.0));
        assert_eq!(curve.value_at(48_120), -30.0);
    }

    #[test]
    fn gains_do_not_depend_on_where_a_block_starts() {
        let law = ride();
        let input = vec![[1.0, -0.5]; 2000];
        let mut whole = input.clone();
        law.apply(-100, &mut whole);
        let mut cut = input;
        let mut from = 0;
        for (index, length) in [1, 7, 31, 64, 500, 1397].into_iter().enumerate() {
            assert!(index < 6);
            law.apply(-100 + from as i64, &mut cut[from..from + length]);
            from += length;
        }
        assert_eq!(whole, cut);
    }

    #[test]
    fn pan_follows_the_constant_power_law_with_zero_db_in_the_centre() {
        // Sine/cosine law, for instance in Rossing, "Springer Handbook of Acoustics" (from memory): the power of both
        // channels together is the same for every position.
        for percent in [-100.0, -60.0, -10.0, 0.0, 35.0, 100.0] {
            let [left, right] = pan_gains(percent);
            assert!((left * left + right * right - 2.0).abs() < 1e-12, "{percent}");
        }
        assert_eq!(pan_gains(0.0), [1.0, 1.0]);
        assert!((units::db_from_gain(pan_gains(-100.0)[0]) - 3.010_3).abs() < 1e-4);
    }
}
