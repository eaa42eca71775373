//! The Fourier transform of a power of two of complex numbers, real and imaginary parts apart, so that it becomes vector
//! code.
//!
//! Stockham's order, four at a time (Van Loan, "Computational Frameworks for the Fast Fourier Transform", 1992, sections
//! 1.7 and 2.4): every pass reads and writes straight runs, and what comes out is in natural order. Wider registers give
//! the same bytes: every number is worked out by the same operations, and nothing is fused.

use std::f64::consts::TAU;

use multiversion::multiversion;

/// Complex numbers, parts apart. One more stands at the end than the transform is long: room for a copy of the first.
#[derive(Clone)]
pub(crate) struct Planes {
    pub(crate) re: Vec<f64>,
    pub(crate) im: Vec<f64>,
}

impl Planes {
    /// Zeros, for transforms of up to `size`.
    pub(crate) fn new(size: usize) -> Self {
        Self { re: vec![0.0; size + 1], im: vec![0.0; size + 1] }
    }

    fn exchange(&mut self) {
        std::mem::swap(&mut self.re, &mut self.im);
    }
}

/// Numbers that the arithmetic takes at a time.
type Four = [f64; 4];

/// Complex numbers that the arithmetic takes at a time.
type Fours = [Four; 2];

/// The transform of one size, of 16 or more.
pub(crate) struct Transform {
    size: usize,
    /// `exp(-2 pi i k p / size)` for k = 1, 2, 3, real and imaginary parts, each for p below a quarter of the size.
    turns: [[Vec<f64>; 2]; 3],
}

impl Transform {
    pub(crate) fn new(size: usize) -> Self {
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
    pub(crate) fn forward(&self, data: &mut Planes, spare: &mut Planes) {
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

    /// The same with the sign turned, and so `size` times the inverse.
    pub(crate) fn backward(&self, data: &mut Planes, spare: &mut Planes) {
        data.exchange();
        self.forward(data, spare);
        data.exchange();
    }
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

/// Four runs of `length` fours, the first from `from` on, each a quarter of the plane after the one before.
#[inline(always)]
fn runs(plane: &[Four], from: usize, length: usize) -> [&[Four]; 4] {
    let quarter = plane.len() / 4;
    [
        &plane[from..][..length],
        &plane[from + quarter..][..length],
        &plane[from + 2 * quarter..][..length],
        &plane[from + 3 * quarter..][..length],
    ]
}

/// Four runs of `length` fours, one after the other.
#[inline(always)]
fn runs_mut(plane: &mut [Four], from: usize, length: usize) -> [&mut [Four]; 4] {
    let (low, high) = plane[from..][..4 * length].split_at_mut(2 * length);
    let ((a, b), (c, d)) = (low.split_at_mut(length), high.split_at_mut(length));
    [a, b, c, d]
}

/// The pass whose results lie four apart.
#[multiversion(targets("x86_64+avx2"))]
fn first_pass(turns: &[[Vec<f64>; 2]; 3], size: usize, from: &Planes, to: &mut Planes) {
    let fours = size / 16;
    let (re, im) = (from.re[..size].as_chunks::<4>().0, from.im[..size].as_chunks::<4>().0);
    let ([a, b, c, d], [ai, bi, ci, di]) = (runs(re, 0, fours), runs(im, 0, fours));
    let [[u, ui], [v, vi], [w, wi]] = turns;
    let (u, ui) = (&u.as_chunks::<4>().0[..fours], &ui.as_chunks::<4>().0[..fours]);
    let (v, vi) = (&v.as_chunks::<4>().0[..fours], &vi.as_chunks::<4>().0[..fours]);
    let (w, wi) = (&w.as_chunks::<4>().0[..fours], &wi.as_chunks::<4>().0[..fours]);
    let to_re = &mut to.re[..size].as_chunks_mut::<16>().0[..fours];
    let to_im = &mut to.im[..size].as_chunks_mut::<16>().0[..fours];
    for p in 0..fours {
        let numbers = [[a[p], ai[p]], [b[p], bi[p]], [c[p], ci[p]], [d[p], di[p]]];
        let results = butterfly(numbers, [[u[p], ui[p]], [v[p], vi[p]], [w[p], wi[p]]]);
        for k in 0..4 {
            for i in 0..4 {
                to_re[p][4 * k + i] = results[i][0][k];
                to_im[p][4 * k + i] = results[i][1][k];
            }
        }
    }
}

/// A pass whose results lie in runs of `stride`, four or more.
#[multiversion(targets("x86_64+avx2"))]
fn pass(turns: &[[Vec<f64>; 2]; 3], size: usize, stride: usize, from: &Planes, to: &mut Planes) {
    let (from_re, from_im) = (from.re[..size].as_chunks::<4>().0, from.im[..size].as_chunks::<4>().0);
    let (to_re, to_im) = (to.re[..size].as_chunks_mut::<4>().0, to.im[..size].as_chunks_mut::<4>().0);
    let fours = stride / 4;
    let [[u, ui], [v, vi], [w, wi]] = turns;
    for run in (0..size / 4).step_by(stride) {
        let turns = [[[u[run]; 4], [ui[run]; 4]], [[v[run]; 4], [vi[run]; 4]], [[w[run]; 4], [wi[run]; 4]]];
        let ([a, b, c, d], [ai, bi, ci, di]) = (runs(from_re, run / 4, fours), runs(from_im, run / 4, fours));
        let ([e, f, g, h], [ei, fi, gi, hi]) = (runs_mut(to_re, run, fours), runs_mut(to_im, run, fours));
        for q in 0..fours {
            let numbers = [[a[q], ai[q]], [b[q], bi[q]], [c[q], ci[q]], [d[q], di[q]]];
            [[e[q], ei[q]], [f[q], fi[q]], [g[q], gi[q]], [h[q], hi[q]]] = butterfly(numbers, turns);
        }
    }
}

/// What is left of a size that is no power of four.
#[multiversion(targets("x86_64+avx2"))]
fn last_pair(size: usize, data: &mut Planes) {
    for plane in [&mut data.re, &mut data.im] {
        let (low, high) = plane[..size].split_at_mut(size / 2);
        for (a, b) in low.iter_mut().zip(high) {
            (*a, *b) = (*a + *b, *a - *b);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustfft::{FftPlannerScalar, num_complex::Complex};

    fn noise(size: usize) -> Planes {
        let mut planes = Planes::new(size);
        for n in 0..size {
            planes.re[n] = libm::sin((n * n) as f64);
            planes.im[n] = libm::cos(1.3 * (n * n) as f64);
        }
        planes
    }

    #[test]
    fn it_is_the_transform() {
        // Against the library rustfft.
        for size in [16, 32, 64, 128, 2048, 4096, 32_768] {
            let (mut data, mut spare) = (noise(size), Planes::new(size));
            let mut expected: Vec<_> = (0..size).map(|n| Complex::new(data.re[n], data.im[n])).collect();
            FftPlannerScalar::new().plan_fft_forward(size).process(&mut expected);
            Transform::new(size).forward(&mut data, &mut spare);
            let worst =
                (0..size).map(|k| (Complex::new(data.re[k], data.im[k]) - expected[k]).norm()).fold(0.0, f64::max);
            assert!(worst < 1e-15 * (size as f64).sqrt() * 16.0, "{size}: {worst}");
        }
    }

    #[test]
    fn backward_undoes_forward() {
        let size = 2048;
        let transform = Transform::new(size);
        let (original, mut data, mut spare) = (noise(size), noise(size), Planes::new(size));
        transform.forward(&mut data, &mut spare);
        transform.backward(&mut data, &mut spare);
        for n in 0..size {
            let [re, im] = [data.re[n], data.im[n]].map(|x| x / size as f64);
            assert!((re - original.re[n]).abs() < 1e-14 && (im - original.im[n]).abs() < 1e-14, "{n}");
        }
    }
}
