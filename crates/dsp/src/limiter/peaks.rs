//! True peaks: for each frame the largest magnitude within one frame of it, between the samples too.
//!
//! Eight points a sample ([`super::interpolator`]), and a parabola through the highest and its neighbours: a sine near
//! half the rate is then read within 0.01 dB, where the filter printed in ITU-R BS.1770-5 (Annex 2: four points, twelve
//! taps) errs by +0.22 and -0.42 dB.

use super::interpolator::{FINE_REACH, Interpolator, LONG_REACH, PER_GAP, Point, REACH, VARIANTS};
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
const DOUBLED: [usize; 2] = [4, 2];
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
            *point = frame.map(|x| x.clamp(-1e30, 1e30) as f32);
        }
        self.measure(start);
        start - HISTORY
    }

    /// Magnitudes and differences of the frames from `start` on.
    fn measure(&mut self, start: usize) {
        let measured = self.magnitudes[start..self.filled].iter_mut().zip(&mut self.bends[start..self.filled]);
        for ((magnitude, bend), x) in measured.zip(self.frames[start - 2..self.filled].windows(3)) {
            let of = |channel: usize| (x[0][channel] - 2.0 * x[1][channel] + x[2][channel]).abs();
            *magnitude = larger(x[2][0].abs(), x[2][1].abs());
            *bend = larger(of(0), of(1));
        }
        let mut differences = [[0.0; 2]; PIECE + 8];
        let differences = &mut differences[..self.filled - start + 8];
        differences.copy_from_slice(&self.frames[start - 8..self.filled]);
        for order in 1..=8 {
            for at in 0..differences.len() - order {
                let [a, b] = [differences[at], differences[at + 1]];
                differences[at] = [b[0] - a[0], b[1] - a[1]];
            }
        }
        for (eighth, d) in self.eighths[start..self.filled].iter_mut().zip(differences) {
            *eighth = larger(d[0].abs(), d[1].abs());
        }
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

    /// Looks into the gaps from the one before the frame before the first wanted one to the one after the last.
    fn read_gaps(&self, first: usize, doubled: &[Point], corrections: f32, ceiling: f32, peaks: &mut [f64]) -> bool {
        let doubled_bend = doubled.windows(3).fold(0.0_f32, |bend, v| {
            let of = |channel: usize| (v[0][channel] - 2.0 * v[1][channel] + v[2][channel]).abs();
            larger(bend, larger(of(0), of(1)))
        });
        let certain = ceiling / BETWEEN_POINTS - self.interpolator.fine_bound(doubled_bend) - corrections;
        let gate = certain.max(NEVER * ceiling);
        let corrected_above = (ceiling - corrections).max(NEVER_CORRECTED * ceiling);
        let mut before = [[0.0; 2]; VARIANTS];
        let mut any = false;
        for gap in 0..peaks.len() + 2 {
            let v = &doubled[2 * gap..2 * gap + 2 * FINE_REACH + 1];
            let middle = &v[FINE_REACH - 1..FINE_REACH + 2];
            if middle.iter().flatten().all(|v| v.abs() <= gate) {
                before = [[0.0; 2]; VARIANTS];
                continue;
            }
            let frame = first + gap - 2;
            let peak = self.gap_peak(frame, v, [corrected_above, ceiling], &mut before);
            if gap > 0 && peak > ceiling {
                any = true;
                // The gap after the frame before the first wanted one is number 1: it lies beside wanted frame 0 only.
                let end = gap.min(peaks.len());
                for own in &mut peaks[gap.saturating_sub(2)..end] {
                    *own = own.max(f64::from(peak));
                }
            }
        }
        any
    }

    /// Peak of the gap after a frame, in its largest reading. `before` is the last point of the gap before it.
    fn gap_peak(
        &self,
        frame: usize,
        v: &[Point],
        [corrected_above, ceiling]: [f32; 2],
        before: &mut [Point; VARIANTS],
    ) -> f32 {
        let points = self.interpolator.gap(v);
        let end = v[FINE_REACH + 1];
        let usual = peak_of(before[0], &points, end, ceiling);
        before[0] = points[PER_GAP - 1];
        if usual <= corrected_above {
            *before = [before[0]; VARIANTS];
            return usual;
        }
        let window = &self.frames[frame + 1 - LONG_REACH..=frame + LONG_REACH];
        let mut peak = usual;
        for (before, correction) in before[1..].iter_mut().zip(self.interpolator.corrections(window)) {
            let points = self.interpolator.corrected(&points, correction);
            peak = larger(peak, peak_of(*before, &points, end, ceiling));
            *before = points[PER_GAP - 1];
        }
        peak
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

/// Peak of both channels from the first of the points to the end; where it may exceed the ceiling, by a parabola through
/// three points.
fn peak_of(before: Point, points: &[Point; PER_GAP], end: Point, ceiling: f32) -> f32 {
    let mut magnitudes = [[0.0; 2]; PER_GAP + 2];
    magnitudes[0] = before.map(f32::abs);
    for (magnitude, point) in magnitudes[1..].iter_mut().zip(points) {
        *magnitude = point.map(f32::abs);
    }
    magnitudes[PER_GAP + 1] = end.map(f32::abs);
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
#[inline]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Height of the parabola through three magnitudes of which the middle one is largest; otherwise 0.
fn vertex(a: f32, b: f32, c: f32) -> f32 {
    let curve = 2.0 * b - a - c;
    if b >= a && b >= c && a > 0.0 && curve > 0.0 { b + (a - c) * (a - c) / (8.0 * curve) } else { 0.0 }
}
