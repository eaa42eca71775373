//! The early part: the reflections of the shape, one tap each, and per number of walls the loss of their mean delay.

use multiversion::multiversion;
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
    /// The taps of one sum after those of another, and where each sum's taps end.
    order: [usize; TAPS],
    ends: [usize; 4],
    losses: [Loss; 2],
}

/// The early part, the same for every lane.
pub(super) struct Early {
    taps: Moving<Taps>,
}

/// What the early part remembers of one lane.
pub(super) struct EarlyMemory {
    channels: [Line<f64>; 2],
    /// Of both sections: one value of memory for each number of walls at each receiver.
    filters: [Row; 2],
}

/// A sum for each number of walls at each receiver: one wall left and right, two walls left and right.
type Row = [f64; 4];

/// The sums of a chunk.
type Sums = [[f64; CHUNK_FRAMES]; 4];

impl EarlyMemory {
    pub(super) fn new(rate_hz: f64) -> Self {
        let oldest = (LONGEST_S * rate_hz) as usize + CHUNK_FRAMES;
        Self { channels: [0, 1].map(|_| Line::new(oldest, CHUNK_FRAMES, 0.0)), filters: [[0.0; 4]; 2] }
    }

    pub(super) fn clear(&mut self) {
        self.channels.iter_mut().for_each(|line| line.clear(0.0));
        self.filters = [[0.0; 4]; 2];
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
        let frames = input.len();
        let mut sums = [[0.0; CHUNK_FRAMES]; 4];
        add_taps(&memory.channels, self.taps.now(), frames, &mut sums);
        if let Some(next) = self.taps.next() {
            let mut new = [[0.0; CHUNK_FRAMES]; 4];
            add_taps(&memory.channels, next, frames, &mut new);
            for (old, new) in sums.iter_mut().zip(&new) {
                for (i, (old, new)) in old[..frames].iter_mut().zip(new).enumerate() {
                    *old += self.taps.weight(i) * (new - *old);
                }
            }
        }
        let losses = &self.taps.next().unwrap_or(self.taps.now()).losses;
        for (i, out) in out.iter_mut().enumerate() {
            let mut row = [0, 1, 2, 3].map(|k: usize| sums[k][i]);
            lose(losses, &mut memory.filters, &mut row);
            let [left, right] = [row[0] + row[2], row[1] + row[3]];
            *out = [left + right, left - right];
        }
    }
}

/// Taps that are added to a sum at once. The taps of every sum are a multiple of it: 2 speakers, 6 or 18 images.
const ABREAST: usize = 4;

/// Adds up the taps of a chunk.
fn add_taps(channels: &[Line<f64>; 2], taps: &Taps, frames: usize, sums: &mut Sums) {
    let mut wrapped = [[0.0; CHUNK_FRAMES]; ABREAST];
    let mut from = 0;
    for (sum, end) in sums.iter_mut().zip(taps.ends) {
        for four in taps.order[from..end].as_chunks::<ABREAST>().0 {
            let mut heard: [&[f64]; ABREAST] = [&[]; ABREAST];
            for ((heard, wrapped), tap) in heard.iter_mut().zip(&mut wrapped).zip(four) {
                let line = &channels[tap / IMAGES / 2];
                let age = taps.taps[*tap].frames + frames;
                *heard = match line.pieces(age, frames) {
                    [whole, []] => whole,
                    _ => {
                        line.read(age, &mut wrapped[..frames]);
                        &wrapped[..frames]
                    }
                };
            }
            add_four(four.map(|tap| taps.taps[tap].gain), heard, &mut sum[..frames]);
        }
        from = end;
    }
}

/// Adds four taps, one after the other. Wider registers give the same bytes.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn add_four([a, b, c, d]: [f64; ABREAST], [w, x, y, z]: [&[f64]; ABREAST], sum: &mut [f64]) {
    for ((((sum, w), x), y), z) in sum.iter_mut().zip(w).zip(x).zip(y).zip(z) {
        *sum = (((*sum + a * w) + b * x) + c * y) + d * z;
    }
}

/// The losses of one frame, in transposed form: one value of memory a section.
#[inline]
fn lose(losses: &[Loss; 2], memory: &mut [Row; 2], row: &mut Row) {
    let [low, high] = memory;
    for k in 0..4 {
        let loss = &losses[k / 2];
        let y = settle(loss.low[0] * row[k] + low[k]);
        low[k] = loss.low[1] * row[k] - loss.low[2] * y;
        row[k] = settle(loss.high[0] * y + high[k]);
        high[k] = loss.high[1] * y - loss.high[2] * row[k];
    }
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
                taps[path * IMAGES + image] = tap(r, image, shape, decay);
            }
        }
        // In the order in which they stand, so that sums are the same whatever is added at once.
        let sum_of = |tap: usize| 2 * groups[tap % IMAGES] + tap / IMAGES % 2;
        let (mut order, mut ends, mut placed) = ([0; TAPS], [0; 4], 0);
        for (sum, end) in ends.iter_mut().enumerate() {
            for tap in (0..TAPS).filter(|tap| sum_of(*tap) == sum) {
                order[placed] = tap;
                placed += 1;
            }
            *end = placed;
        }
        let losses = [0, 1].map(|group: usize| {
            let secs: f64 = delay_s[group] / count[group];
            decay.loss(secs).relative_to(decay.mid_gain(secs))
        });
        Self { taps, order, ends, losses }
    }
}

/// The tap of a reflection. Its loss in the middle is that of its own delay; where the network sets in, the reflection
/// leaves its share of the energy to it. The walls' signs are drawn, so that the reflections do not pile up in the bass.
/// The factor keeps the sum of the four paths at the energy of one.
fn tap(r: &Reflection, image: usize, shape: &Shape, decay: &Decay) -> Tap {
    const SIGNS: u32 = 0x00a6_c95b;
    let sign = if SIGNS >> image & 1 == 1 { 0.5 } else { -0.5 };
    let frames = (r.late_s * decay.rate_hz()).round().min(LONGEST_S * decay.rate_hz()) as usize;
    Tap { frames, gain: sign * r.gain * decay.mid_gain(r.late_s) * (1.0 - shape.network_share(r.late_s)).sqrt() }
}

impl Loss {
    /// The shape of the loss alone, with the middle at `mid` taken out.
    fn relative_to(mut self, mid: f64) -> Self {
        self.low[0] /= mid;
        self.low[1] /= mid;
        self
    }
}
