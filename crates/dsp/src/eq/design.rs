//! From analogue sections to digital ones that do not cramp towards the Nyquist frequency.
//!
//! A digital section has to follow `|H(j w)|` up to 20 kHz, also at 44.1 kHz, where 20 kHz is 91 % of the Nyquist
//! frequency. The design has two steps, both fast enough to follow a ride.
//!
//! 1. **Matched roots.** Every analogue pole and zero `p` goes to `e^(pT)`, so resonances and nulls stand where they
//!    should. What is then still wrong is known: `|jw - p| / |1 - e^((p - jw)T)|`, the product of the images of `p` at
//!    multiples of the sample rate, which is smooth over the whole band.
//! 2. **A fitted correction.** One more minimum-phase section, `P(φ)/Q(φ)` in `φ = sin²(w/2)` (the squared magnitude of
//!    a section is a quadratic in `φ`), approximates that smooth factor. Start: `P` is fitted to the zeros' factor times
//!    `R`, `Q` to the poles' factor times the same fixed `R = (1 - φ/a)(1 - φ/b)`, which cancels in the ratio; both are
//!    linear least squares. Then damped Gauss-Newton steps on the relative error of `P/Q`. The quadratics become
//!    coefficients by the closed-form factorisation of a second-order power response (as in Vicanek, "Matched Second
//!    Order Digital Filters", 2016).
//!
//! A high cut's analogue phase goes on falling where its magnitude is long gone; a minimum-phase digital filter with the
//! same magnitude up to 20 kHz lags less, by some 0.7 frames. There one zero of the correction is mirrored at the unit
//! circle, which leaves the magnitude as it is and brings the phase close. All other shapes are minimum-phase.
//!
//! In a cascade, each section's correction also makes up for what those before it left over.

use std::f64::consts::{PI, TAU};

use super::prototype::{MOST_SECTIONS, Prototype};
use crate::biquad::{Coefficients, HIGHEST_CORNER};

/// Points of the fit: the origin and Chebyshev points.
const POINTS: usize = 13;

/// Up to where the response is fitted, as a share of the Nyquist frequency: 20 kHz at 44.1 kHz.
const FITTED_SHARE: f64 = 0.907_03;

/// Zeros of `R`: found by search for the least error over all shapes.
const COMMON_ZEROS: [f64; 2] = [1.025, 1.2];

/// Weight of the origin in the fit, so that a band high up leaves the bass alone.
const ORIGIN_WEIGHT: f64 = 30.0;

/// Gauss-Newton steps.
const STEPS: usize = 8;

/// Damping of the steps: keeps zeros and poles that nearly cancel where they are.
const DAMPING: f64 = 1e-2;

/// A step changes `P` and `Q` by at most this share anywhere, so that they stay positive.
const LARGEST_CHANGE: f64 = 0.5;

/// The matched sections of one prototype: roots and correction.
pub type Pair = [Coefficients; 2];

type Basis = [f64; 3];
type Matrix<const N: usize> = [[f64; N]; N];

/// Everything about the fit that depends on the sample rate alone.
#[derive(Clone, Debug)]
pub struct Matcher {
    rate_hz: f64,
    points: [Point; POINTS],
    /// Basis at the Nyquist frequency.
    nyquist: Basis,
    /// `t = 2 φ / top - 1` is the basis' variable.
    top: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Point {
    w: f64,
    sin_half: f64,
    cos_half: f64,
    common: f64,
    weight: f64,
    basis: Basis,
}

/// The roots of one polynomial, at most two, and its digital counterpart.
#[derive(Clone, Copy, Debug)]
struct Roots {
    /// Leading coefficient of the analogue polynomial, in radians a sample.
    gain: f64,
    images: [Option<Image>; 2],
    /// `1 + c1 z^-1 + c2 z^-2` with the roots at `e^p`.
    digital: [f64; 3],
}

/// What one root `p = re + j im` needs for [`Image::power`].
#[derive(Clone, Copy, Debug)]
struct Image {
    re: f64,
    im: f64,
    decay: f64,
    sin_half: f64,
    cos_half: f64,
}

impl Matcher {
    /// Prepares the fit for a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let highest = PI * FITTED_SHARE;
        let sin_top = libm::sin(highest / 2.0);
        let top = sin_top * sin_top;
        let basis = |phi: f64| {
            let t = 2.0 * phi / top - 1.0;
            [1.0, t, 2.0 * t * t - 1.0]
        };
        let mut points = [Point::default(); POINTS];
        for (k, point) in points.iter_mut().enumerate() {
            let angle = PI * (k as f64 - 0.5) / (POINTS - 1) as f64;
            let w = if k == 0 { 0.0 } else { highest * (1.0 - libm::cos(angle)) / 2.0 };
            let (sin_half, cos_half) = libm::sincos(w / 2.0);
            let phi = sin_half * sin_half;
            let common = (1.0 - phi / COMMON_ZEROS[0]) * (1.0 - phi / COMMON_ZEROS[1]);
            let weight = if k == 0 { ORIGIN_WEIGHT } else { 1.0 };
            *point = Point { w, sin_half, cos_half, common, weight, basis: basis(phi) };
        }
        Self { rate_hz, points, nyquist: basis(1.0), top }
    }

    /// The digital sections of a band's prototypes at `hz`.
    #[must_use]
    pub fn cascade(&self, prototypes: &[Prototype; MOST_SECTIONS], hz: f64) -> [Pair; MOST_SECTIONS] {
        let w0 = TAU * (hz / self.rate_hz).min(HIGHEST_CORNER);
        let mut left_over = [1.0; POINTS];
        prototypes.map(|prototype| {
            if prototype.num == prototype.den {
                [Coefficients::IDENTITY; 2]
            } else if prototype.num[1] < 0.0 {
                [all_pass(&prototype, w0), Coefficients::IDENTITY]
            } else {
                self.match_section(&prototype, w0, &mut left_over)
            }
        })
    }

    fn match_section(&self, prototype: &Prototype, w0: f64, left_over: &mut [f64; POINTS]) -> Pair {
        let (num, den) = (Roots::of(prototype.num, w0), Roots::of(prototype.den, w0));
        let gain = num.gain / den.gain;
        let zeros = self.points.map(|point| num.image_power(&point));
        let poles = self.points.map(|point| den.image_power(&point));
        let mut fit = Fit { p: self.fit_one(&zeros), q: self.fit_one(&poles) };
        let mut target = [0.0; POINTS];
        for k in 0..POINTS {
            target[k] = zeros[k] / (poles[k] * left_over[k]);
        }
        for _ in 0..STEPS {
            self.improve(&mut fit, &target);
        }
        for k in 0..POINTS {
            let v = &self.points[k].basis;
            left_over[k] = dot(v, &fit.p) / (dot(v, &fit.q) * target[k]);
        }
        let matched = Coefficients::normalised(num.digital, den.digital);
        let mut correction = Coefficients::normalised(self.factor(&fit.p), self.factor(&fit.q));
        if num.images[0].is_none() {
            correction.b = delayed(correction.b, den.images[1].is_some());
        }
        correction.b = correction.b.map(|b| b * gain);
        [matched, correction]
    }

    /// Least squares of `(basis c) / (factor R) - 1`.
    fn fit_one(&self, factor: &[f64; POINTS]) -> Basis {
        let mut matrix = [[0.0; 3]; 3];
        let mut right = [0.0; 3];
        for (point, factor) in self.points.iter().zip(factor) {
            let scaled = point.basis.map(|v| v / (factor * point.common));
            for i in 0..3 {
                right[i] += point.weight * scaled[i];
                for j in 0..=i {
                    matrix[i][j] += point.weight * scaled[i] * scaled[j];
                }
            }
        }
        solve(matrix, right)
    }

    /// One damped Gauss-Newton step on the relative error of `P / (Q target)`.
    fn improve(&self, fit: &mut Fit, target: &[f64; POINTS]) {
        let mut matrix = [[0.0; 6]; 6];
        let mut right = [0.0; 6];
        for (point, target) in self.points.iter().zip(target) {
            let (p, q) = (1.0 / dot(&point.basis, &fit.p), 1.0 / dot(&point.basis, &fit.q));
            let error = q / (p * target) - 1.0;
            let mut row = [0.0; 6];
            for i in 0..3 {
                (row[i], row[3 + i]) = (point.basis[i] * p, -point.basis[i] * q);
            }
            for i in 0..6 {
                let weighted = point.weight * row[i];
                right[i] -= error * weighted;
                for j in 0..=i {
                    matrix[i][j] += weighted * row[j];
                }
            }
        }
        // P's block and Q's, not what couples them.
        for (i, row) in matrix.iter_mut().enumerate() {
            row[i / 3 * 3..=i].iter_mut().for_each(|entry| *entry *= 1.0 + DAMPING * DAMPING);
        }
        let change = solve(matrix, right);
        let (dp, dq) = ([change[0], change[1], change[2]], [change[3], change[4], change[5]]);
        let mut largest = 0.0_f64;
        for v in self.points.iter().map(|point| &point.basis).chain([&self.nyquist]) {
            largest = largest.max((dot(v, &dp) / dot(v, &fit.p)).abs()).max((dot(v, &dq) / dot(v, &fit.q)).abs());
        }
        let share = if largest > LARGEST_CHANGE { LARGEST_CHANGE / largest } else { 1.0 };
        for i in 0..3 {
            fit.p[i] += share * dp[i];
            fit.q[i] += share * dq[i];
        }
    }

    /// The minimum-phase `c0 + c1 z^-1 + c2 z^-2` whose squared magnitude is a quadratic in `φ`.
    fn factor(&self, c: &Basis) -> [f64; 3] {
        let at_origin = c[0] - c[1] + c[2];
        let at_nyquist = dot(&self.nyquist, c);
        let square_term = 8.0 * c[2] / (self.top * self.top);
        let (root0, root1) = (at_origin.max(0.0).sqrt(), at_nyquist.max(0.0).sqrt());
        let outer = (root0 + root1) / 2.0;
        let product = square_term / 16.0;
        let c0 = (outer + (outer * outer - 4.0 * product).max(0.0).sqrt()) / 2.0;
        [c0, (root0 - root1) / 2.0, product / c0]
    }
}

#[derive(Clone, Copy, Debug)]
struct Fit {
    p: Basis,
    q: Basis,
}

impl Roots {
    /// Of `c0 + c1 s + c2 s²` with `s` in units of `w0`; all roots lie in the left half.
    fn of([c0, c1, c2]: [f64; 3], w0: f64) -> Self {
        if c2 == 0.0 && c1 == 0.0 {
            return Self { gain: c0, images: [None; 2], digital: [1.0, 0.0, 0.0] };
        }
        if c2 == 0.0 {
            let root = -c0 / c1 * w0;
            return Self::real(c1 / w0, root, None);
        }
        let (half, product) = (c1 / c2 * w0 / 2.0, c0 / c2 * w0 * w0);
        let gain = c2 / (w0 * w0);
        let discriminant = half * half - product;
        if discriminant < 0.0 {
            return Self::pair(gain, -half, (-discriminant).sqrt());
        }
        let far = -half - discriminant.sqrt();
        Self::real(gain, far, Some(if far == 0.0 { 0.0 } else { product / far }))
    }

    fn real(gain: f64, first: f64, second: Option<f64>) -> Self {
        let (r1, r2) = (libm::exp(first), second.map_or(0.0, libm::exp));
        let images = [Some(Image::new(first, 0.0)), second.map(|re| Image::new(re, 0.0))];
        Self { gain, images, digital: [1.0, -(r1 + r2), r1 * r2] }
    }

    fn pair(gain: f64, re: f64, im: f64) -> Self {
        let image = Image::new(re, im);
        let conjugate = Image { im: -im, sin_half: -image.sin_half, ..image };
        let radius = 1.0 + image.decay;
        let cos = 1.0 - 2.0 * image.sin_half * image.sin_half;
        Self { gain, images: [Some(image), Some(conjugate)], digital: [1.0, -2.0 * radius * cos, radius * radius] }
    }

    fn image_power(&self, point: &Point) -> f64 {
        self.images.iter().flatten().map(|image| image.power(point)).product()
    }
}

impl Image {
    /// A root beyond the Nyquist frequency has its digital counterpart at it.
    fn new(re: f64, im: f64) -> Self {
        let (sin_half, cos_half) = libm::sincos(im.min(PI) / 2.0);
        Self { re, im, decay: libm::expm1(re), sin_half, cos_half }
    }

    /// `|jw - p|² / |1 - e^(p - jw)|²`: what the matched root leaves out.
    fn power(&self, point: &Point) -> f64 {
        let off = point.w - self.im;
        let analogue = self.re * self.re + off * off;
        if analogue < 1e-12 {
            return 1.0;
        }
        let sin = point.sin_half * self.cos_half - point.cos_half * self.sin_half;
        analogue / (self.decay * self.decay + 4.0 * (1.0 + self.decay) * sin * sin)
    }
}

/// Mirrors one zero of a numerator at the unit circle: the magnitude stays, the phase lags more. `inner` picks the zero
/// nearer the origin, which makes the greater difference.
fn delayed([b0, b1, b2]: [f64; 3], inner: bool) -> [f64; 3] {
    let half = -b1 / (2.0 * b0);
    let discriminant = half * half - b2 / b0;
    if discriminant < 0.0 {
        return [b0, b1, b2];
    }
    let root = discriminant.sqrt();
    // Both zeros are negative.
    let (kept, mirrored) = if inner { (half - root, half + root) } else { (half + root, half - root) };
    [-b0 * mirrored, b0 * (1.0 + kept * mirrored), -b0 * kept]
}

/// An all-pass with its phase and its delay at the centre as the prototype's: bilinear, with the Cookbook's width
/// correction `w0 / sin w0`.
fn all_pass(prototype: &Prototype, w0: f64) -> Coefficients {
    let (sin, cos) = libm::sincos(w0);
    let q = sin / (w0 * prototype.den[1]);
    let alpha = sin / (2.0 * q);
    let den = [1.0 + alpha, -2.0 * cos, 1.0 - alpha];
    Coefficients::normalised([den[2], den[1], den[0]], den)
}

fn dot(a: &Basis, b: &Basis) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Solves a symmetric positive definite system, of which the lower triangle is given, by Cholesky's method.
fn solve<const N: usize>(mut m: Matrix<N>, mut x: [f64; N]) -> [f64; N] {
    for j in 0..N {
        for k in 0..j {
            let above = m[j][k];
            for row in &mut m[j..] {
                row[j] -= row[k] * above;
            }
        }
        let pivot = m[j][j].max(f64::MIN_POSITIVE).sqrt();
        for row in &mut m[j..] {
            row[j] /= pivot;
        }
    }
    for i in 0..N {
        for k in 0..i {
            x[i] -= m[i][k] * x[k];
        }
        x[i] /= m[i][i];
    }
    for i in (0..N).rev() {
        for k in i + 1..N {
            x[i] -= m[k][i] * x[k];
        }
        x[i] /= m[i][i];
    }
    x
}
