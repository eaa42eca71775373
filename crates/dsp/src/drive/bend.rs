//! A curve's arithmetic on stretches of samples.
//!
//! The loops are compiled for each curve, so that they become vector code, and twice, for narrow and for wide registers:
//! both give the same bytes, because each sample is worked out by the same operations and nothing is fused.

use multiversion::multiversion;
use units::{Block, Frame};

use super::shapes::{Amounts, Cubic, Curve, Diode, Fuzz, HardClip, Rule, Shape, TINY, Tanh, Tube};

/// The arithmetic of one curve. Samples are left and right in turn and lie after the gain.
#[derive(Clone, Copy)]
pub struct Bend {
    /// Whether the curve has knees: then `knees` and `follow_knees` are for it, otherwise `smooth` and `ratio`.
    pub has_knees: bool,
    /// The curve at one sample.
    pub value: fn(f64, &Amounts) -> f64,
    /// The gain `f(x) / x`.
    pub ratio: fn(f64, &Amounts) -> f64,
    /// A stretch.
    pub smooth: fn(line: &[f64], &Amounts, out: &mut [f64]),
    /// A stretch behind its preceding frame, averaged under the triangle, one frame late; with the earlier half of the
    /// frame that comes next, in and out.
    pub knees: fn(line: &[f64], &Amounts, rising: &mut Frame, out: &mut [f64]),
    /// A follower in place, averaged likewise: the key's line, the follower's last frame and earlier half.
    pub follow_knees: FollowKnees,
}

/// See [`Bend::follow_knees`].
pub type FollowKnees = fn(line: &[f64], &Amounts, last: &mut Frame, rising: &mut Frame, audio: &mut [Frame]);

impl Bend {
    /// Of a shape.
    #[must_use]
    pub fn of(shape: Shape) -> Self {
        match shape {
            Shape::Tanh => Self::with::<Tanh>(),
            Shape::Cubic => Self::with::<Cubic>(),
            Shape::Tube => Self::with::<Tube>(),
            Shape::Diode => Self::with::<Diode>(),
            Shape::HardClip => Self::with::<HardClip>(),
            Shape::Fuzz => Self::with::<Fuzz>(),
        }
    }

    fn with<C: Curve>() -> Self {
        Self {
            has_knees: !C::KNEES.is_empty(),
            value: C::value,
            ratio: C::ratio,
            smooth: smooth::<C>,
            knees: knees::<C>,
            follow_knees: follow_knees::<C>,
        }
    }

    /// Gives every follower the key's gain, sample by sample, for a curve without knees. The key is bent already; `line`
    /// is what it was behind the gain.
    pub fn follow(&self, line: &[f64], amounts: &Amounts, chunk: &mut Block<'_>) {
        if chunk.lanes() == 1 {
            return;
        }
        let (slope, mut gains) = ((self.ratio)(0.0, amounts), [0.0; LONG_RUN]);
        for (run, line) in line.chunks(LONG_RUN).enumerate() {
            let (from, count) = (run * LONG_RUN, line.len());
            let bent = &chunk.lane(0).as_flattened()[from..from + count];
            for ((gain, x), bent) in gains.iter_mut().zip(line).zip(bent) {
                let ratio = if x.abs() < TINY { slope } else { bent / x };
                *gain = amounts.gain * ratio;
            }
            for lane in chunk.lanes_mut().skip(1) {
                let samples = &mut lane.as_flattened_mut()[from..from + count];
                samples.iter_mut().zip(&gains).for_each(|(sample, gain)| *sample *= gain);
            }
        }
    }
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn smooth<C: Curve>(line: &[f64], amounts: &Amounts, out: &mut [f64]) {
    let amounts = *amounts;
    for (x, out) in line.iter().zip(out) {
        *out = C::value(*x, &amounts);
    }
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn knees<C: Curve>(line: &[f64], amounts: &Amounts, rising: &mut Frame, out: &mut [f64]) {
    if amounts.even == 0.0 {
        let odd_only = Amounts { even: 0.0, ..*amounts };
        triangle::<C>(line, C::ODD_RULE, &odd_only, rising, out);
    } else {
        triangle::<C>(line, C::RULE, amounts, rising, out);
    }
}

/// Samples whose gains are found before followers take them.
const LONG_RUN: usize = 128;

/// Samples that the averaging takes at a time.
const RUN: usize = 16;

/// The curve of the straight lines between samples, averaged under a triangle as wide as two of them. On each line the
/// half that rises belongs to the sample at its end, the half that falls to the one at its start.
///
/// The rule is first applied to every line as if it met no knee, as vector code; the few that do are then done in pieces.
#[inline(always)]
fn triangle<C: Curve>(line: &[f64], rule: &Rule, amounts: &Amounts, rising: &mut Frame, out: &mut [f64]) {
    let amounts = *amounts;
    let f = |x: f64| C::value(x, &amounts);
    for (run, out) in out.chunks_mut(RUN).enumerate() {
        let line = &line[run * RUN..][..out.len() + 2];
        let mut x = [0.0; RUN + 2];
        x[..line.len()].copy_from_slice(line);
        let (mut rise, mut fall, mut met) = ([0.0; RUN], [0.0; RUN], false);
        for &(at, weight) in rule {
            for k in 0..RUN {
                let y = weight * f(x[k] + at * (x[k + 2] - x[k]));
                rise[k] += at * y;
                fall[k] += y - at * y;
            }
        }
        for knee in C::KNEES {
            for k in 0..RUN {
                met |= (x[k] < *knee) != (x[k + 2] < *knee);
            }
        }
        for k in 0..if met { RUN } else { 0 } {
            if crosses::<C>(x[k], x[k + 2]) {
                (rise[k], fall[k]) = (0.0, 0.0);
                pieces::<C>(rule, x[k], x[k + 2], |at, weight, x| {
                    let y = weight * f(x);
                    rise[k] += at * y;
                    fall[k] += y - at * y;
                });
            }
        }
        for (k, out) in out.iter_mut().enumerate() {
            *out = if k < 2 { rising[k] } else { rise[k - 2] } + fall[k];
        }
        *rising = [rise[out.len() - 2], rise[out.len() - 1]];
    }
}

fn follow_knees<C: Curve>(line: &[f64], amounts: &Amounts, last: &mut Frame, rising: &mut Frame, audio: &mut [Frame]) {
    for (i, pair) in line.windows(3).enumerate() {
        let (frame, channel) = (i / 2, i % 2);
        let (start, end) = (last[channel], amounts.gain * audio[frame][channel]);
        let (mut rise, mut fall) = (0.0, 0.0);
        pieces::<C>(C::RULE, pair[0], pair[2], |at, weight, x| {
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
fn pieces<C: Curve>(rule: &Rule, a: f64, b: f64, mut visit: impl FnMut(f64, f64, f64)) {
    let mut start = 0.0;
    let mut piece = |from: f64, to: f64| {
        for (at, weight) in rule {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::shapes::SHAPES;

    #[test]
    fn wide_and_narrow_registers_give_the_same_bytes() {
        // The loops are compiled for both; one sample at a time is the narrow way.
        let line: Vec<f64> = (0..1000).map(|n| 12.0 * libm::sin(f64::from(n * n))).collect();
        let amounts = Amounts { gain: 1.7, odd: 0.9, even: 0.4, through: 1.3 };
        for (index, name) in SHAPES.iter().enumerate() {
            let bend = Bend::of(Shape::at(index));
            let mut wide = vec![0.0; 1000];
            (bend.smooth)(&line, &amounts, &mut wide);
            for (x, wide) in line.iter().zip(wide) {
                assert_eq!(wide.to_bits(), (bend.value)(*x, &amounts).to_bits(), "{name} of {x}");
            }
        }
    }

    #[test]
    fn the_average_under_the_triangle_is_the_integral() {
        // Against 2000 midpoints on each line: f(x(t)) weighted by the triangle from sample n-1 over n to n+1.
        let line: Vec<f64> = (0..60).map(|n| 2.5 * libm::sin(f64::from(n) * 0.9) * f64::from(n) / 60.0).collect();
        for (index, name) in SHAPES.iter().enumerate() {
            let bend = Bend::of(Shape::at(index));
            if !bend.has_knees {
                continue;
            }
            for even in [0.0, 0.6] {
                let amounts = Amounts { gain: 1.0, odd: 0.9, even, through: 1.0 };
                let mut out = vec![0.0; 58];
                (bend.knees)(&line, &amounts, &mut [0.0; 2], &mut out);
                let half = |a: f64, b: f64, rises: bool| {
                    let sum: f64 = (0..2000)
                        .map(|k| {
                            let t = (f64::from(k) + 0.5) / 2000.0;
                            (bend.value)(a + t * (b - a), &amounts) * if rises { t } else { 1.0 - t }
                        })
                        .sum();
                    sum / 2000.0
                };
                for n in 2..58 {
                    let exact = half(line[n - 2], line[n], true) + half(line[n], line[n + 2], false);
                    assert!((out[n] - exact).abs() < 1e-6, "{name}, even {even}, {n}: {} {exact}", out[n]);
                }
            }
        }
    }
}
