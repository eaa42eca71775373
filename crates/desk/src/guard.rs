//! What stands between the player and the ears: whatever is changed, nothing jumps out.
//!
//! Two things hold. For a second after every change (another programme, another place, another network), the level may
//! not rise above that of the last three seconds faster than 0.5 dB in 10 ms; from silence it comes up from -60 dBFS. And
//! a limiter keeps the true peak of all that is played below full scale. Neither ever reaches a print.
//!
//! What goes back to a level of the last three seconds is not held here, so that a hit after a rest comes whole while
//! somebody turns a knob. Where one thing takes over from another at the same place, the player knows both and lets the
//! second come up from the first (`player::turn`).

use dsp::{Context, Processor};
use units::{Block, Frame, Settings, Value, db_from_power, gain_from_db};

/// The ceiling of what is played.
const CEILING_DBTP: f64 = -1.0;
/// How fast the level may rise after a change, for each piece of 10 ms. Ours: 2.5 dB in 50 ms, where 6 are the most; the rest
/// is for how unsteady sound is by itself.
const RISE_DB: f64 = 0.5;
/// Stretches of a piece of which the loudest counts: what fades in lies at the end of one piece and at the start of the next,
/// and the ear hears no pieces.
const STRETCHES: usize = 4;
/// Pieces of 10 ms for which a change is watched.
const WATCHED: usize = 100;
/// Pieces of 10 ms that count as what was heard before.
const REMEMBERED: usize = 300;
/// The level from which sound comes up out of silence.
pub(crate) const FROM_SILENCE_DBFS: f64 = -60.0;

/// The guard.
pub struct Guard {
    limiter: Option<Box<dyn Processor>>,
    levels_db: [f64; REMEMBERED],
    next: usize,
    left: usize,
    gain_db: f64,
}

impl Guard {
    /// A guard that has heard nothing yet.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let limiter = dsp::entry("limiter").and_then(|entry| {
            let mut settings = Settings::defaults(entry.spec);
            let (param, _) = entry.spec.param("ceiling_dbtp")?;
            settings.set(units::At { row: None, param }, Value::Number(CEILING_DBTP));
            entry.build(&settings, &Context::plain(rate_hz, 1)).ok()
        });
        let levels_db = [f64::NEG_INFINITY; REMEMBERED];
        Self { limiter, levels_db, next: 0, left: 0, gain_db: 0.0 }
    }

    /// Frames by which it delays.
    #[must_use]
    pub fn latency_frames(&self) -> usize {
        self.limiter.as_ref().map_or(0, |limiter| limiter.latency_frames())
    }

    /// Something is about to change: the next second is watched.
    pub fn watch(&mut self) {
        self.left = WATCHED;
    }

    /// Lets 10 ms through.
    pub fn pass(&mut self, frames: &mut [Frame]) {
        let stretches = frames.chunks(frames.len().div_ceil(STRETCHES).max(1));
        let level_db = stretches.map(level_dbfs).fold(f64::NEG_INFINITY, f64::max);
        let before_db = self.gain_db;
        self.gain_db = if self.left > 0 {
            self.left -= 1;
            // Above what was let through, not above what might have been: a rest earns nothing for what comes after it.
            let heard_db = self.levels_db.iter().copied().fold(FROM_SILENCE_DBFS, f64::max);
            (heard_db + RISE_DB - level_db).min(0.0)
        } else {
            (before_db + RISE_DB).min(0.0)
        };
        self.levels_db[self.next] = level_db + self.gain_db;
        self.next = (self.next + 1) % REMEMBERED;
        if before_db < 0.0 || self.gain_db < 0.0 {
            // Down at once, up in a straight line.
            let (from, to) = (gain_from_db(before_db.min(self.gain_db)), gain_from_db(self.gain_db));
            let step = (to - from) / frames.len() as f64;
            for (index, frame) in frames.iter_mut().enumerate() {
                let gain = from + step * index as f64;
                *frame = [frame[0] * gain, frame[1] * gain];
            }
        }
        if let Some(limiter) = &mut self.limiter {
            limiter.process(&mut Block::key_only(frames), None);
        }
    }
}

/// RMS level of the louder channel.
pub(crate) fn level_dbfs(frames: &[Frame]) -> f64 {
    let power = |channel: usize| frames.iter().map(|frame| frame[channel] * frame[channel]).sum::<f64>();
    db_from_power(power(0).max(power(1)) / frames.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PIECE: usize = 480;

    fn tone(level_dbfs: f64, from: usize) -> Vec<Frame> {
        let amplitude = gain_from_db(level_dbfs);
        let wave = |n: usize| amplitude * libm::sin(std::f64::consts::TAU * 1000.0 * n as f64 / 48_000.0);
        (from..from + PIECE).map(|n| [wave(n); 2]).collect()
    }

    fn rms_db(frames: &[Frame]) -> f64 {
        db_from_power(frames.iter().map(|frame| frame[0] * frame[0]).sum::<f64>() / frames.len() as f64)
    }

    /// What comes out of so many pieces of a tone.
    fn heard(guard: &mut Guard, level_dbfs: f64, pieces: usize) -> Vec<Frame> {
        let mut out = Vec::new();
        for piece in 0..pieces {
            let mut frames = tone(level_dbfs, piece * PIECE);
            guard.pass(&mut frames);
            out.extend(frames);
        }
        out
    }

    #[test]
    fn a_change_to_something_louder_comes_up_by_less_than_6_db_in_50_ms() {
        let mut guard = Guard::new(48_000.0);
        guard.watch();
        heard(&mut guard, -40.0, 400);
        guard.watch();
        let out = heard(&mut guard, -6.0, 100);
        let levels: Vec<f64> = out.chunks(PIECE).map(rms_db).collect();
        for window in levels.windows(6) {
            assert!(window[5] - window[0] < 6.0, "{window:?}");
        }
        assert!(levels[0] < -39.0 && (levels[99] + 9.01).abs() < 0.1, "{} {}", levels[0], levels[99]);
    }

    #[test]
    fn out_of_silence_it_comes_up_slowly_and_nothing_passes_the_ceiling() {
        let mut guard = Guard::new(48_000.0);
        guard.watch();
        let out = heard(&mut guard, 12.0, 200);
        let levels: Vec<f64> = out.chunks(PIECE).map(rms_db).collect();
        assert!(levels[0] < -55.0 && levels[20] < -35.0, "{} {}", levels[0], levels[20]);
        let peak = out.iter().flatten().fold(0.0_f64, |most, x| most.max(x.abs()));
        assert!(units::db_from_gain(peak) < CEILING_DBTP + 0.02, "{}", units::db_from_gain(peak));
    }

    #[test]
    fn what_begins_some_time_after_a_change_comes_up_as_slowly() {
        let mut guard = Guard::new(48_000.0);
        guard.watch();
        heard(&mut guard, f64::NEG_INFINITY, 12);
        let levels: Vec<f64> = heard(&mut guard, -20.0, 10).chunks(PIECE).map(rms_db).collect();
        // The limiter delays it by more than a piece.
        let first = guard.latency_frames().div_ceil(PIECE);
        assert!(levels[first] < FROM_SILENCE_DBFS + 1.0 && levels[first + 5] - levels[first] < 6.0, "{levels:?}");
    }

    #[test]
    fn music_that_nobody_touches_passes_as_it_is() {
        let mut guard = Guard::new(48_000.0);
        guard.watch();
        heard(&mut guard, -50.0, 200);
        // A loud bar after a quiet one: no change of anybody's, and below the ceiling.
        let out = heard(&mut guard, -6.0, 20);
        let late = guard.latency_frames();
        let expected: Vec<Frame> = (0..20).flat_map(|piece| tone(-6.0, piece * PIECE)).collect();
        for (got, expected) in out[late..].iter().zip(&expected) {
            assert!((got[0] - expected[0]).abs() < 1e-9);
        }
    }
}
