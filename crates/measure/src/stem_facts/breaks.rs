//! Breaks in the waveform: clicks, and edits without a fade.
//!
//! The third difference of a signal, `x[n] - 3 x[n-1] + 3 x[n-2] - x[n-3]`, is small where a wave is smooth and large where
//! it jumps. The signal is cut into milliseconds, and the largest third difference of each is kept. A break is a
//! millisecond that exceeds six times all others within 50 ms on either side, by an event of a few samples. That leaves
//! out drums (whose attack goes on), noise, and waveforms that jump at every period. Where the sound grows by 6 dB across
//! it, it is the start of a note. If the wave goes on where it was, it is a click; if it goes on elsewhere, an edit.
//!
//! An edit is also where sound of -55 dBFS and more stops within a sample and 20 ms of zeros follow.
//! Limits: common practice, no source.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};
use units::Frame;

/// Milliseconds before and after that a break must exceed, and how far.
const CONTEXT: usize = 50;
const EXCEEDS: f64 = 6.0;
/// Milliseconds either side in which the event itself may ring on.
const NEAR: usize = 2;
/// Least third difference: a step of -56 dBFS has twice its height, a single sample three times.
const LEAST: f64 = 0.003;
/// Longest event, in seconds.
const LONGEST_SECS: f64 = 0.0003;
/// Growth of power across the event from which a note starts there.
const STARTS: f64 = 4.0;
/// Milliseconds over which power before and after is taken.
const BESIDE: usize = 20;
/// A sound of more power than this, -55 dBFS, that stops at once was cut.
const CUT_POWER: f64 = 3.2e-6;
/// Milliseconds of zeros that make a stop.
const STOPPED: u64 = 20;
/// Breaks that are listed one by one; all are counted.
const MOST_LISTED: usize = 100;

/// A break.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Break {
    /// Frame at which it lies.
    pub frame: u64,
    /// How far the wave jumps.
    pub jump_dbfs: f64,
}

/// All breaks of a kind.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Breaks {
    /// The first hundred.
    pub listed: Vec<Break>,
    /// How many there are.
    pub count: u64,
}

impl Breaks {
    fn add(&mut self, frame: u64, jump: f64) {
        self.count += 1;
        if self.listed.len() < MOST_LISTED {
            self.listed.push(Break { frame, jump_dbfs: units::db_from_gain(jump) });
        }
    }
}

/// What is kept of a millisecond of one channel.
#[derive(Clone, Copy, Default)]
struct Moment {
    /// Largest third difference.
    sharpest: f64,
    power: f64,
    /// The event at the largest, if it is short: frame, height, and whether the wave goes on elsewhere.
    event: Option<(u64, f64, bool)>,
}

/// Streaming finder of breaks.
#[derive(Clone)]
pub(super) struct BreakFinder {
    length: usize,
    longest: usize,
    /// One as long as both are alike.
    channels: Vec<Channel>,
    clicks: Breaks,
    edits: Breaks,
}

impl BreakFinder {
    pub fn new(rate_hz: f64) -> Self {
        // A whole number of fours.
        let length = 4 * (rate_hz / 4000.0).round().max(2.0) as usize;
        let longest = ((LONGEST_SECS * rate_hz) as usize).max(6);
        let channel = Channel::new(length);
        Self { length, longest, channels: vec![channel], clicks: Breaks::default(), edits: Breaks::default() }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, frames: &[Frame]) {
        if self.channels.len() == 1 && frames.iter().any(|frame| frame[0] != frame[1]) {
            self.channels.push(self.channels[0].clone());
        }
        for (c, channel) in self.channels.iter_mut().enumerate() {
            channel.waiting.extend(frames.iter().map(|frame| frame[c]));
            // A moment is looked at with the one before and the one after beside it.
            let mut waiting = std::mem::take(&mut channel.waiting);
            let mut from = 0;
            while waiting.len() - from >= 3 * self.length {
                let around = &waiting[from..from + 3 * self.length];
                let moment = moment(around, self.length, self.longest, channel.next_frame, channel.last_sharpest());
                channel.stops(&around[self.length..2 * self.length], &mut self.edits);
                channel.moments.push_back(moment);
                channel.judge(&mut self.clicks, &mut self.edits);
                channel.next_frame += self.length as u64;
                from += self.length;
            }
            waiting.drain(..from);
            channel.waiting = waiting;
        }
    }

    /// Clicks, and edits without a fade.
    pub fn finish(mut self) -> (Breaks, Breaks) {
        self.push(&vec![units::SILENCE; 3 * self.length]);
        for breaks in [&mut self.clicks, &mut self.edits] {
            breaks.listed.sort_by_key(|found| found.frame);
            // Both channels of one break are one break.
            let before = breaks.listed.len();
            let near = self.length as u64;
            breaks.listed.dedup_by(|b, a| b.frame - a.frame < near);
            breaks.count -= (before - breaks.listed.len()) as u64;
        }
        (self.clicks, self.edits)
    }
}

#[derive(Clone)]
struct Channel {
    waiting: Vec<f64>,
    /// First frame of the moment that comes next.
    next_frame: u64,
    moments: VecDeque<Moment>,
    /// Zeros in a row, up to now; the power and last sample of what sounded before them.
    zeros: u64,
    sounded: (f64, f64),
}

impl Channel {
    fn new(length: usize) -> Self {
        // A moment of silence ahead of the first, which has something before it then.
        let waiting = vec![0.0; length];
        Self { waiting, next_frame: 0, moments: VecDeque::new(), zeros: 0, sounded: (0.0, 0.0) }
    }

    fn last_sharpest(&self) -> f64 {
        self.moments.back().map_or(0.0, |moment| moment.sharpest)
    }

    /// Finds sound that stops within a sample.
    fn stops(&mut self, part: &[f64], edits: &mut Breaks) {
        let length = part.len() as u64;
        let Some(last) = part.iter().rposition(|x| *x != 0.0) else {
            self.zeros += length;
            let stopped = self.zeros / length == STOPPED && (self.zeros - length) / length < STOPPED;
            if stopped && self.sounded.0 > CUT_POWER {
                edits.add((self.next_frame + length).saturating_sub(self.zeros), self.sounded.1.abs());
            }
            return;
        };
        // What sounded in the millisecond up to the last sample: from this part, and the one before for the rest.
        let here = part[..=last].iter().map(|x| x * x).sum::<f64>() / (last + 1) as f64;
        let before = self.moments.back().map_or(0.0, |moment| moment.power);
        let share = (last + 1) as f64 / part.len() as f64;
        self.sounded = (share * here + (1.0 - share) * before, part[last]);
        self.zeros = (part.len() - 1 - last) as u64;
    }

    /// Judges the moment in the middle of the context.
    fn judge(&mut self, clicks: &mut Breaks, edits: &mut Breaks) {
        if self.moments.len() > 2 * CONTEXT + 1 {
            self.moments.pop_front();
        }
        let Some(middle) = self.moments.len().checked_sub(CONTEXT + 1) else { return };
        let Some((frame, height, elsewhere)) = self.moments[middle].event else { return };
        let most = |range: &mut dyn Iterator<Item = usize>| {
            range.fold(0.0f64, |most, index| most.max(self.moments[index].sharpest))
        };
        let before = most(&mut (0..middle.saturating_sub(NEAR - 1)));
        let after = most(&mut (middle + NEAR..self.moments.len()));
        if self.moments[middle].sharpest < EXCEEDS * before.max(after) {
            return;
        }
        let power = |range: std::ops::Range<usize>| {
            let count = range.len().max(1) as f64;
            range.map(|index| self.moments[index].power).sum::<f64>() / count
        };
        let before = power(middle.saturating_sub(BESIDE)..middle.saturating_sub(1));
        let after = power(middle + 2..middle + BESIDE);
        if after > STARTS * before && after > 0.0 {
            return;
        }
        if elsewhere { edits.add(frame, height) } else { clicks.add(frame, height) }
    }
}

/// What there is to say about the middle third of three milliseconds.
fn moment(around: &[f64], length: usize, longest: usize, first_frame: u64, last_sharpest: f64) -> Moment {
    let third = |n: usize| around[n] - 3.0 * around[n - 1] + 3.0 * around[n - 2] - around[n - 3];
    // Four at a time, since each maximum waits for the one before.
    let mut most = [0.0f64; 4];
    for x in around[length - 3..2 * length].windows(7).step_by(4) {
        for (lane, most) in most.iter_mut().enumerate() {
            let sharp = (x[lane + 3] - 3.0 * x[lane + 2] + 3.0 * x[lane + 1] - x[lane]).abs();
            *most = if sharp > *most { sharp } else { *most };
        }
    }
    let sharpest = most.into_iter().fold(0.0, f64::max);
    let power: f64 = around[length..2 * length].iter().map(|x| x * x).sum();
    let mut moment = Moment { sharpest, power: power / length as f64, event: None };
    if sharpest < LEAST || sharpest < EXCEEDS / 2.0 * last_sharpest {
        return moment;
    }
    let strong = |n: &usize| third(*n).abs() > sharpest / 4.0;
    let Some(first) = (length - 8..2 * length).find(strong) else { return moment };
    let last = (first..3 * length).rev().find(strong).unwrap_or(first);
    if last - first > longest + 3 {
        return moment;
    }
    // What jumps lies between these two, with a sample to spare on either side; the wave goes on where it was if both sides,
    // drawn out straight, meet in the middle.
    let (left, right) = (first - 4, (last + 1).min(3 * length - 2));
    let half = (right - left) as f64 / 2.0;
    let slopes = [around[left] - around[left - 1], around[right + 1] - around[right]];
    let step = ((around[right] - half * slopes[1]) - (around[left] + half * slopes[0])).abs();
    let straight = |n: usize| {
        let share = (n - left) as f64 / (2.0 * half);
        around[left] + share * (around[right] - around[left])
    };
    let height = (left..=right).map(|n| (around[n] - straight(n)).abs()).fold(0.0, f64::max);
    // A step lies half of its height off the straight line between its sides, a click all of it.
    let elsewhere = step > height;
    let height = if elsewhere { step } else { height };
    moment.event = Some((first_frame + (first - length) as u64, height, elsewhere));
    moment
}
