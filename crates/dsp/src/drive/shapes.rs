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

use units::{Frame, SILENCE};

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

    /// Its arithmetic.
    #[must_use]
    pub fn bend(self) -> Bend {
        match self {
            Self::Tanh => Bend::of::<Tanh>(),
            Self::Cubic => Bend::of::<Cubic>(),
            Self::Tube => Bend::of::<Tube>(),
            Self::Diode => Bend::of::<Diode>(),
            Self::HardClip => Bend::of::<HardClip>(),
            Self::Fuzz => Bend::of::<Fuzz>(),
        }
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
}

/// The arithmetic of a curve on stretches of samples, left and right in turn, compiled for each curve so that the loops
/// become vector code. Samples lie after the gain.
#[derive(Clone, Copy)]
pub struct Bend {
    /// Whether the curve has knees: then `knees` and `follow_knees` are for it, otherwise `smooth` and `ratio`.
    pub has_knees: bool,
    /// Odd and even part of a sample.
    pub parts: fn(f64, &Amounts) -> (f64, f64),
    /// The gain `f(x) / x`.
    pub ratio: fn(f64, &Amounts) -> f64,
    /// Odd and even parts of a stretch. The even ones are written only where the amount is not 0.
    pub smooth: fn(&[f64], &Amounts, &mut [f64], &mut [f64]),
    /// Odd and even parts of a stretch behind its preceding frame, averaged under the triangle, one frame late; with
    /// the earlier halves of the frame that comes next, in and out.
    pub knees: Knees,
    /// A follower in place, averaged likewise: the key's line, the follower's last frame and earlier half.
    pub follow_knees: FollowKnees,
}

/// See [`Bend::knees`].
pub type Knees = fn(line: &[f64], &Amounts, rising: &mut [Frame; 2], odd: &mut [f64], even: &mut [f64]);
/// See [`Bend::follow_knees`].
pub type FollowKnees = fn(line: &[f64], &Amounts, last: &mut Frame, rising: &mut Frame, audio: &mut [Frame]);

impl Bend {
    fn of<C: Curve>() -> Self {
        Self {
            has_knees: !C::KNEES.is_empty(),
            parts: C::parts,
            ratio: C::ratio,
            smooth: smooth::<C>,
            knees: knees::<C>,
            follow_knees: follow_knees::<C>,
        }
    }
}

fn smooth<C: Curve>(line: &[f64], amounts: &Amounts, odd: &mut [f64], even: &mut [f64]) {
    let amounts = *amounts;
    if amounts.even == 0.0 {
        for (x, odd) in line.iter().zip(odd) {
            *odd = C::parts(*x, &amounts).0;
        }
        return;
    }
    for ((x, odd), even) in line.iter().zip(odd).zip(even) {
        (*odd, *even) = C::parts(*x, &amounts);
    }
}

fn knees<C: Curve>(line: &[f64], amounts: &Amounts, rising: &mut [Frame; 2], odd: &mut [f64], even: &mut [f64]) {
    let amounts = *amounts;
    triangle::<C>(line, |x| C::parts(x, &amounts).0, &mut rising[0], odd);
    if amounts.even == 0.0 {
        rising[1] = SILENCE;
    } else {
        triangle::<C>(line, |x| C::parts(x, &amounts).1, &mut rising[1], even);
    }
}

/// A function of the straight lines between samples, averaged under a triangle as wide as two of them. On each line the
/// half that rises belongs to the sample at its end, the half that falls to the one at its start.
#[inline(always)]
fn triangle<C: Curve>(line: &[f64], f: impl Fn(f64) -> f64, rising: &mut Frame, out: &mut [f64]) {
    let mut held = *rising;
    for (pair, out) in line.windows(3).zip(out.iter_mut()) {
        let (a, b) = (pair[0], pair[2]);
        let (mut rise, mut fall) = (0.0, 0.0);
        let mut add = |at: f64, weight: f64, x: f64| {
            let y = weight * f(x);
            rise += at * y;
            fall += y - at * y;
        };
        if crosses::<C>(a, b) {
            pieces::<C>(a, b, add);
        } else {
            C::RULE.iter().for_each(|&(at, weight)| add(at, weight, a + at * (b - a)));
        }
        *out = held[0] + fall;
        held = [held[1], rise];
    }
    *rising = held;
}

fn follow_knees<C: Curve>(line: &[f64], amounts: &Amounts, last: &mut Frame, rising: &mut Frame, audio: &mut [Frame]) {
    for (i, pair) in line.windows(3).enumerate() {
        let (frame, channel) = (i / 2, i % 2);
        let (start, end) = (last[channel], amounts.gain * audio[frame][channel]);
        let (mut rise, mut fall) = (0.0, 0.0);
        pieces::<C>(pair[0], pair[2], |at, weight, x| {
            let y = weight * C::ratio(x, amounts) * (start + at * (end - start));
            rise += at * y;
            fall += y - at * y;
        });
        audio[frame][channel] = rising[channel] + fall;
        (last[channel], rising[channel]) = (end, rise);
    }
}

/// Whether a knee lies on the line from `a` to `b`.
#[inline(always)]
fn crosses<C: Curve>(a: f64, b: f64) -> bool {
    C::KNEES.iter().any(|knee| (a < *knee) != (b < *knee))
}

/// Calls `visit(position, weight, x)` for the points of the Gauss rule on every piece of the line from `a` to `b`.
#[inline(always)]
fn pieces<C: Curve>(a: f64, b: f64, mut visit: impl FnMut(f64, f64, f64)) {
    let mut start = 0.0;
    let mut piece = |from: f64, to: f64| {
        for (at, weight) in C::RULE {
            let at = from + (to - from) * at;
            visit(at, (to - from) * weight, a + at * (b - a));
        }
    };
    for k in 0..C::KNEES.len() {
        let knee = C::KNEES[if b > a { k } else { C::KNEES.len() - 1 - k }];
        if (a < knee) != (b < knee) {
            let cut = ((knee - a) / (b - a)).clamp(start, 1.0);
            piece(start, cut);
            start = cut;
        }
    }
    piece(start, 1.0);
}

/// The arithmetic of a shape, chosen at compile time.
pub trait Curve {
    /// Where the polynomial pieces of a curve with knees meet, rising; empty for smooth curves.
    const KNEES: &'static [f64] = &[];
    /// Points of the Gauss rule that integrates each piece times a ramp exactly: positions in 0..1 and weights.
    const RULE: &'static [(f64, f64)] = &[];
    /// Slope of the odd function at 0.
    const SLOPE: f64 = 1.0;
    /// The odd and the even function.
    fn functions(x: f64) -> (f64, f64);

    /// The odd part `(1 - odd) x + odd s(x)` and the even part `even q(x)` at a sample after the gain.
    #[inline(always)]
    fn parts(x: f64, amounts: &Amounts) -> (f64, f64) {
        let (s, q) = Self::functions(x);
        (x + amounts.odd * (s - x), amounts.even * q)
    }

    /// The gain `f(x) / x`, which tends to the slope at 0.
    #[inline]
    fn ratio(x: f64, amounts: &Amounts) -> f64 {
        if x.abs() < 1e-12 {
            return 1.0 + amounts.odd * (Self::SLOPE - 1.0);
        }
        let (odd, even) = Self::parts(x, amounts);
        (odd + even) / x
    }
}

/// Two-point Gauss-Legendre rule on 0..1, exact to degree 3 (Abramowitz and Stegun, table 25.4).
const GAUSS_2: &[(f64, f64)] = &[(0.211_324_865_405_187_12, 0.5), (0.788_675_134_594_812_88, 0.5)];

/// Four-point Gauss-Legendre rule on 0..1, exact to degree 7 (Abramowitz and Stegun, table 25.4).
const GAUSS_4: &[(f64, f64)] = &[
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
    const RULE: &'static [(f64, f64)] = GAUSS_4;
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
    const RULE: &'static [(f64, f64)] = GAUSS_2;
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
    const RULE: &'static [(f64, f64)] = GAUSS_2;
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
