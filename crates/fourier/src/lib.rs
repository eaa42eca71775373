//! The Fourier transform of a power of two of complex numbers, real and imaginary parts apart, so that it becomes vector
//! code.
//!
//! Stockham's order, four at a time (Van Loan, "Computational Frameworks for the Fast Fourier Transform", 1992, sections
//! 1.7 and 2.4): every pass reads and writes straight runs, and what comes out is in natural order. Wider registers give
//! the same bytes: every number is worked out by the same operations, and nothing is fused.

use std::f64::consts::TAU;

use multiversion::multiversion;

/// Numbers that the arithmetic takes at a time.
type Four = [f64; 4];

/// Four complex numbers: their real parts, their imaginary parts. As long as a cache line, so that runs which lie a power
/// of two apart, and meet in the same few places of the cache, are half as many.
pub type Fours = [Four; 2];

/// Complex numbers.
#[derive(Clone, Debug)]
pub struct Numbers(pub Vec<Fours>);

impl Numbers {
    /// Zeros, of any count; the last group is filled up.
    #[must_use]
    pub fn new(count: usize) -> Self {
        Self(vec![[[0.0; 4]; 2]; count.div_ceil(4)])
    }

    /// Real and imaginary part of a number.
    #[must_use]
    pub fn get(&self, at: usize) -> [f64; 2] {
        [0, 1].map(|part| self.0[at / 4][part][at % 4])
    }

    /// Puts a number in its place.
    pub fn set(&mut self, at: usize, parts: [f64; 2]) {
        for (part, x) in parts.into_iter().enumerate() {
            self.0[at / 4][part][at % 4] = x;
        }
    }
}

/// The transform of one size, of 16 or more.
#[derive(Debug)]
pub struct Transform {
    size: usize,
    /// `exp(-2 pi i k p / size)` for k = 1, 2, 3, real and imaginary parts, each for p below a quarter of the size.
    turns: [[Vec<f64>; 2]; 3],
}

impl Transform {
    /// The transform of so many numbers.
    ///
    /// # Panics
    /// If the size is no power of two, or below 16.
    #[must_use]
    pub fn new(size: usize) -> Self {
        assert!(size.is_power_of_two() && size >= 16, "a transform of {size}");
        let angle = |k: usize, p: usize| TAU * (k * p % size) as f64 / size as f64;
        let turns = [1, 2, 3].map(|k| {
            let points = 0..size / 4;
            [
                points.clone().map(|p| libm::cos(angle(k, p))).collect(),
                points.map(|p| -libm::sin(angle(k, p))).collect(),
            ]
        });
        Self { size, turns }
    }

    /// `X[k] = sum x[n] exp(-2 pi i k n / size)`, in place.
    ///
    /// To go back, exchange real and imaginary parts before and after; that gives `size` times the inverse. Both must hold
    /// `size` numbers or more; what is in `spare` is lost.
    pub fn forward(&self, data: &mut Numbers, spare: &mut Numbers) {
        first_pass(&self.turns, self.size, data, spare);
        std::mem::swap(data, spare);
        let mut stride = 4;
        while 4 * stride <= self.size {
            pass(&self.turns, self.size, stride, data, spare);
            std::mem::swap(data, spare);
            stride *= 4;
        }
        if stride < self.size {
            last_pair(self.size, data);
        }
    }
}

/// Four numbers in falling order, the first of them the first of a group: `X[4 group]`, `X[4 group - 1]`, and so on.
#[inline(always)]
#[must_use]
pub fn mirrored(numbers: &[Fours], group: usize) -> Fours {
    let ([re, im], [before_re, before_im]) = (numbers[group], numbers[group - 1]);
    [[re[0], before_re[3], before_re[2], before_re[1]], [im[0], before_im[3], before_im[2], before_im[1]]]
}

#[inline(always)]
fn plus(a: Fours, b: Fours) -> Fours {
    let mut sum = a;
    for part in 0..2 {
        for k in 0..4 {
            sum[part][k] += b[part][k];
        }
    }
    sum
}

#[inline(always)]
fn minus(a: Fours, b: Fours) -> Fours {
    let mut difference = a;
    for part in 0..2 {
        for k in 0..4 {
            difference[part][k] -= b[part][k];
        }
    }
    difference
}

#[inline(always)]
fn times(a: Fours, b: Fours) -> Fours {
    let mut product = [[0.0; 4]; 2];
    for k in 0..4 {
        product[0][k] = a[0][k] * b[0][k] - a[1][k] * b[1][k];
        product[1][k] = a[0][k] * b[1][k] + a[1][k] * b[0][k];
    }
    product
}

/// The transform of four numbers, turned.
#[inline(always)]
fn butterfly([a, b, c, d]: [Fours; 4], turns: [Fours; 3]) -> [Fours; 4] {
    let (even, odd) = (plus(a, c), minus(a, c));
    let (sum, [re, im]) = (plus(b, d), minus(b, d));
    // Multiplied by -i.
    let mut minus_re = re;
    for x in &mut minus_re {
        *x = -*x;
    }
    let quarter = [im, minus_re];
    [
        plus(even, sum),
        times(plus(odd, quarter), turns[0]),
        times(minus(even, sum), turns[1]),
        times(minus(odd, quarter), turns[2]),
    ]
}

/// The pass whose results lie four apart.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn first_pass(turns: &[[Vec<f64>; 2]; 3], size: usize, from: &Numbers, to: &mut Numbers) {
    let count = size / 16;
    let [a, b, c, d] = quarters(&from.0[..size / 4], 0, count);
    let [[u, ui], [v, vi], [w, wi]] = turns;
    let (u, ui) = (&u.as_chunks::<4>().0[..count], &ui.as_chunks::<4>().0[..count]);
    let (v, vi) = (&v.as_chunks::<4>().0[..count], &vi.as_chunks::<4>().0[..count]);
    let (w, wi) = (&w.as_chunks::<4>().0[..count], &wi.as_chunks::<4>().0[..count]);
    let to = &mut to.0[..size / 4].as_chunks_mut::<4>().0[..count];
    for (strip, to) in to.chunks_mut(STRIP).enumerate() {
        let mut results = [[[[0.0; 4]; 2]; STRIP]; 4];
        let [e, f, g, h] = &mut results;
        for q in 0..to.len() {
            let p = STRIP * strip + q;
            let turns = [[u[p], ui[p]], [v[p], vi[p]], [w[p], wi[p]]];
            [e[q], f[q], g[q], h[q]] = butterfly([a[p], b[p], c[p], d[p]], turns);
        }
        for (q, to) in to.iter_mut().enumerate() {
            for part in 0..2 {
                let rows = transposed([0, 1, 2, 3].map(|i| results[i][q][part]));
                to.iter_mut().zip(rows).for_each(|(to, row)| to[part] = row);
            }
        }
    }
}

/// Groups of results of the first pass that are worked out before they are put in order: done together, the compiler mixes
/// both into three times as much code.
const STRIP: usize = 4;

/// Rows as columns, pairs at a time.
#[inline(always)]
fn transposed([e, f, g, h]: [Four; 4]) -> [Four; 4] {
    let (ef, fe) = ([e[0], f[0], e[2], f[2]], [e[1], f[1], e[3], f[3]]);
    let (gh, hg) = ([g[0], h[0], g[2], h[2]], [g[1], h[1], g[3], h[3]]);
    [
        [ef[0], ef[1], gh[0], gh[1]],
        [fe[0], fe[1], hg[0], hg[1]],
        [ef[2], ef[3], gh[2], gh[3]],
        [fe[2], fe[3], hg[2], hg[3]],
    ]
}

/// A pass whose results lie in runs of `stride`, four or more.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn pass(turns: &[[Vec<f64>; 2]; 3], size: usize, stride: usize, from: &Numbers, to: &mut Numbers) {
    let (from, to) = (&from.0[..size / 4], &mut to.0[..size / 4]);
    let count = stride / 4;
    let [[u, ui], [v, vi], [w, wi]] = turns;
    for run in (0..size / 4).step_by(stride) {
        let turns = [[[u[run]; 4], [ui[run]; 4]], [[v[run]; 4], [vi[run]; 4]], [[w[run]; 4], [wi[run]; 4]]];
        let [a, b, c, d] = quarters(from, run / 4, count);
        let (low, high) = to[run..][..4 * count].split_at_mut(2 * count);
        let ((e, f), (g, h)) = (low.split_at_mut(count), high.split_at_mut(count));
        for q in 0..count {
            [e[q], f[q], g[q], h[q]] = butterfly([a[q], b[q], c[q], d[q]], turns);
        }
    }
}

/// Four runs of `count`, the first from `from` on, each a quarter of the whole after the one before.
#[inline(always)]
fn quarters(whole: &[Fours], from: usize, count: usize) -> [&[Fours]; 4] {
    let quarter = whole.len() / 4;
    [
        &whole[from..][..count],
        &whole[from + quarter..][..count],
        &whole[from + 2 * quarter..][..count],
        &whole[from + 3 * quarter..][..count],
    ]
}

/// What is left of a size that is no power of four.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn last_pair(size: usize, data: &mut Numbers) {
    let (low, high) = data.0[..size / 4].split_at_mut(size / 8);
    for (a, b) in low.iter_mut().zip(high) {
        (*a, *b) = (plus(*a, *b), minus(*a, *b));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustfft::{FftPlannerScalar, num_complex::Complex};

    fn noise(size: usize) -> Numbers {
        let mut numbers = Numbers::new(size);
        for n in 0..size {
            numbers.set(n, [libm::sin((n * n) as f64), libm::cos(1.3 * (n * n) as f64)]);
        }
        numbers
    }

    #[test]
    fn it_is_the_transform() {
        // Against the library rustfft.
        for size in [16, 32, 64, 128, 2048, 4096, 32_768] {
            let (mut data, mut spare) = (noise(size), Numbers::new(size));
            let number = |data: &Numbers, k: usize| Complex::new(data.get(k)[0], data.get(k)[1]);
            let mut expected: Vec<_> = (0..size).map(|n| number(&data, n)).collect();
            FftPlannerScalar::new().plan_fft_forward(size).process(&mut expected);
            Transform::new(size).forward(&mut data, &mut spare);
            let worst = (0..size).map(|k| (number(&data, k) - expected[k]).norm()).fold(0.0, f64::max);
            assert!(worst < 1e-15 * (size as f64).sqrt() * 16.0, "{size}: {worst}");
        }
    }

    #[test]
    fn with_parts_exchanged_it_goes_back() {
        let size = 2048;
        let transform = Transform::new(size);
        let (original, mut data, mut spare) = (noise(size), noise(size), Numbers::new(size));
        for _ in 0..2 {
            transform.forward(&mut data, &mut spare);
            data.0.iter_mut().for_each(|four| four.swap(0, 1));
        }
        for n in 0..size {
            let (is, was) = (data.get(n), original.get(n));
            assert!((0..2).all(|part| (is[part] / size as f64 - was[part]).abs() < 1e-14), "{n}");
        }
    }
}
