//! The early part: the reflections of the shape, one tap each, and per number of walls the loss of their mean delay.

use units::Frame;

use super::{
    decay::{Decay, Loss},
    shape::{IMAGES, Reflection, Shape},
};
use crate::space::{CHUNK_FRAMES, line::Line, moving::Moving, settle};

/// Longest delay of a reflection: three lengths of the largest room.
const LONGEST_S: f64 = 0.55;

/// Two speakers, two receivers.
const TAPS: usize = 4 * IMAGES;

/// One reflection of one speaker at one receiver.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Tap {
    frames: usize,
    gain: f64,
}

/// All taps and the filters of the two numbers of walls. Moves as one.
#[derive(Clone, Debug, PartialEq)]
struct Taps {
    taps: [Tap; TAPS],
    /// Walls of each image less one.
    groups: [usize; IMAGES],
    losses: [Loss; 2],
}

/// The early part, the same for every lane.
pub(super) struct Early {
    taps: Moving<Taps>,
}

/// What the early part remembers of one lane.
pub(super) struct EarlyMemory {
    channels: [Line<f64>; 2],
    /// Of each number of walls and each receiver: `[x', y']` of both sections.
    filters: [[[f64; 2]; 2]; 2],
}

type Mono = [f64; CHUNK_FRAMES];

impl EarlyMemory {
    pub(super) fn new(rate_hz: f64) -> Self {
        let oldest = (LONGEST_S * rate_hz) as usize + CHUNK_FRAMES;
        Self { channels: [0, 1].map(|_| Line::new(oldest, CHUNK_FRAMES, 0.0)), filters: [[[0.0; 2]; 2]; 2] }
    }

    pub(super) fn clear(&mut self) {
        self.channels.iter_mut().for_each(|line| line.clear(0.0));
        self.filters = [[[0.0; 2]; 2]; 2];
    }
}

impl Early {
    pub(super) fn new(shape: &Shape, decay: &Decay) -> Self {
        Self { taps: Moving::at(Taps::new(shape, decay)) }
    }

    pub(super) fn set(&mut self, shape: &Shape, decay: &Decay) {
        self.taps.go_to(Taps::new(shape, decay));
    }

    /// Energy of the answer in the middle to an impulse in the middle: the mean of the four paths.
    pub(super) fn energy(&self) -> f64 {
        self.taps.wanted().taps.iter().map(|tap| tap.gain * tap.gain).sum()
    }

    pub(super) fn steady_frames(&self, most: usize) -> usize {
        self.taps.steady_frames(most)
    }

    pub(super) fn pass(&mut self, frames: usize) {
        self.taps.pass(frames);
    }

    pub(super) fn finish(&mut self) {
        self.taps.finish();
    }

    /// Takes left and right in, gives middle and side.
    pub(super) fn process(&self, memory: &mut EarlyMemory, input: &[Frame], out: &mut [Frame]) {
        for (c, line) in memory.channels.iter_mut().enumerate() {
            let mut channel = [0.0; CHUNK_FRAMES];
            channel.iter_mut().zip(input).for_each(|(x, frame)| *x = frame[c]);
            line.write(&channel[..input.len()]);
        }
        let mut sums = sums(&memory.channels, self.taps.now(), input.len());
        if let Some(next) = self.taps.next() {
            let new = self::sums(&memory.channels, next, input.len());
            for (old, new) in sums.iter_mut().flatten().zip(new.iter().flatten()) {
                for (i, (old, new)) in old.iter_mut().zip(new).enumerate().take(input.len()) {
                    *old += self.taps.weight(i) * (new - *old);
                }
            }
        }
        let losses = &self.taps.next().unwrap_or(self.taps.now()).losses;
        for ((sums, loss), filters) in sums.iter_mut().zip(losses).zip(&mut memory.filters) {
            for (sum, filter) in sums.iter_mut().zip(filters) {
                loss.process(filter, &mut sum[..input.len()]);
            }
        }
        for (i, out) in out.iter_mut().enumerate() {
            let [left, right] = [0, 1].map(|receiver| sums[0][receiver][i] + sums[1][receiver][i]);
            *out = [left + right, left - right];
        }
    }
}

/// The sums of the taps: of each number of walls, at each receiver.
fn sums(channels: &[Line<f64>; 2], taps: &Taps, frames: usize) -> [[Mono; 2]; 2] {
    let mut sums = [[[0.0; CHUNK_FRAMES]; 2]; 2];
    for (i, tap) in taps.taps.iter().enumerate() {
        let (path, image) = (i / IMAGES, i % IMAGES);
        let (speaker, receiver) = (path / 2, path % 2);
        let sum = &mut sums[taps.groups[image]][receiver][..frames];
        let [first, second] = channels[speaker].pieces(tap.frames + frames, frames);
        let (head, tail) = sum.split_at_mut(first.len());
        head.iter_mut().zip(first).for_each(|(y, x)| *y += tap.gain * x);
        tail.iter_mut().zip(second).for_each(|(y, x)| *y += tap.gain * x);
    }
    sums
}

impl Taps {
    fn new(shape: &Shape, decay: &Decay) -> Self {
        let mut taps = [Tap { frames: 0, gain: 0.0 }; TAPS];
        let mut groups = [0; IMAGES];
        let (mut delay_s, mut count) = ([0.0; 2], [0.0; 2]);
        for path in 0..4 {
            for (image, r) in shape.reflections(path / 2, path % 2).iter().enumerate() {
                groups[image] = r.walls - 1;
                delay_s[r.walls - 1] += r.late_s;
                count[r.walls - 1] += 1.0;
                taps[path * IMAGES + image] = tap(r, image, decay);
            }
        }
        let losses = [0, 1].map(|group: usize| {
            let secs: f64 = delay_s[group] / count[group];
            decay.loss(secs).relative_to(decay.mid_gain(secs))
        });
        Self { taps, groups, losses }
    }
}

/// The tap of a reflection. Its loss in the middle is that of its own delay; the walls' signs are drawn, so that the
/// reflections do not pile up in the bass. The factor keeps the sum of the four paths at the energy of one.
fn tap(r: &Reflection, image: usize, decay: &Decay) -> Tap {
    const SIGNS: u32 = 0x00a6_c95b;
    let sign = if SIGNS >> image & 1 == 1 { 0.5 } else { -0.5 };
    let frames = (r.late_s * decay.rate_hz()).round().min(LONGEST_S * decay.rate_hz()) as usize;
    Tap { frames, gain: sign * r.gain * decay.mid_gain(r.late_s) }
}

impl Loss {
    /// The shape of the loss alone, with the middle at `mid` taken out.
    fn relative_to(mut self, mid: f64) -> Self {
        self.low[0] /= mid;
        self.low[1] /= mid;
        self
    }

    /// Filters a chunk. Transposed form: one value of memory a section.
    fn process(&self, memory: &mut [f64; 2], chunk: &mut [f64]) {
        let [low, high] = [self.low, self.high];
        for x in chunk {
            let y = settle(low[0] * *x + memory[0]);
            memory[0] = low[1] * *x - low[2] * y;
            let z = settle(high[0] * y + memory[1]);
            memory[1] = high[1] * y - high[2] * z;
            *x = z;
        }
    }
}
