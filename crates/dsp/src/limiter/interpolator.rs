//! The signal between its samples: interpolation in two steps, and bounds that say where none is needed.
//!
//! First the points half-way between samples, by a windowed sinc that is flat almost up to half the rate; then, from that
//! doubled signal, three points in each of its intervals, by short filters (the doubled signal has nothing in its upper
//! half). Together: eight points a sample. The windows are J. F. Kaiser's.
//!
//! Close to half the rate interpolation is a matter of taste: how large a burst at 0.49 of the rate is between its samples
//! depends on how far a meter looks. Filters of several reaches therefore read the crests that matter, and the largest
//! reading counts. Two filters differ only by what lies near half the rate, which passes through 0 at the samples and
//! moves like a half-wave between them; so one number corrects all points of a gap. From gap to gap its sign changes and
//! its size hardly, so a crest is read with the largest of these numbers added and taken away.
//!
//! Bounds: an interpolated point differs from the straight line between its neighbours by a filter of second
//! differences, so by at most the sum of that filter's magnitudes times the largest second difference. Corrections are, but
//! for a trace, filters of eighth differences, which are small where there is little near half the rate. What a bound
//! clears need not be interpolated, and skipping it changes nothing.
//!
//! Reading is done in single precision (1e-6, or 1e-5 dB): it is twice as fast and no signal passes through it.

use std::f64::consts::PI;

use multiversion::multiversion;

/// A frame in the precision of reading.
pub(super) type Point = [f32; 2];

/// Frames to each side of a half-way point.
pub(super) const REACH: usize = 64;
/// Kaiser's beta of that filter, and of the short ones.
const BETAS: [f64; 2] = [7.0, 8.0];
/// Other reaches that are tried where it matters, with their betas: the longer, the steeper. (Meters commonly have 96 taps
/// a phase; without the shortest reach they read onsets of tones near half the rate up to 0.04 dB over the ceiling.)
const OTHERS: [(usize, f64); 4] = [(48, 10.0), (96, 7.0), (176, 6.0), (LONG_REACH, 4.0)];
/// The longest reach.
pub(super) const LONG_REACH: usize = 320;
/// Doubled samples to each side of a fine point.
pub(super) const FINE_REACH: usize = 5;
/// Fine points inside an interval of the doubled signal.
const FINE: usize = 3;
/// Points of a gap: from one before its first frame to its last frame.
pub(super) const PER_GAP: usize = 2 * (FINE + 1) + 2;
/// Doubled samples that the points of a gap depend on.
pub(super) const PER_GAP_DOUBLED: usize = 2 * FINE_REACH + 2;

/// Taps, and the bounds that follow from them.
#[derive(Clone, Debug)]
pub(super) struct Interpolator {
    /// Weights of the frames at distance 1/2, 3/2, ... to either side.
    half: [f32; REACH],
    /// What the other reaches add to these weights, once for each channel.
    corrections: [Vec<Point>; OTHERS.len()],
    /// For each doubled sample its weights in the points of a gap, once for each channel.
    gap: [[Point; PER_GAP]; PER_GAP_DOUBLED],
    /// The half-wave along a gap.
    half_wave: [f32; PER_GAP],
    /// Largest deviation of a half-way point from the mean of its neighbours, in largest second differences.
    half_bend: f32,
    /// The same for fine points, in second differences of the doubled signal.
    fine_bend: f32,
    /// Largest correction, in largest second differences and in largest eighth differences, which add.
    correction_bends: [f32; 2],
}

impl Interpolator {
    pub(super) fn new() -> Self {
        let half = half_taps(REACH, BETAS[0]);
        let others = OTHERS.map(|(reach, beta)| half_taps(reach, beta));
        let corrections = others.each_ref().map(|taps| difference(taps, &half));
        let fine: [_; FINE] = std::array::from_fn(|point| fine_taps((point + 1) as f64 / (FINE + 1) as f64));
        let fine_bends = (0..FINE).map(|point| bend_bound(&fine[point], (point + 1) as f64 / (FINE + 1) as f64));
        let half_bends = others.iter().chain([&half]).map(|taps| bend_bound(&mirrored(taps), 0.5));
        let bends = corrections.each_ref().map(|taps| eighth_bound(&mirrored(taps)));
        let largest = |index: usize| bends.iter().map(|bend| bend[index]).fold(0.0, f64::max) as f32;
        let both = |taps: &[f64]| taps.iter().map(|tap| [*tap as f32; 2]).collect::<Vec<_>>();
        Self {
            half: std::array::from_fn(|k| half[k] as f32),
            half_bend: half_bends.fold(0.0, f64::max) as f32,
            fine_bend: fine_bends.fold(0.0, f64::max) as f32,
            correction_bends: [largest(0), largest(1)],
            corrections: corrections.each_ref().map(|taps| both(taps)),
            gap: gap_taps(&fine),
            half_wave: std::array::from_fn(|at| libm::sin(PI * (at as f64 - 1.0) / (2.0 * (FINE + 1) as f64)) as f32),
        }
    }

    /// Upper bound of everything between the samples, from the largest magnitude and the largest second difference.
    pub(super) fn bound(&self, magnitude: f32, bend: f32) -> f32 {
        let doubled_bend = (0.5 + 2.0 * self.half_bend) * bend;
        magnitude + self.half_bend * bend + self.fine_bound(doubled_bend)
    }

    /// How far fine points may rise above the doubled samples beside them.
    pub(super) fn fine_bound(&self, doubled_bend: f32) -> f32 {
        self.fine_bend * doubled_bend
    }

    /// How far readings of the other reaches may rise above the usual one.
    pub(super) fn correction_bound(&self, bend: f32, eighth: f32) -> f32 {
        self.correction_bends[0] * bend + self.correction_bends[1] * eighth
    }

    /// The points half-way between `x[i + REACH - 1]` and `x[i + REACH]`.
    pub(super) fn half_way(&self, x: &[Point], out: &mut [Point]) {
        half_way(&self.half, x, out);
    }

    /// The most that any other reach adds to, or takes from, the point half-way between `x[LONG_REACH - 1]` and
    /// `x[LONG_REACH]`.
    pub(super) fn correction(&self, x: &[Point]) -> Point {
        let mut pairs = [[0.0; 2]; LONG_REACH];
        let (before, after) = x[..2 * LONG_REACH].split_at(LONG_REACH);
        for ((pair, a), b) in pairs.iter_mut().zip(before.iter().rev()).zip(after) {
            *pair = [a[0] + b[0], a[1] + b[1]];
        }
        self.corrections.iter().fold([0.0; 2], |most, taps| {
            let added = dot(taps, &pairs);
            [most[0].max(added[0].abs()), most[1].max(added[1].abs())]
        })
    }

    /// The points of the gap between the frames `v[FINE_REACH]` and `v[FINE_REACH + 2]`.
    #[inline]
    pub(super) fn gap(&self, v: &[Point; PER_GAP_DOUBLED]) -> [Point; PER_GAP] {
        let mut points = [[0.0; 2]; PER_GAP];
        for (weights, frame) in self.gap.iter().zip(v) {
            for (point, weight) in points.iter_mut().zip(weights) {
                *point = [point[0] + weight[0] * frame[0], point[1] + weight[1] * frame[1]];
            }
        }
        points
    }

    /// The points of a gap as another reach reads them.
    pub(super) fn corrected(&self, points: &[Point; PER_GAP], correction: Point) -> [Point; PER_GAP] {
        let mut corrected = *points;
        for (point, wave) in corrected.iter_mut().zip(&self.half_wave) {
            *point = [point[0] + wave * correction[0], point[1] + wave * correction[1]];
        }
        corrected
    }
}

/// The loop of [`Interpolator::half_way`]. Wider registers give the same bytes: each sum is added up in the same order, and
/// nothing is fused.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn half_way(half: &[f32; REACH], x: &[Point], out: &mut [Point]) {
    /// Taps taken in one go over the points, so that a point is fetched and put back less often.
    const STEP: usize = 4;
    out.fill([0.0; 2]);
    let out = out.as_flattened_mut();
    let count = out.len();
    for (step, taps) in half.chunks_exact(STEP).enumerate() {
        let from = step * STEP;
        let before: [&[f32]; STEP] = std::array::from_fn(|k| &x[REACH - 1 - from - k..].as_flattened()[..count]);
        let after: [&[f32]; STEP] = std::array::from_fn(|k| &x[REACH + from + k..].as_flattened()[..count]);
        for at in 0..count {
            let mut sum = out[at];
            for k in 0..STEP {
                sum += taps[k] * (before[k][at] + after[k][at]);
            }
            out[at] = sum;
        }
    }
}

/// Sum of weighted points, in strands that the compiler can run side by side.
fn dot(taps: &[Point], points: &[Point]) -> Point {
    let mut strands = [[0.0_f32; 2]; 8];
    for (taps, points) in taps.chunks_exact(8).zip(points.chunks_exact(8)) {
        for (strand, (tap, point)) in strands.iter_mut().zip(taps.iter().zip(points)) {
            strand[0] += tap[0] * point[0];
            strand[1] += tap[1] * point[1];
        }
    }
    strands.iter().fold([0.0; 2], |sum, strand| [sum[0] + strand[0], sum[1] + strand[1]])
}

/// Weights of one side of a half-way point; both sides sum to 1.
fn half_taps(reach: usize, beta: f64) -> Vec<f64> {
    let mut taps: Vec<f64> = (0..reach).map(|k| windowed_sinc(k as f64 + 0.5, reach as f64, beta)).collect();
    let sum: f64 = taps.iter().sum();
    taps.iter_mut().for_each(|tap| *tap *= 0.5 / sum);
    taps
}

/// `taps - base`, the shorter of them going on with zeros.
fn difference(taps: &[f64], base: &[f64]) -> Vec<f64> {
    let at = |taps: &[f64], k: usize| taps.get(k).copied().unwrap_or(0.0);
    (0..taps.len().max(base.len())).map(|k| at(taps, k) - at(base, k)).collect()
}

/// Both sides of a half-way point.
fn mirrored(taps: &[f64]) -> Vec<f64> {
    taps.iter().rev().chain(taps).copied().collect()
}

/// sin(pi x) / (pi x) under a Kaiser window that ends at `reach`.
fn windowed_sinc(x: f64, reach: f64, beta: f64) -> f64 {
    let sinc = if x == 0.0 { 1.0 } else { libm::sin(PI * x) / (PI * x) };
    sinc * bessel_i0(beta * (1.0 - (x / reach) * (x / reach)).max(0.0).sqrt()) / bessel_i0(beta)
}

/// Modified Bessel function of the first kind and order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..60 {
        term *= quarter / f64::from(k * k);
        sum += term;
    }
    sum
}

/// Taps for a point at `share` of an interval, exact for constants and straight lines.
fn fine_taps(share: f64) -> [f64; 2 * FINE_REACH] {
    let offset = |tap: usize| tap as f64 - (FINE_REACH - 1) as f64;
    let mut taps: [f64; 2 * FINE_REACH] =
        std::array::from_fn(|tap| windowed_sinc(share - offset(tap), FINE_REACH as f64, BETAS[1]));
    let sum: f64 = taps.iter().sum();
    taps.iter_mut().for_each(|tap| *tap /= sum);
    let moment: f64 = taps.iter().enumerate().map(|(tap, weight)| weight * offset(tap)).sum();
    taps[FINE_REACH - 1] += moment - share;
    taps[FINE_REACH] -= moment - share;
    taps
}

/// The weights of doubled samples in the points of a gap, from those of the points inside an interval.
fn gap_taps(fine: &[[f64; 2 * FINE_REACH]; FINE]) -> [[Point; PER_GAP]; PER_GAP_DOUBLED] {
    let weight = |sample: usize, point: usize| {
        // Point 0 is the last of the interval before the gap's first frame.
        let (interval, inside) = ((point + FINE) / (FINE + 1), (point + FINE) % (FINE + 1));
        let at = sample.wrapping_sub(interval);
        match inside {
            0 => f64::from(u8::from(at == FINE_REACH - 1)),
            _ => fine[inside - 1].get(at).copied().unwrap_or(0.0),
        }
    };
    std::array::from_fn(|sample| std::array::from_fn(|point| [weight(sample, point) as f32; 2]))
}

/// Sum of the magnitudes of the filter of second differences by which taps differ from the straight line.
fn bend_bound(taps: &[f64], share: f64) -> f64 {
    let left = taps.len() / 2 - 1;
    let mut rest = taps.to_vec();
    rest[left] -= 1.0 - share;
    rest[left + 1] -= share;
    without_bend(&rest).iter().map(|tap| tap.abs()).sum()
}

/// The filter which, after second differences, does what taps do that sum to nothing and balance.
fn without_bend(taps: &[f64]) -> Vec<f64> {
    let (mut slope, mut value) = (0.0, 0.0);
    let summed = taps.iter().map(|tap| {
        slope += tap;
        value += slope;
        value
    });
    summed.collect()
}

/// Bounds for what symmetrical taps that sum to nothing give: a factor for the largest second difference and one for the
/// largest eighth difference. Each division by second differences leaves the taps' sum over, which acts on these.
fn eighth_bound(taps: &[f64]) -> [f64; 2] {
    let mut rest = without_bend(taps);
    let mut second = 0.0;
    // A further second difference is at most four times as large as what it is taken from.
    for scale in [1.0, 4.0, 16.0] {
        // The last two sums of symmetrical taps are nothing; without them the rest is symmetrical again.
        rest.truncate(rest.len() - 2);
        let sum: f64 = rest.iter().sum();
        second += scale * sum.abs();
        let middle = rest.len() / 2;
        rest[middle - 1] -= sum / 2.0;
        rest[middle] -= sum / 2.0;
        rest = without_bend(&rest);
    }
    [second, rest.iter().map(|tap| tap.abs()).sum()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::noise;

    #[test]
    fn tones_are_interpolated_within_a_hundredth_of_a_decibel() {
        let interpolator = Interpolator::new();
        for share in [0.001, 0.01, 0.1, 0.25, 0.4, 0.45, 0.47, 0.48] {
            let mut worst = 0.0_f64;
            for phase in 0..16 {
                let at = |t: f64| libm::cos(2.0 * PI * (share * t + f64::from(phase) / 16.0));
                let x: Vec<Point> = (0..200).map(|n| [at(f64::from(n)) as f32; 2]).collect();
                let mut half = [[0.0; 2]; 6];
                interpolator.half_way(&x, &mut half);
                let doubled = std::array::from_fn(|n| if n % 2 == 1 { x[REACH + n / 2] } else { half[n / 2] });
                for (at_point, point) in interpolator.gap(&doubled).iter().enumerate() {
                    let t = (REACH + 2) as f64 + (at_point as f64 - 1.0) / 8.0;
                    worst = worst.max((f64::from(point[0]) - at(t)).abs());
                }
            }
            // 0.00115 of full scale is 0.01 dB.
            assert!(worst < 0.001_15, "{share}: {worst}");
        }
    }

    #[test]
    fn bounds_hold_for_random_signs() {
        let interpolator = Interpolator::new();
        for seed in 0..2000 {
            let x: Vec<Point> = noise(2 * LONG_REACH, seed).iter().map(|x| [x.signum() as f32; 2]).collect();
            let mut half = [[0.0; 2]; 1];
            interpolator.half_way(&x[LONG_REACH - REACH..], &mut half);
            let largest = half[0][0].abs() + interpolator.correction(&x)[0];
            assert!(largest <= interpolator.bound(1.0, 4.0) + interpolator.correction_bound(4.0, 256.0));
        }
    }
}
