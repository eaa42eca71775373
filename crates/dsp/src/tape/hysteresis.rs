//! Magnetisation of tape by the recording field, after Jiles and Atherton.
//!
//! Source: Chowdhury, "Real-time Physical Modelling for Analog Tape Machines", DAFx-19, with its constants for ferric
//! oxide. With the field `H` and the magnetisation `M`:
//!
//! ```text
//! M = (1-c) M_irr + c M_an                          the pinned and the free part
//! M_an = Ms L(Q),  Q = (H + alpha M) / a,  L(Q) = coth Q - 1/Q
//! dM_irr/dH = dM (M_an - M_irr) / (s k - alpha (M_an - M_irr))
//! s = sign dH;  dM = 1 where s and M_an - M_irr agree in sign, else 0
//! ```
//!
//! which is the paper's equation for `dM/dH` before the two parts are put together. Here `h = H/a`, `m = M/Ms` and
//! `i = M_irr/Ms`, so that three constants are left: `A = alpha Ms / a`, `K = k / a` and `c`.
//!
//! **Bias.** The high-frequency bias shakes the domains over what pins them, and the magnetisation follows `M_an` all but
//! for a rest. Running the bias itself would need rates beyond any budget; instead the pinned share `1 - c` falls with
//! the bias, from the model's own 0.83 without bias to [`PINNED_AT_FULL_BIAS`] at 100 %, exponentially. That law is ours.
//!
//! **Solver.** The free part needs none. The pinned one is taken by the implicit midpoint rule in `H`, with `M_an` at the
//! middle as the mean of both ends: second order, stable for any step, and never past `M_an`. `L` and its derivatives are
//! worked out at `h` for a whole stretch at once, as vector code; the small `A m` (below 0.026) enters by their Taylor
//! series, so that the recursion is short.

use units::{Frame, SILENCE};

use crate::elementary::expm1;

/// Saturation magnetisation, A/m.
const MS: f64 = 3.5e5;
/// Shape of the anhysteretic curve, A/m.
const SHAPE: f64 = 2.2e4;
/// Mean-field coupling.
const ALPHA: f64 = 1.6e-3;
/// Pinning, A/m.
const PINNING: f64 = 2.7e4;
/// Reversible share without bias.
const REVERSIBLE: f64 = 0.17;

const A: f64 = ALPHA * MS / SHAPE;
const K: f64 = PINNING / SHAPE;

/// Share of the magnetisation that stays pinned at 100 % bias.
pub const PINNED_AT_FULL_BIAS: f64 = 0.05;

/// Reversible share `c` at a bias, 1 for 100 %.
#[must_use]
pub fn reversible_share(bias: f64) -> f64 {
    let fall = libm::log((1.0 - REVERSIBLE) / PINNED_AT_FULL_BIAS);
    1.0 - (1.0 - REVERSIBLE) * libm::exp(-fall * bias)
}

/// Slope `dm/dh` of a demagnetised tape for a vanishing signal: `L'(0) = 1/3`.
#[must_use]
pub fn initial_slope(reversible: f64) -> f64 {
    reversible / 3.0 / (1.0 - reversible * A / 3.0)
}

/// `L(q) / q`, and the first and second derivative of `L`, for |q| up to 300. From the identity
/// `L' = 1 - L² - 2 L/q` and its derivative; near 0 by the series of `L`.
#[inline(always)]
fn langevin(q: f64) -> (f64, f64, f64) {
    /// Taylor coefficients of `L(q) / q` in `q²`.
    const SERIES: [f64; 8] = [
        1.0 / 3.0,
        -1.0 / 45.0,
        2.0 / 945.0,
        -1.0 / 4725.0,
        2.0 / 93_555.0,
        -1382.0 / 638_512_875.0,
        4.0 / 18_243_225.0,
        -3617.0 / 162_820_783_125.0,
    ];
    const NEAR: f64 = 0.6;
    let away = if q.abs() < 1e-6 { 1e-6 } else { q };
    let z = q * q;
    let z2 = z * z;
    let c = &SERIES;
    let low = (c[0] + c[1] * z) + (c[2] + c[3] * z) * z2;
    let high = (c[4] + c[5] * z) + (c[6] + c[7] * z) * z2;
    let inverse = 1.0 / away;
    let far = (1.0 + 2.0 / expm1(2.0 * away) - inverse) * inverse;
    let u = if q.abs() < NEAR { low + high * (z2 * z2) } else { far };
    let l = u * q;
    let first = 1.0 - l * l - 2.0 * u;
    let second = -2.0 * (l * first + (first - u) * inverse);
    (u, first, second)
}

/// A stretch of tape under the head: the state of both channels, and scratch.
pub struct Hysteresis {
    pinned: Frame,
    /// What the last stretch was recorded with.
    field_per_unit: f64,
    /// Of the frame before each stretch, then of each frame. See [`Point`].
    points: Vec<[Point; 2]>,
}

/// What one sample's field alone decides: `m = c p + b i` and `L(q) = p + A l b i`, with `l = L'(h)`.
#[derive(Clone, Copy, Default)]
struct Point {
    field: f64,
    p: f64,
    b: f64,
    /// `A l b`.
    share: f64,
}

impl Point {
    #[inline(always)]
    fn of(field: f64, c: f64) -> Self {
        let (u, first, second) = langevin(field);
        let l = u * field;
        // The second-order term of the series takes m to be near L.
        let shift = A * l;
        let b = 1.0 / (1.0 - c * A * first);
        Self { field, p: (l + 0.5 * second * shift * shift) * b, b: (1.0 - c) * b, share: A * first * ((1.0 - c) * b) }
    }
}

impl Hysteresis {
    /// Demagnetised, for stretches of up to `most_frames`.
    #[must_use]
    pub fn new(most_frames: usize) -> Self {
        Self { pinned: SILENCE, field_per_unit: 0.0, points: vec![[Point::default(); 2]; most_frames + 1] }
    }

    /// Demagnetises.
    pub fn reset(&mut self) {
        (self.pinned, self.field_per_unit) = (SILENCE, 0.0);
        self.points[0] = [Point::default(); 2];
    }

    /// Turns a stretch of signal into what the tape adds to it: magnetisation, scaled so that a vanishing signal passes
    /// at unity, less the signal. `field_per_unit` is `h` for a signal of 1.
    pub fn process(&mut self, audio: &mut [Frame], field_per_unit: f64, reversible: f64) {
        if field_per_unit < self.field_per_unit {
            // The pinned part shrinks with a falling drive: the replay gain that rises in turn would make it a thump.
            let shrink = field_per_unit / self.field_per_unit;
            self.pinned = self.pinned.map(|pinned| shrink * pinned);
        }
        self.field_per_unit = field_per_unit;
        let points = self.points[1..].as_flattened_mut();
        for (point, x) in points.iter_mut().zip(audio.as_flattened()) {
            // The curve is flat to the last bit long before 250.
            *point = Point::of((field_per_unit * x).clamp(-250.0, 250.0), reversible);
        }
        self.magnetise(audio, 1.0 / (initial_slope(reversible) * field_per_unit), reversible);
        self.points[0] = self.points[audio.len()];
    }

    /// The recursion.
    fn magnetise(&mut self, audio: &mut [Frame], scale: f64, c: f64) {
        let mut pinned = self.pinned;
        for (pair, x) in self.points.windows(2).zip(audio) {
            for channel in 0..2 {
                let (last, next) = (&pair[0][channel], &pair[1][channel]);
                let step = next.field - last.field;
                let share = 0.5 * (last.share + next.share);
                let rest = 1.0 - share;
                let gap = 0.5 * (last.p + next.p) - rest * pinned[channel];
                // The gap in the direction of the field's move. If it lies behind, nothing pinned moves.
                let ahead = (if step < 0.0 { -gap } else { gap }).max(0.0);
                let reach = step.abs() * ahead;
                let bottom = K - A * ahead + 0.5 * rest * (step.abs() + A / K * reach);
                let moved = (reach / bottom).min(ahead * (1.0 + share));
                pinned[channel] += if step < 0.0 { -moved } else { moved };
                x[channel] = scale * (c * next.p + next.b * pinned[channel]) - x[channel];
            }
        }
        self.pinned = pinned;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_langevin_function_has_its_table_values() {
        // L(q) = coth q - 1/q to 9 decimals, and the slope 1/3 at 0 (DAFx-19, equation 5).
        for (q, value) in [
            (0.1, 0.033_311_132),
            (0.5, 0.163_953_414),
            (1.0, 0.313_035_285),
            (2.0, 0.537_314_721),
            (5.0, 0.800_090_804),
            (10.0, 0.900_000_004),
        ] {
            assert!((langevin(q).0 * q - value).abs() < 6e-10, "{q}");
            assert!((langevin(-q).0 * q - value).abs() < 6e-10, "{q}");
        }
        assert!((langevin(0.0).1 - 1.0 / 3.0).abs() < 1e-15);
        // Derivatives against differences of the function itself.
        for q in [-3.0, -0.601, -0.599, 0.05, 0.5, 0.7, 2.0, 20.0] {
            let l = |q: f64| langevin(q).0 * q;
            let step = 1e-3;
            let first = (l(q + step) - l(q - step)) / (2.0 * step);
            let second = (l(q + step) - 2.0 * l(q) + l(q - step)) / (step * step);
            assert!((langevin(q).1 - first).abs() < 1e-7, "{q}");
            assert!((langevin(q).2 - second).abs() < 1e-6, "{q}: {} {second}", langevin(q).2);
        }
    }

    /// `dm/dh` by the paper's equation for `dM/dH`, in SI units, with the paper's constants and the C library's functions.
    fn slope(h: f64, m: f64, rising: bool, c: f64) -> f64 {
        let (ms, a, alpha, k) = (3.5e5, 2.2e4, 1.6e-3, 2.7e4);
        let (field, magnetisation) = (h * a, m * ms);
        let q = (field + alpha * magnetisation) / a;
        let coth = 1.0 / libm::tanh(q);
        let (l, dl) =
            if q.abs() < 1e-4 { (q / 3.0, 1.0 / 3.0) } else { (coth - 1.0 / q, 1.0 / (q * q) - coth * coth + 1.0) };
        let gap = ms * l - magnetisation;
        let sign = if rising { 1.0 } else { -1.0 };
        let moves = if sign * gap > 0.0 { 1.0 } else { 0.0 };
        let pinned = (1.0 - c) * moves * gap / ((1.0 - c) * sign * k - alpha * gap);
        let free = c * ms / a * dl;
        (pinned + free) / (1.0 - alpha * free) * a / ms
    }

    #[test]
    fn the_solver_follows_the_papers_equation() {
        // Classical Runge-Kutta, 64 substeps to each of ours, on the printed equation.
        for (c, peak) in [(REVERSIBLE, 3.0), (reversible_share(1.0), 2.0), (reversible_share(0.5), 0.3)] {
            let field = |n: f64| peak * libm::sin(n * 0.02) * (n / 2000.0).min(1.0);
            let mut audio: Vec<Frame> = (1..4000).map(|n| [field(f64::from(n)), 0.0]).collect();
            Hysteresis::new(4000).process(&mut audio, 1.0, c);
            let (mut m, mut worst) = (0.0, 0.0_f64);
            for n in 1..4000 {
                for part in 0..64 {
                    let at = |share: f64| field(f64::from(n - 1) + (f64::from(part) + share) / 64.0);
                    let (h0, h1) = (at(0.0), at(1.0));
                    let (step, rising) = (h1 - h0, h1 >= h0);
                    let k1 = slope(h0, m, rising, c);
                    let k2 = slope(h0 + step / 2.0, m + step / 2.0 * k1, rising, c);
                    let k3 = slope(h0 + step / 2.0, m + step / 2.0 * k2, rising, c);
                    let k4 = slope(h1, m + step * k3, rising, c);
                    m += step / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4);
                }
                let x = field(f64::from(n));
                let got = (audio[n as usize - 1][0] + x) * initial_slope(c);
                worst = worst.max((got - m).abs());
            }
            assert!(worst < 2e-4, "c {c}, peak {peak}: {worst}");
        }
    }

    #[test]
    fn an_unbiased_tape_keeps_a_remanence_and_a_biased_one_hardly_any() {
        let remanence = |c: f64| {
            let mut audio: Vec<Frame> =
                (0..=2000).map(|n| [5.0 - f64::from((n - 1000_i32).abs()) / 200.0, 0.0]).collect();
            Hysteresis::new(3000).process(&mut audio, 1.0, c);
            audio[2000][0] * initial_slope(c)
        };
        assert!(remanence(REVERSIBLE) > 0.25, "{}", remanence(REVERSIBLE));
        assert!(remanence(reversible_share(1.0)) < 0.03);
    }
}
