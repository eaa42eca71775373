//! True peaks: for each frame the largest magnitude within one frame of it, between the samples too.
//!
//! Eight points a sample ([`super::interpolator`]), and a parabola through the highest and its neighbours: a sine near
//! half the rate is then read within 0.01 dB, where the filter printed in ITU-R BS.1770-5 (Annex 2: four points, twelve
//! taps) errs by +0.22 and -0.42 dB.

use multiversion::multiversion;

use super::interpolator::{FINE_REACH, Interpolator, LONG_REACH, PER_GAP, PER_GAP_DOUBLED, Point, REACH};
use units::Frame;

/// Frames read at once at most.
pub(super) const PIECE: usize = 128;
/// Frames by which a peak is known later than its frame.
pub(super) const DELAY: usize = LONG_REACH;
/// Frames before the first wanted one that its peak depends on.
const BEFORE: usize = LONG_REACH + 1;
/// Everything a piece depends on but itself.
const HISTORY: usize = BEFORE + DELAY;
/// Frames before the wanted ones at which the doubled signal begins, and those after them to which it goes.
const DOUBLED: [usize; 2] = [5, 3];
/// Frames that are kept before the oldest are dropped.
const KEPT: usize = 4096;
/// How far the true peak may lie above the eight points: 1 / cos(pi / 16) = 1.0196 at half the rate.
const BETWEEN_POINTS: f32 = 1.02;
/// Gaps whose samples and half-way points stay below this share of the ceiling are not looked into: what is band-limited
/// rises at most to 1 / cos(45 degrees) = 1.41 times its doubled samples.
const NEVER: f32 = 0.6;
/// Readings of the usual reach below this share of the ceiling are not corrected.
const NEVER_CORRECTED: f32 = 0.7;

/// Reads the peaks of a stream.
#[derive(Debug)]
pub(super) struct Peaks {
    interpolator: Interpolator,
    frames: Vec<Point>,
    /// Larger magnitude of both channels, frame by frame.
    magnitudes: Vec<f32>,
    /// Larger second difference of both channels, ending with the frame.
    bends: Vec<f32>,
    /// Larger eighth difference of both channels, ending with the frame.
    eighths: Vec<f32>,
    filled: usize,
}

impl Peaks {
    pub(super) fn new() -> Self {
        Self {
            interpolator: Interpolator::new(),
            frames: vec![[0.0; 2]; KEPT],
            magnitudes: vec![0.0; KEPT],
            bends: vec![0.0; KEPT],
            eighths: vec![0.0; KEPT],
            filled: HISTORY,
        }
    }

    pub(super) fn reset(&mut self) {
        self.frames.fill([0.0; 2]);
        self.magnitudes.fill(0.0);
        self.bends.fill(0.0);
        self.eighths.fill(0.0);
        self.filled = HISTORY;
    }

    /// Takes new frames and gives the peaks of those [`DELAY`] before them; 0 where nothing exceeds the ceiling.
    /// Tells whether anything does.
    pub(super) fn read(&mut self, new: &[Frame], ceiling: f64, peaks: &mut [f64]) -> bool {
        let ceiling = ceiling as f32;
        let from = self.take(new);
        peaks.fill(0.0);
        let wanted = from + BEFORE..from + BEFORE + new.len();
        let magnitude = largest(&self.magnitudes[wanted.start - DOUBLED[0]..wanted.end + DOUBLED[1] + 1]);
        let bend = largest(&self.bends[from..self.filled]);
        let eighth = largest(&self.eighths[from..self.filled]);
        // A twentieth more, for the parabolas.
        let corrections = 1.05 * self.interpolator.correction_bound(bend, eighth);
        if (self.interpolator.bound(magnitude, bend) + corrections) * BETWEEN_POINTS <= ceiling {
            return false;
        }
        let mut doubled = [[0.0; 2]; 2 * (PIECE + DOUBLED[0] + DOUBLED[1]) + 1];
        let doubled = &mut doubled[..2 * (new.len() + DOUBLED[0] + DOUBLED[1]) + 1];
        self.double(wanted.start - DOUBLED[0], doubled);
        self.read_gaps(wanted.start, doubled, corrections, ceiling, peaks)
    }

    /// Appends frames; gives the index of the first frame that the piece depends on.
    fn take(&mut self, new: &[Frame]) -> usize {
        if self.filled + new.len() > KEPT {
            let kept = self.filled - HISTORY..self.filled;
            self.frames.copy_within(kept.clone(), 0);
            self.magnitudes.copy_within(kept.clone(), 0);
            self.bends.copy_within(kept.clone(), 0);
            self.eighths.copy_within(kept, 0);
            self.filled = HISTORY;
        }
        let start = self.filled;
        self.filled += new.len();
        for (point, frame) in self.frames[start..self.filled].iter_mut().zip(new) {
            *point = [frame[0].clamp(-1e30, 1e30) as f32, frame[1].clamp(-1e30, 1e30) as f32];
        }
        self.measure(start);
        start - HISTORY
    }

    /// Magnitudes and differences of the frames from `start` on.
    fn measure(&mut self, start: usize) {
        let new = start..self.filled;
        let frames = &self.frames[start - 8..self.filled];
        let (magnitudes, bends) = (&mut self.magnitudes[new.clone()], &mut self.bends[new.clone()]);
        measure(frames, magnitudes, bends, &mut self.eighths[new]);
    }

    /// Frames from an index on and the points half-way to the next, by turns.
    fn double(&self, first: usize, doubled: &mut [Point]) {
        let gaps = doubled.len() / 2;
        let mut half = [[0.0; 2]; PIECE + DOUBLED[0] + DOUBLED[1]];
        self.interpolator.half_way(&self.frames[first + 1 - REACH..first + gaps + REACH], &mut half[..gaps]);
        for (at, frame) in self.frames[first..=first + gaps].iter().enumerate() {
            doubled[2 * at] = *frame;
        }
        for (at, point) in half[..gaps].iter().enumerate() {
            doubled[2 * at + 1] = *point;
        }
    }

    /// Looks into the gaps beside the wanted frames. Gap `k` of a piece lies after wanted frame `k - 2`.
    fn read_gaps(&self, first: usize, doubled: &[Point], corrections: f32, ceiling: f32, peaks: &mut [f64]) -> bool {
        let bend = doubled.windows(3).fold(0.0_f32, |bend, v| larger(bend, magnitude(second_difference(v))));
        let certain = ceiling / BETWEEN_POINTS - self.interpolator.fine_bound(bend) - corrections;
        let mut readings = [0.0; PIECE + 3];
        let readings = &mut readings[..peaks.len() + 3];
        self.read_usually(doubled, certain.max(NEVER * ceiling), ceiling, readings);
        let corrected_above = (ceiling - corrections).max(NEVER_CORRECTED * ceiling);
        let mut any = false;
        for gap in 1..readings.len() - 1 {
            let mut peak = readings[gap];
            if peak > corrected_above && peak >= readings[gap - 1] && peak >= readings[gap + 1] {
                peak = larger(peak, self.crest(first + gap - 2, &doubled[2 * gap + 1..], ceiling));
            }
            if peak > ceiling {
                any = true;
                let end = gap.min(peaks.len());
                for own in &mut peaks[gap.saturating_sub(2)..end] {
                    *own = own.max(f64::from(peak));
                }
            }
        }
        any
    }

    /// Peaks of gaps by the usual reach; 0 where everything lies below the gate.
    fn read_usually(&self, doubled: &[Point], gate: f32, ceiling: f32, readings: &mut [f32]) {
        for (reading, v) in readings.iter_mut().zip(doubled[1..].windows(PER_GAP_DOUBLED).step_by(2)) {
            let Some(v) = v.first_chunk() else { continue };
            let [first, middle, last] = [v[FINE_REACH], v[FINE_REACH + 1], v[FINE_REACH + 2]];
            if larger(magnitude(first), larger(magnitude(middle), magnitude(last))) > gate {
                *reading = peak_of(&self.interpolator.gap(v), ceiling);
            }
        }
    }

    /// Peak of the gap after a frame as the other reaches may read it.
    fn crest(&self, frame: usize, v: &[Point], ceiling: f32) -> f32 {
        let Some(v) = v.first_chunk() else { return 0.0 };
        let points = self.interpolator.gap(v);
        let correction = self.interpolator.correction(&self.frames[frame + 1 - LONG_REACH..=frame + LONG_REACH]);
        [1.0, -1.0].iter().fold(0.0, |peak, sign| {
            let added = correction.map(|c| sign * c);
            larger(peak, peak_of(&self.interpolator.corrected(&points, added), ceiling))
        })
    }
}

/// Magnitudes, second and eighth differences, the larger of both channels, of all frames but the first eight.
#[multiversion(targets("x86_64+avx2"))]
fn measure(frames: &[Point], magnitudes: &mut [f32], bends: &mut [f32], eighths: &mut [f32]) {
    for ((largest, bend), x) in magnitudes.iter_mut().zip(bends).zip(frames[6..].windows(3)) {
        *largest = magnitude(x[2]);
        *bend = magnitude(second_difference(x));
    }
    let mut differences = [[0.0; 2]; PIECE + 8];
    let differences = &mut differences[..frames.len()];
    differences.copy_from_slice(frames);
    let flat = differences.as_flattened_mut();
    for order in 1..=8 {
        for at in 0..flat.len() - 2 * order {
            flat[at] = flat[at + 2] - flat[at];
        }
    }
    for (eighth, d) in eighths.iter_mut().zip(differences) {
        *eighth = magnitude(*d);
    }
}

/// The largest of values that are 0 or above, in strands that the compiler can run side by side.
fn largest(values: &[f32]) -> f32 {
    let mut strands = [0.0_f32; 8];
    let chunks = values.chunks_exact(8);
    let rest = chunks.remainder();
    for chunk in chunks {
        for (strand, value) in strands.iter_mut().zip(chunk) {
            *strand = larger(*value, *strand);
        }
    }
    strands.iter().chain(rest).fold(0.0, |largest, value| largest.max(*value))
}

/// Peak of both channels in a gap; where it may exceed the ceiling, by parabolas through three points.
fn peak_of(points: &[Point; PER_GAP], ceiling: f32) -> f32 {
    let mut magnitudes = [[0.0; 2]; PER_GAP];
    for (magnitude, point) in magnitudes.iter_mut().zip(points) {
        *magnitude = [point[0].abs(), point[1].abs()];
    }
    let plain = magnitudes[1..].iter().fold([0.0; 2], |most, m| [larger(most[0], m[0]), larger(most[1], m[1])]);
    let mut peak = larger(plain[0], plain[1]);
    let close = ceiling / BETWEEN_POINTS;
    if peak > close {
        for v in magnitudes.windows(3) {
            for ((a, b), c) in v[0].iter().zip(v[1]).zip(v[2]) {
                if b > close {
                    peak = larger(peak, vertex(*a, b, c));
                }
            }
        }
    }
    peak
}

/// The larger of two numbers that are both numbers; `f32::max` also orders what is not, and is slower for it.
#[inline(always)]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Second difference of three points.
#[inline(always)]
fn second_difference(v: &[Point]) -> Point {
    [v[0][0] - 2.0 * v[1][0] + v[2][0], v[0][1] - 2.0 * v[1][1] + v[2][1]]
}

/// The larger magnitude of both channels.
#[inline(always)]
fn magnitude(point: Point) -> f32 {
    larger(point[0].abs(), point[1].abs())
}

/// Height of the parabola through three magnitudes of which the middle one is largest; otherwise 0.
fn vertex(a: f32, b: f32, c: f32) -> f32 {
    let curve = 2.0 * b - a - c;
    if b >= a && b >= c && curve > 0.0 { b + (a - c) * (a - c) / (8.0 * curve) } else { 0.0 }
}
