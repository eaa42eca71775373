//! The curves of the drive: what each does to a sample, split into the part that makes odd harmonics and the part that
//! makes even ones.
//!
//! A curve is `f(x) = (1 - odd) x + odd s(x) + even q(x)` with `s` odd and bounded or slowly growing, `s'(0)` at most 1,
//! and `q` even with `q(0) = q'(0) = 0`. An odd function of a sine has odd harmonics only and an even one even harmonics
//! only, so the two amounts move them independently. With odd = even = 1 the curve still rises everywhere.
//!
//! | shape | `s(x)` | `q(x)` | principle |
//! | --- | --- | --- | --- |
//! | tanh | tanh x | tanh² x / 2 | a differential pair; q is the first-order effect of a bias |
//! | cubic | x - 4x³/27, 1 beyond x = 3/2 | s²/2 | the least polynomial that meets its limit smoothly |
//! | tube | T/(1 - T²/4), T = tanh x | T²/2/(1 - T²/4) | together tanh(x + atanh ½) re-centred: one biased stage |
//! | diode | asinh x | 1 - 1/sqrt(1 + x²) | a pair of diodes across the path: the logarithm never quite limits |
//! | hard clip | x held within ±1 | s²/2 | a supply rail |
//! | fuzz | lines through (0.1, 0.05), (0.3, 1), 1 beyond | s²/2 | a starved stage: quiet sound chokes, loud sound snaps |

use crate::elementary::{asinh_and_root, tanh};

/// Names in the sheet, in the order of [`Shape`].
pub const SHAPES: &[&str] = &["tanh", "cubic", "tube", "diode", "hard clip", "fuzz"];

/// A curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Hyperbolic tangent.
    Tanh,
    /// Cubic with a smooth limit.
    Cubic,
    /// One biased stage.
    Tube,
    /// Logarithmic.
    Diode,
    /// Straight up to the limit.
    HardClip,
    /// Chokes below, snaps above.
    Fuzz,
}

impl Shape {
    /// The shape at an index of [`SHAPES`].
    #[must_use]
    pub fn at(index: usize) -> Self {
        [Self::Tanh, Self::Cubic, Self::Tube, Self::Diode, Self::HardClip, Self::Fuzz][index]
    }
}

/// How much of a curve's two parts, and the gain ahead of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amounts {
    /// Gain ahead of the curve.
    pub gain: f64,
    /// Share of the odd part, 0 to 1.
    pub odd: f64,
    /// Share of the even part, 0 to 1.
    pub even: f64,
    /// Gain of curve and level together where the curve's slope is 1: the level behind the curve is `through / gain`.
    /// Stated so, a glide of the gain leaves a small signal where it is.
    pub through: f64,
}

impl Amounts {
    /// Gain behind the curve.
    #[must_use]
    pub fn level(&self) -> f64 {
        self.through / self.gain
    }
}

/// The arithmetic of a shape, chosen at compile time.
pub trait Curve {
    /// Where the polynomial pieces of a curve with knees meet, rising; empty for smooth curves.
    const KNEES: &'static [f64] = &[];
    /// Points of the Gauss rule that integrates each piece times a ramp exactly.
    const RULE: &'static Rule = &[];
    /// The same where there is no even part.
    const ODD_RULE: &'static Rule = Self::RULE;
    /// Slope of the odd function at 0.
    const SLOPE: f64 = 1.0;
    /// The odd and the even function.
    fn functions(x: f64) -> (f64, f64);

    /// The curve at a sample after the gain.
    #[inline(always)]
    fn value(x: f64, amounts: &Amounts) -> f64 {
        let (s, q) = Self::functions(x);
        x + amounts.odd * (s - x) + amounts.even * q
    }

    /// The gain `f(x) / x`, which tends to the slope at 0.
    #[inline]
    fn ratio(x: f64, amounts: &Amounts) -> f64 {
        if x.abs() < TINY { 1.0 + amounts.odd * (Self::SLOPE - 1.0) } else { Self::value(x, amounts) / x }
    }
}

/// Below it a sample's gain is the slope at 0.
pub const TINY: f64 = 1e-12;

/// Points of an integration rule on 0..1 and their weights.
pub type Rule = [(f64, f64)];

/// Two-point Gauss-Legendre rule on 0..1, exact to degree 3 (Abramowitz and Stegun, table 25.4).
const GAUSS_2: &Rule = &[(0.211_324_865_405_187_12, 0.5), (0.788_675_134_594_812_88, 0.5)];

/// Three-point Gauss-Legendre rule on 0..1, exact to degree 5 (Abramowitz and Stegun, table 25.4).
const GAUSS_3: &Rule =
    &[(0.112_701_665_379_258_31, 5.0 / 18.0), (0.5, 4.0 / 9.0), (0.887_298_334_620_741_69, 5.0 / 18.0)];

/// Four-point Gauss-Legendre rule on 0..1, exact to degree 7 (Abramowitz and Stegun, table 25.4).
const GAUSS_4: &Rule = &[
    (0.069_431_844_202_973_71, 0.173_927_422_568_726_93),
    (0.330_009_478_207_571_87, 0.326_072_577_431_273_07),
    (0.669_990_521_792_428_13, 0.326_072_577_431_273_07),
    (0.930_568_155_797_026_29, 0.173_927_422_568_726_93),
];

/// See the table above.
pub struct Tanh;
/// See the table above.
pub struct Cubic;
/// See the table above.
pub struct Tube;
/// See the table above.
pub struct Diode;
/// See the table above.
pub struct HardClip;
/// See the table above.
pub struct Fuzz;

impl Curve for Tanh {
    #[inline(always)]
    fn functions(x: f64) -> (f64, f64) {
        let t = tanh(x);
        (t, 0.5 * t * t)
    }
}

impl Curve for Cubic {
    const KNEES: &'static [f64] = &[-1.5, 1.5];
    const RULE: &'static Rule = GAUSS_4;
    const ODD_RULE: &'static Rule = GAUSS_3;
    #[inline(always)]
    fn functions(x: f64) -> (f64, f64) {
        let x = x.clamp(-1.5, 1.5);
        let s = x - x * x * x * (4.0 / 27.0);
        (s, 0.5 * s * s)
    }
}

impl Curve for Tube {
    #[inline(always)]
    fn functions(x: f64) -> (f64, f64) {
        let t = tanh(x);
        let scaled = t / (1.0 - 0.25 * t * t);
        (scaled, 0.5 * t * scaled)
    }
}

impl Curve for Diode {
    #[inline(always)]
    fn functions(x: f64) -> (f64, f64) {
        let x = x.clamp(-1e100, 1e100);
        let (s, root) = asinh_and_root(x);
        (s, 1.0 - 1.0 / root)
    }
}

impl Curve for HardClip {
    const KNEES: &'static [f64] = &[-1.0, 1.0];
    const RULE: &'static Rule = GAUSS_2;
    #[inline(always)]
    fn functions(x: f64) -> (f64, f64) {
        let s = x.clamp(-1.0, 1.0);
        (s, 0.5 * s * s)
    }
}

/// Where the fuzz begins to open, where it is fully open, and its slope below.
const FUZZ_OPENS: f64 = 0.1;
const FUZZ_LIMITS: f64 = 0.3;
const FUZZ_CHOKED: f64 = 0.5;

impl Curve for Fuzz {
    const KNEES: &'static [f64] = &[-FUZZ_LIMITS, -FUZZ_OPENS, FUZZ_OPENS, FUZZ_LIMITS];
    const RULE: &'static Rule = GAUSS_2;
    const SLOPE: f64 = FUZZ_CHOKED;
    #[inline(always)]
    fn functions(x: f64) -> (f64, f64) {
        const STEEP: f64 = (1.0 - FUZZ_CHOKED * FUZZ_OPENS) / (FUZZ_LIMITS - FUZZ_OPENS);
        let choked = x.clamp(-FUZZ_OPENS, FUZZ_OPENS);
        let open = x.clamp(-FUZZ_LIMITS, FUZZ_LIMITS) - choked;
        let s = FUZZ_CHOKED * choked + STEEP * open;
        (s, 0.5 * s * s)
    }
}
