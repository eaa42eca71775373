//! True peak: the greatest value of the continuous signal between and at the samples.
//!
//! BS.1770-5, Annex 2 asks for at least four-fold oversampling and says what that misses: `20 log10 cos(pi f / n)`, up
//! to 0.55 dB at 0.45 of the rate for n = 4. This meter reads the interpolated signal itself: a windowed sinc of
//! [`TAPS`] taps, flat within 0.002 dB to 0.461 of the rate, on a grid of 1/32 sample with a parabola through the top.
//!
//! It is fast because it looks closely only where the maximum can be. If a signal without components above `s` cycles a
//! sample has the peak P, then at a distance d from it the signal is still at least `P cos(2 pi s d)` (Duffin and
//! Schaeffer 1938, "Some properties of functions of exponential type", Bull. AMS 44). So once a level L has been seen,
//! a grid with r points a sample must read at least `L cos(pi s / r)` next to any peak above L. The grid of half
//! samples is refined only above that bound, and again at each finer grid. Where the samples themselves are so small that
//! no value between them can reach the bound (none exceeds the largest sample times the sum of the weights' magnitudes),
//! that grid is not computed at all. Neither changes the reading.

use std::f64::consts::PI;

use multiversion::multiversion;
use units::Frame;

use crate::sinc;

/// Samples that each interpolated value draws on.
pub const TAPS: usize = 2 * HALF;
const HALF: usize = 32;
/// Attenuation of the interpolator: ripple below 0.002 dB, transition 0.078 of the rate, so flat to 0.461.
const ATTENUATION_DB: f64 = 80.0;
/// Points a sample of the finest grid.
const GRID: usize = 32;
/// Upper end of the interpolator's band in cycles a sample (half the rate and half the transition), rounded up; what
/// leaks above it, 80 dB down, is covered by a further thousandth off each bound.
const BAND: f64 = 0.55;
const SLACK: f64 = 0.999;
/// Grids from half samples to the finest.
const LEVELS: usize = GRID.trailing_zeros() as usize;
/// Frames looked at in one go. Fixed, so that the reading does not depend on how the programme was cut.
const CHUNK: usize = 512;
/// Frames known on either side of the chunk: the interpolator's reach, and one more for the search.
const MARGIN: usize = HALF + 2;
const WINDOW: usize = CHUNK + 2 * MARGIN;
/// Frames tested at once against the bound.
const GROUP: usize = 16;
/// Groups of a chunk, and of a window.
const GROUPS: usize = CHUNK / GROUP;
const WINDOW_GROUPS: usize = WINDOW.div_ceil(GROUP);
/// Groups of the window, from the one with a chunk's group's number on, that hold all samples which its half-sample values
/// draw on.
const REACH_GROUPS: usize = (MARGIN + GROUP + HALF).div_ceil(GROUP);

/// A peak and where it lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Greatest magnitude, 1 at full scale.
    pub value: f64,
    /// Position in frames from the start, with its fraction. Slightly negative if a signal that starts with a jump
    /// rings before its first sample.
    pub at_frame: f64,
}

impl Peak {
    pub(crate) const NONE: Self = Self { value: 0.0, at_frame: 0.0 };

    /// Level in decibels; none for silence.
    #[must_use]
    pub fn db(&self) -> Option<f64> {
        (self.value > 0.0).then(|| units::db_from_gain(self.value))
    }
}

/// Streaming true-peak meter of two channels. Works at any sample rate.
#[derive(Clone)]
pub struct TruePeakMeter {
    tables: Box<Tables>,
    channels: [Channel; 2],
    /// Frames in the windows, and the programme's frame at which they start.
    filled: usize,
    first_frame: i64,
}

impl TruePeakMeter {
    /// A meter.
    #[must_use]
    pub fn new() -> Self {
        let filled = 2 * MARGIN;
        Self {
            tables: Box::new(Tables::new()),
            channels: [Channel::new(), Channel::new()],
            filled,
            first_frame: -(filled as i64),
        }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, mut frames: &[Frame]) {
        while !frames.is_empty() {
            let count = frames.len().min(WINDOW - self.filled);
            for (c, channel) in self.channels.iter_mut().enumerate() {
                let room = &mut channel.window[self.filled..][..count];
                room.iter_mut().zip(frames).for_each(|(sample, frame)| *sample = frame[c]);
            }
            self.filled += count;
            frames = &frames[count..];
            if self.filled == WINDOW {
                self.look();
                self.filled -= CHUNK;
                self.first_frame += CHUNK as i64;
            }
        }
    }

    /// Looks at the windows and makes room. Where both channels hold the same, as in most stems, one look does for both.
    fn look(&mut self) {
        let [left, right] = &mut self.channels;
        let alike = left.window == right.window && left.peak == right.peak;
        left.look(&self.tables, self.first_frame);
        if alike {
            right.peak = left.peak;
        } else {
            right.look(&self.tables, self.first_frame);
        }
        for channel in &mut self.channels {
            channel.window.copy_within(CHUNK.., 0);
        }
    }

    /// The peaks of left and right once all frames are in. The signal counts as silent before and after.
    #[must_use]
    pub fn finish(mut self) -> [Peak; 2] {
        self.push(&[units::SILENCE; WINDOW]);
        self.peaks()
    }

    /// The peaks of left and right up to now, but for the last few hundred frames.
    #[must_use]
    pub fn peaks(&self) -> [Peak; 2] {
        [self.channels[0].peak, self.channels[1].peak]
    }
}

impl Default for TruePeakMeter {
    fn default() -> Self {
        Self::new()
    }
}

/// The interpolator at every point of the finest grid, its half for the point between two samples (which is
/// symmetric), the bounds, and how far a value half-way may exceed all samples.
#[derive(Clone)]
struct Tables {
    grid: [[f64; TAPS]; GRID],
    half_step: [f64; HALF],
    bounds: [f64; LEVELS],
    swing: f64,
}

impl Tables {
    fn new() -> Self {
        let beta = sinc::kaiser_beta(ATTENUATION_DB);
        let mut grid = [[0.0; TAPS]; GRID];
        for (phase, row) in grid.iter_mut().enumerate() {
            row.copy_from_slice(&sinc::weights(phase as f64 / GRID as f64, HALF, beta));
        }
        let mut half_step = [0.0; HALF];
        half_step.copy_from_slice(&grid[GRID / 2][HALF..]);
        // A millionth more, for rounding.
        let swing = 2.000_002 * half_step.iter().map(|weight| weight.abs()).sum::<f64>();
        Self { grid, half_step, bounds: nearest_grid_bounds(), swing }
    }

    /// The interpolated value at a place in grid points from the start of the window.
    fn value(&self, window: &[f64], place: usize) -> f64 {
        let row = &self.grid[place % GRID];
        let samples = &window[place / GRID + 1 - HALF..][..TAPS];
        let mut sums = [0.0; 8];
        for (weights, samples) in row.chunks_exact(8).zip(samples.chunks_exact(8)) {
            for k in 0..8 {
                sums[k] += weights[k] * samples[k];
            }
        }
        ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]))
    }
}

/// One channel's samples around the chunk in hand, the values half-way between them, and its peak so far.
#[derive(Clone)]
struct Channel {
    window: Vec<f64>,
    /// `between[k]` is the value half a sample after sample `MARGIN - 1 + k` of the window.
    between: Vec<f64>,
    peak: Peak,
}

impl Channel {
    fn new() -> Self {
        Self { window: vec![0.0; WINDOW], between: vec![0.0; CHUNK + 1], peak: Peak::NONE }
    }

    /// Searches the chunk between the margins.
    fn look(&mut self, tables: &Tables, first_frame: i64) {
        let mut loudest = [0.0; WINDOW_GROUPS];
        group_peaks(&self.window, &mut loudest);
        // Half-sample values come in strips, the strip of a group from `between[GROUP * group]` on. These are known.
        let mut strips = 0;
        for group in 0..GROUPS {
            let bound = self.peak.value * tables.bounds[0];
            let near = loudest[group..][..REACH_GROUPS].iter().fold(0.0, |most: f64, x| most.max(*x));
            if near * tables.swing <= bound {
                continue;
            }
            for strip in strips.max(group)..group + 2 {
                let at = (GROUP * strip).min(CHUNK + 1 - GROUP);
                let samples = &self.window[MARGIN + at - HALF..][..GROUP + TAPS - 1];
                half_way(&tables.half_step, samples, &mut self.between[at..at + GROUP]);
            }
            strips = group + 2;
            let start = MARGIN + GROUP * group;
            let samples = &self.window[start..][..GROUP];
            let between = &self.between[start + 1 - MARGIN..][..GROUP];
            if greatest(samples).max(greatest(between)) > bound {
                self.search(tables, start, first_frame);
            }
        }
    }

    /// Refines the tops of the half-sample grid in a group of samples.
    fn search(&mut self, tables: &Tables, start: usize, first_frame: i64) {
        for i in start..start + GROUP {
            let [before, at] = [self.between[i - MARGIN], self.between[i + 1 - MARGIN]];
            let [sample, next] = [self.window[i], self.window[i + 1]];
            if is_top(before, sample, at) {
                self.refine(tables, i * GRID, sample, first_frame);
            }
            if is_top(sample, at, next) {
                self.refine(tables, i * GRID + GRID / 2, at, first_frame);
            }
        }
    }

    /// Climbs from a top of the half-sample grid, at `place` in grid points, to the top of the finest grid, and through
    /// the parabola there. Gives up as soon as the bound of a grid says that no new peak lies near.
    fn refine(&mut self, tables: &Tables, mut place: usize, value: f64, first_frame: i64) {
        let sign = 1.0f64.copysign(value);
        let mut height = value.abs();
        let mut sides = [0.0; 2];
        for (level, bound) in tables.bounds.into_iter().enumerate() {
            if height <= self.peak.value * bound {
                return;
            }
            let step = (GRID / 4) >> level;
            if step == 0 {
                break;
            }
            sides = [place - step, place + step].map(|at| sign * tables.value(&self.window, at));
            let up = usize::from(sides[1] > sides[0]);
            if sides[up] > height {
                let behind = height;
                height = sides[up];
                place = place + 2 * step * up - step;
                // At the finest step the parabola needs both neighbours of the new top.
                if step == 1 {
                    let ahead = sign * tables.value(&self.window, place + 2 * up - 1);
                    sides = if up == 1 { [behind, ahead] } else { [ahead, behind] };
                }
            }
        }
        let curve = sides[0] - 2.0 * height + sides[1];
        let offset = if curve < 0.0 { (0.5 * (sides[0] - sides[1]) / curve).clamp(-1.0, 1.0) } else { 0.0 };
        let value = height - 0.25 * (sides[0] - sides[1]) * offset;
        if value > self.peak.value {
            let at_frame = first_frame as f64 + (place as f64 + offset) / GRID as f64;
            self.peak = Peak { value, at_frame };
        }
    }
}

/// Values half-way between samples, each from [`TAPS`] samples around it. Wider registers, where the machine has them, give
/// the same bytes: each sum is added up in the same order, and nothing is fused.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn half_way(half_step: &[f64; HALF], samples: &[f64], out: &mut [f64]) {
    let mut sums = [0.0; GROUP];
    for (k, weight) in half_step.iter().enumerate() {
        let before = &samples[HALF - 1 - k..][..GROUP];
        let after = &samples[HALF + k..][..GROUP];
        for ((sum, x), y) in sums.iter_mut().zip(before).zip(after) {
            *sum += weight * (x + y);
        }
    }
    out.copy_from_slice(&sums);
}

/// Greatest magnitude in each group of a window.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn group_peaks(window: &[f64], peaks: &mut [f64; WINDOW_GROUPS]) {
    for (peak, group) in peaks.iter_mut().zip(window.chunks(GROUP)) {
        *peak = greatest(group);
    }
}

/// Greatest magnitude of a multiple of four samples; lanes of four let the compiler compare several samples at once.
#[inline(always)]
fn greatest(samples: &[f64]) -> f64 {
    let mut most = [0.0; 4];
    for four in samples.chunks_exact(4) {
        for (most, x) in most.iter_mut().zip(four) {
            *most = if x.abs() > *most { x.abs() } else { *most };
        }
    }
    most.into_iter().fold(0.0, f64::max)
}

/// What the nearest point of grids with 2, 4, 8, 16 and 32 points a sample must read, as a share of the peak beside it.
fn nearest_grid_bounds() -> [f64; LEVELS] {
    std::array::from_fn(|level| SLACK * libm::cos(PI * BAND / (2 << level) as f64))
}

/// Whether the middle of three values is a top of their magnitude, seen on its own side of zero.
fn is_top(before: f64, at: f64, after: f64) -> bool {
    let sign = 1.0f64.copysign(at);
    sign * at >= sign * before && sign * at >= sign * after
}

#[cfg(test)]
mod tests;
