//! Oversampling: a cascade of linear-phase halfband filters that doubles the rate one to four times and comes back.
//!
//! A non-linear curve makes harmonics without end; those above half the sample rate fold back as tones that belong to
//! no note. At a higher rate there is room for them, and the way down removes what stays outside. Each doubling is a
//! windowed sinc cut at a quarter of its own rate. Half of its taps are zero and the others are symmetric, so a sample
//! costs about a quarter of its length in multiplications; the later doublings have ever wider transition bands and
//! need few taps. (Halfband filters: Vaidyanathan, "Multirate Systems and Filter Banks", 1993, section 4.6. Window:
//! Kaiser, 1974.)
//!
//! The pass band reaches 20 kHz at 44.1 and 48 kHz, and five twelfths of higher rates, within 0.0001 dB; the stop band
//! lies 111 dB down. The way up and down together takes a whole number of base frames: where the inner stages leave half a frame, a
//! doubling's way down reads one sample later.

use std::f64::consts::PI;

use multiversion::multiversion;
use units::{Block, Frame, SILENCE};

/// Base frames that are taken through the cascade at a time.
const CHUNK: usize = 64;

/// Frames that one turn of the inner loop makes: eight stereo sums fit the registers of any x86-64.
pub const STRIP: usize = 8;

/// For each doubling from the base rate upwards, half the number of taps that are not zero, and the Kaiser window's beta.
type Designs = [(usize, f64); 4];

/// The shortest that pass 20 kHz at a base rate of 44.1 kHz and stop from 24.1 kHz on by 111 dB, found by search.
const TIGHT: Designs = [(41, 11.96), (7, 12.16), (5, 11.14), (4, 9.78)];

/// The shortest that pass 20 kHz at a base rate of 48 kHz (five twelfths of any) and stop from 28 kHz on by 111 dB.
const WIDE: Designs = [(22, 11.52), (7, 12.94), (5, 11.06), (4, 9.8)];

/// From this base rate on the wide designs reach 20 kHz.
const WIDE_FROM_HZ: f64 = 48_000.0;

/// The most that a rate can be multiplied by.
pub const MOST: usize = 1 << TIGHT.len();

/// Takes blocks to a higher rate, hands them to a function, and brings them back.
pub struct Oversampler {
    factor: usize,
    latency: usize,
    doublings: Vec<Doubling>,
    /// The top-rate chunk of every lane.
    top: Vec<Frame>,
    scratch: [Vec<Frame>; 2],
}

impl Oversampler {
    /// For a number of lanes and a factor of 1, 2, 4, 8 or 16, with the pass band of 44.1 kHz. `inner_latency` is the
    /// delay, in frames at the higher rate, of what the function given to [`Oversampler::process`] does.
    #[must_use]
    pub fn new(lanes: usize, factor: usize, inner_latency: usize) -> Self {
        Self::with(&TIGHT, lanes, factor, inner_latency)
    }

    /// The same with the cheapest filters that pass 20 kHz at a base rate.
    #[must_use]
    pub fn for_rate(rate_hz: f64, lanes: usize, factor: usize, inner_latency: usize) -> Self {
        let designs = if rate_hz < WIDE_FROM_HZ { &TIGHT } else { &WIDE };
        Self::with(designs, lanes, factor, inner_latency)
    }

    fn with(designs: &Designs, lanes: usize, factor: usize, inner_latency: usize) -> Self {
        assert!(factor.is_power_of_two() && factor <= MOST, "oversampling by {factor}");
        let count = factor.trailing_zeros() as usize;
        let mut latency = inner_latency;
        let mut doublings = Vec::with_capacity(count);
        for (level, &(half, beta)) in designs.iter().enumerate().take(count).rev() {
            let pad = latency % 2;
            latency = (latency + pad) / 2 + (2 * half - 1);
            doublings.push(Doubling::new(half, beta, pad, lanes, CHUNK << level));
        }
        doublings.reverse();
        let top = vec![SILENCE; lanes * CHUNK * factor];
        let scratch = || vec![SILENCE; CHUNK * factor];
        Self { factor, latency, doublings, top, scratch: [scratch(), scratch()] }
    }

    /// Base frames by which the output lags the input.
    #[must_use]
    pub fn latency_frames(&self) -> usize {
        self.latency
    }

    /// How many times the base rate the inside runs at.
    #[must_use]
    pub fn factor(&self) -> usize {
        self.factor
    }

    /// Most frames that the function given to [`Oversampler::process`] is handed at once.
    #[must_use]
    pub fn most_inner_frames(factor: usize) -> usize {
        CHUNK * factor
    }

    /// Takes a block of base frames through `inside` in place. `inside` gets whole base frames' worth of frames, in all
    /// lanes, at the higher rate.
    pub fn process(&mut self, block: &mut Block<'_>, mut inside: impl FnMut(&mut Block<'_>)) {
        let frames = block.frames();
        let stride = CHUNK * self.factor;
        for from in (0..frames).step_by(CHUNK) {
            let count = CHUNK.min(frames - from);
            let mut part = block.part(from, count);
            for (lane, audio) in part.lanes_mut().enumerate() {
                self.up(lane, audio);
            }
            inside(&mut Block::new(&mut self.top, stride, count * self.factor));
            for (lane, audio) in part.lanes_mut().enumerate() {
                self.down(lane, audio);
            }
        }
    }

    /// Makes all memory silent.
    pub fn reset(&mut self) {
        for doubling in &mut self.doublings {
            doubling.lanes.iter_mut().for_each(Lane::reset);
        }
    }

    fn up(&mut self, lane: usize, audio: &[Frame]) {
        let top = &mut self.top[lane * CHUNK * self.factor..][..CHUNK * self.factor];
        let [a, b] = &mut self.scratch;
        let (mut from, mut to) = (a, b);
        let mut frames = audio.len();
        let last = self.doublings.len();
        if last == 0 {
            top[..frames].copy_from_slice(audio);
        }
        for (level, doubling) in self.doublings.iter_mut().enumerate() {
            let input = if level == 0 { audio } else { &from[..frames] };
            let output = if level + 1 == last { &mut *top } else { &mut to[..] };
            doubling.up(lane, input, output);
            frames *= 2;
            std::mem::swap(&mut from, &mut to);
        }
    }

    fn down(&mut self, lane: usize, audio: &mut [Frame]) {
        let top = &self.top[lane * CHUNK * self.factor..][..CHUNK * self.factor];
        let [a, b] = &mut self.scratch;
        let (mut from, mut to) = (a, b);
        let mut frames = audio.len() * self.factor;
        let last = self.doublings.len();
        if last == 0 {
            audio.copy_from_slice(&top[..frames]);
            return;
        }
        for (level, doubling) in self.doublings.iter_mut().enumerate().rev() {
            let input = if level + 1 == last { &top[..frames] } else { &from[..frames] };
            doubling.down(lane, input, to);
            frames /= 2;
            std::mem::swap(&mut from, &mut to);
        }
        audio.copy_from_slice(&from[..frames]);
    }
}

/// One doubling of the rate: the filter, and what each lane remembers.
struct Doubling {
    /// One half of the symmetric non-zero taps beside the centre, outermost first; they sum to a quarter.
    taps: Vec<f64>,
    /// Frames (0 or 1, at the doubled rate) by which the way down is delayed further.
    pad: usize,
    lanes: Vec<Lane>,
}

/// A lane's recent frames on the way up, and on the way down those that meet the taps and those that meet the centre.
struct Lane {
    up: Vec<Frame>,
    down_taps: Vec<Frame>,
    down_centre: Vec<Frame>,
}

impl Lane {
    fn reset(&mut self) {
        for line in [&mut self.up, &mut self.down_taps, &mut self.down_centre] {
            line.fill(SILENCE);
        }
    }
}

impl Doubling {
    fn new(half: usize, beta: f64, pad: usize, lanes: usize, most_frames: usize) -> Self {
        let line = |history: usize| vec![SILENCE; history + most_frames];
        let lane = || Lane { up: line(2 * half - 1), down_taps: line(2 * half - 1 + pad), down_centre: line(half) };
        Self { taps: halfband(half, beta), pad, lanes: (0..lanes).map(|_| lane()).collect() }
    }

    /// Twice as many frames. Even ones are filtered, odd ones are input as it was. Writes whole strips.
    fn up(&mut self, lane: usize, input: &[Frame], output: &mut [Frame]) {
        let history = 2 * self.taps.len() - 1;
        let line = &mut self.lanes[lane].up;
        line[history..][..input.len()].copy_from_slice(input);
        double(&self.taps, line, &mut output[..2 * input.len().next_multiple_of(STRIP)]);
        line.copy_within(input.len()..input.len() + history, 0);
    }

    /// Half as many frames. Writes whole strips.
    fn down(&mut self, lane: usize, input: &[Frame], output: &mut [Frame]) {
        let half = self.taps.len();
        let frames = input.len() / 2;
        let Lane { down_taps, down_centre, .. } = &mut self.lanes[lane];
        let history = 2 * half - 1 + self.pad;
        let (taps, centre) = (&mut down_taps[history..], &mut down_centre[half..]);
        match self.pad {
            0 => part::<0>(input, taps, centre),
            _ => part::<1>(input, taps, centre),
        }
        halve(&self.taps, down_taps, down_centre, &mut output[..frames.next_multiple_of(STRIP)]);
        down_taps.copy_within(frames..frames + history, 0);
        down_centre.copy_within(frames..frames + half, 0);
    }
}

/// Parts the frames that meet the taps, every second one from `FIRST` on, from those that meet the centre.
fn part<const FIRST: usize>(input: &[Frame], taps: &mut [Frame], centre: &mut [Frame]) {
    for ((pair, tap), centre) in input.as_chunks::<2>().0.iter().zip(taps).zip(centre) {
        (*tap, *centre) = (pair[FIRST], pair[1 - FIRST]);
    }
}

/// The inner loop of [`Doubling::up`]. Wider registers, where the machine has them, give the same bytes: each sum is
/// added up in the same order, and nothing is fused. The sums are laid down before they are mixed with what lies between
/// them: summed straight into place, they are made two at a time.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn double(taps: &[f64], line: &[Frame], output: &mut [Frame]) {
    for (piece, output) in output.chunks_mut(2 * CHUNK).enumerate() {
        let line = &line[piece * CHUNK..];
        let mut even = [[0.0; 2 * STRIP]; CHUNK / STRIP];
        for (strip, even) in even.iter_mut().take(output.len() / (2 * STRIP)).enumerate() {
            let mut sums = fold(taps, 2 * taps.len(), &line[strip * STRIP..]);
            sums.iter_mut().for_each(|sum| *sum *= 2.0);
            *even = sums;
        }
        let even = even.as_flattened().as_chunks::<2>().0;
        for ((pair, even), odd) in output.as_chunks_mut::<2>().0.iter_mut().zip(even).zip(&line[taps.len()..]) {
            *pair = [*even, *odd];
        }
    }
}

/// The inner loop of [`Doubling::down`].
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn halve(taps: &[f64], line: &[Frame], centre: &[Frame], output: &mut [Frame]) {
    for (strip, output) in output.as_chunks_mut::<STRIP>().0.iter_mut().enumerate() {
        let sums = fold(taps, 2 * taps.len(), &line[strip * STRIP..]);
        let centre = &centre[strip * STRIP..][..STRIP];
        for k in 0..STRIP {
            output[k] = [0.5 * centre[k][0] + sums[2 * k], 0.5 * centre[k][1] + sums[2 * k + 1]];
        }
    }
}

/// Symmetric sums for [`STRIP`] frames in a row, left and right in turn. The first of them is over `line[0..span]`: each
/// tap meets a frame from either end. (The middle frame of an odd span is the caller's.)
#[inline(always)]
#[must_use]
pub fn fold(taps: &[f64], span: usize, line: &[Frame]) -> [f64; 2 * STRIP] {
    let strips = line[..span - 1 + STRIP].windows(STRIP);
    let mut sums = [0.0; 2 * STRIP];
    for ((tap, old), new) in taps.iter().zip(strips.clone()).zip(strips.rev()) {
        let (old, new) = (old.as_flattened(), new.as_flattened());
        for k in 0..2 * STRIP {
            sums[k] += tap * (old[k] + new[k]);
        }
    }
    sums
}

/// The outer `half` taps beside the centre of a halfband filter of `4 * half - 1` taps, zeros left out, scaled so that
/// the response at 0 Hz is exactly one.
fn halfband(half: usize, beta: f64) -> Vec<f64> {
    let taps: Vec<f64> = (0..half)
        .map(|j| {
            let n = (2 * half - 1 - 2 * j) as f64;
            let sign = if (half - 1 - j).is_multiple_of(2) { 1.0 } else { -1.0 };
            let x = n / (2 * half) as f64;
            sign / (PI * n) * bessel_i0(beta * (1.0 - x * x).sqrt()) / bessel_i0(beta)
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    taps.iter().map(|tap| tap * 0.25 / sum).collect()
}

/// Modified Bessel function of the first kind, order 0, by its power series (Abramowitz and Stegun, 9.6.12).
pub fn bessel_i0(x: f64) -> f64 {
    let quarter_square = x * x / 4.0;
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-17 {
        term *= quarter_square / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

#[cfg(test)]
mod tests;
