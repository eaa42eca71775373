//! What stands between the player and the ears: whatever is changed, nothing jumps out.
//!
//! Two things hold. For a second after every change (another programme, another place, another network), the level may
//! not rise above that of the last three seconds faster than 0.75 dB in 10 ms; from silence it comes up from -60 dBFS. And
//! a limiter keeps the true peak of all that is played below full scale. Neither ever reaches a print.
//!
//! What goes back to a level of the last three seconds is not held here, so that a hit after a rest comes whole while
//! somebody turns a knob. Where one thing takes over from another at the same place, the player knows both and lets the
//! second come up from the first (`player::turn`).

use dsp::{Context, Processor};
use units::{Block, Frame, Settings, Value, db_from_power, gain_from_db};

/// The ceiling of what is played.
const CEILING_DBTP: f64 = -1.0;
/// How fast the level may rise after a change, for each piece of 10 ms. The gain glides up across the piece, which makes
/// half a decibel of it where sound is steady: 2.5 dB in 50 ms, where 6 are the most; the rest is for how unsteady it is by
/// itself.
const RISE_DB: f64 = 0.75;
/// Stretches of a piece. Any four in a row have a level, as the ear hears no pieces: what fades in lies at the end of one and
/// at the start of the next, and what sounds for a stretch alone is not as loud as what goes on.
const STRETCHES: usize = 4;
/// Pieces of 10 ms for which a change is watched.
const WATCHED: usize = 100;
/// Pieces of 10 ms that count as what was heard before.
const REMEMBERED: usize = 300;
/// The level from which sound comes up out of silence.
pub(crate) const FROM_SILENCE_DBFS: f64 = -60.0;

/// Power of left and right in each stretch of a piece.
type Powers = [[f64; 2]; STRETCHES];

/// The guard.
pub struct Guard {
    limiter: Option<Box<dyn Processor>>,
    /// The last piece that was let through.
    last: Powers,
    /// The highest power of any 10 ms that ended in each piece that was let through.
    heard: [f64; REMEMBERED],
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
        Self { limiter, last: Powers::default(), heard: [0.0; REMEMBERED], next: 0, left: 0, gain_db: 0.0 }
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
        let before_db = self.gain_db;
        self.gain_db = if self.left > 0 {
            self.left -= 1;
            // Above what was let through, not above what might have been: a rest earns nothing for what comes after it.
            let heard = self.heard.iter().copied().fold(power_from_db(FROM_SILENCE_DBFS), f64::max);
            db_from_power(gain_within(heard * power_from_db(RISE_DB), &self.last, &powers(frames))).min(0.0)
        } else {
            (before_db + RISE_DB).min(0.0)
        };
        if before_db < 0.0 || self.gain_db < 0.0 {
            // Down at once, up in a straight line.
            let (from, to) = (gain_from_db(before_db.min(self.gain_db)), gain_from_db(self.gain_db));
            let step = (to - from) / frames.len() as f64;
            for (index, frame) in frames.iter_mut().enumerate() {
                let gain = from + step * index as f64;
                *frame = [frame[0] * gain, frame[1] * gain];
            }
        }
        let passed = powers(frames);
        let all = ends(&self.last, &passed).map(|(before, now)| (before + now) / STRETCHES as f64);
        self.heard[self.next] = all.fold(0.0, f64::max);
        self.next = (self.next + 1) % REMEMBERED;
        self.last = passed;
        if let Some(limiter) = &mut self.limiter {
            limiter.process(&mut Block::key_only(frames), None);
        }
    }
}

fn power_from_db(db: f64) -> f64 {
    gain_from_db(2.0 * db)
}

fn powers(frames: &[Frame]) -> Powers {
    let mut powers = Powers::default();
    for (power, stretch) in powers.iter_mut().zip(frames.chunks(frames.len().div_ceil(STRETCHES).max(1))) {
        *power = [0, 1].map(|c| stretch.iter().map(|frame| frame[c] * frame[c]).sum::<f64>() / stretch.len() as f64);
    }
    powers
}

/// For every 10 ms that end with a stretch of a piece, in either channel: the sum of its powers, what of it is of the piece
/// before and what of this one.
fn ends(last: &Powers, now: &Powers) -> impl Iterator<Item = (f64, f64)> {
    let sum = |stretches: &[[f64; 2]], c: usize| stretches.iter().map(|power| power[c]).sum::<f64>();
    (0..STRETCHES).flat_map(move |end| [0, 1].map(|c| (sum(&last[end + 1..], c), sum(&now[..=end], c))))
}

/// The gain, as a power, with which no 10 ms that end in a piece have more than a power. That lies above what the piece before
/// adds up to, which counts among what was heard: so this is above zero.
fn gain_within(most: f64, last: &Powers, now: &Powers) -> f64 {
    let gains = ends(last, now).filter(|(_, now)| *now > 0.0).map(|(last, now)| (STRETCHES as f64 * most - last) / now);
    gains.fold(1.0, f64::min)
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
    fn what_sounds_for_a_moment_earns_nothing_for_what_goes_on() {
        // Four strikes of 2.5 ms, one in a piece each, then as loud all the time.
        let mut guard = Guard::new(48_000.0);
        heard(&mut guard, -48.0, 10);
        for _ in 0..4 {
            let mut struck = tone(-48.0, 0);
            struck[120..240].copy_from_slice(&tone(-30.0, 0)[120..240]);
            guard.pass(&mut struck);
        }
        heard(&mut guard, -48.0, 5);
        guard.watch();
        let levels: Vec<f64> = heard(&mut guard, -30.0, 30).chunks(PIECE).map(rms_db).collect();
        let first = guard.latency_frames().div_ceil(PIECE);
        // A strike is 6 dB softer than what goes on as loud, a tone 3 dB softer than its peak.
        let strike_dbfs = -30.0 - 3.0 - 6.0;
        for (piece, level) in levels[first..first + 5].iter().enumerate() {
            assert!(*level < strike_dbfs + RISE_DB * (piece + 1) as f64 + 0.5, "{levels:?}");
        }
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
