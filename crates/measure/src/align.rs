//! How one signal lies against another: delay, polarity, gain.
//!
//! The whole part of the delay is the strongest peak of the cross-correlation of both channels, by FFT, over the loudest
//! stretches of the programme. The fraction follows from least squares: with `b(n) = g a(n - d)`, the residual's
//! first-order change with `d` is the slope of `a`, so each step solves two equations for `g` and the change of `d`
//! (Gauss-Newton). On equal signals it settles within 1e-6 of a frame. The fractional delay itself is the windowed
//! sinc of [`crate::sinc::delayed`].

use rustfft::{FftPlannerScalar, num_complex::Complex};
use serde::{Deserialize, Serialize};
use units::Frame;

use crate::sinc;

/// Stretches of the programme that are compared, for the whole and for the fractional part, the least size of transform
/// for the former and the length of the latter.
const COARSE_STRETCHES: usize = 4;
const LEAST_TRANSFORM: usize = 1 << 17;
const FINE_STRETCHES: usize = 16;
const FINE_FRAMES: usize = 4096;
/// Peaks this close to the strongest are taken as equal, and the one nearest to no delay wins: music that repeats to the
/// sample correlates with itself a bar later as well.
const EQUAL_PEAK: f64 = 0.999;
/// A delay this close to a whole one is taken as whole if that explains the signals as well: its residual at most this
/// much larger in power.
const NEARLY_WHOLE: f64 = 0.02;
const AS_GOOD: f64 = 1.05;

/// Whether a signal is upright or upside down against another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Polarity {
    /// Upright.
    Normal,
    /// Upside down.
    Inverted,
}

/// `b(n) = gain * a(n - delay)`, as nearly as it can be made.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Alignment {
    /// Frames by which `b` lies behind `a`; negative if it is ahead.
    pub delay_samples: f64,
    /// Polarity of `b` against `a`.
    pub polarity: Polarity,
    /// Gain of `b` against `a` that leaves the least residual.
    pub gain_db: f64,
    /// Correlation once aligned, 0 to 1: how much of one is in the other.
    pub correlation: f64,
}

impl Alignment {
    /// No delay, gain or inversion.
    pub const NONE: Self = Self { delay_samples: 0.0, polarity: Polarity::Normal, gain_db: 0.0, correlation: 1.0 };

    /// The factor that takes delayed `a` to `b`.
    #[must_use]
    pub fn factor(&self) -> f64 {
        let gain = units::gain_from_db(self.gain_db);
        if self.polarity == Polarity::Inverted { -gain } else { gain }
    }
}

/// Aligns `b` with `a` within so many frames either way; none if one of them is silent.
#[must_use]
pub fn align(a: &[Frame], b: &[Frame], max_delay_frames: usize) -> Option<Alignment> {
    let whole = strongest_lag(a, b, max_delay_frames)? as f64;
    let mut delay = whole;
    let mut fit = Fit::at(a, b, delay)?;
    for _ in 0..25 {
        let step = fit.delay_step.clamp(-0.5, 0.5);
        delay += step;
        fit = Fit::at(a, b, delay)?;
        if step.abs() < 1e-9 || (delay - whole).abs() > 3.0 {
            break;
        }
    }
    if (delay - delay.round()).abs() < NEARLY_WHOLE || (delay - whole).abs() > 3.0 {
        let rounded = if (delay - whole).abs() > 3.0 { whole } else { delay.round() };
        let whole_fit = Fit::at(a, b, rounded)?;
        if whole_fit.residual <= fit.residual * AS_GOOD {
            (delay, fit) = (rounded, whole_fit);
        }
    }
    Some(Alignment {
        delay_samples: delay + 0.0,
        polarity: if fit.factor < 0.0 { Polarity::Inverted } else { Polarity::Normal },
        gain_db: units::db_from_gain(fit.factor),
        correlation: fit.correlation.abs(),
    })
}

/// A first look that costs little: the whole delay of `b` behind `a` with the strongest correlation of either sign, within
/// so many frames either way, and that correlation over all that both have, 0 to 1. None if one of them is silent.
///
/// The true delay lies within half a frame of it. There white noise correlates by no less than `sinc(1/2)`, 0.64, of what it
/// would if aligned, and music by more.
#[must_use]
pub fn whole_delay(a: &[Frame], b: &[Frame], max_delay_frames: usize) -> Option<(i64, f64)> {
    let lag = strongest_lag(a, b, max_delay_frames)?;
    let [of_a, of_b] = [usize::try_from(-lag).unwrap_or(0), usize::try_from(lag).unwrap_or(0)];
    let [mut aa, mut bb, mut ab] = [0.0; 3];
    for (a, b) in a.iter().skip(of_a).zip(b.iter().skip(of_b)) {
        for c in 0..2 {
            aa += a[c] * a[c];
            bb += b[c] * b[c];
            ab += a[c] * b[c];
        }
    }
    (aa > 0.0 && bb > 0.0).then(|| (lag, ab.abs() / (aa * bb).sqrt()))
}

/// The lag of `b` behind `a` with the strongest correlation of either sign.
fn strongest_lag(a: &[Frame], b: &[Frame], max_delay_frames: usize) -> Option<i64> {
    let most = max_delay_frames.min(a.len().max(b.len()));
    let size = (4 * most).max(LEAST_TRANSFORM).next_power_of_two();
    let stretch = size - 2 * most;
    let mut planner = FftPlannerScalar::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let mut sum = vec![Complex::new(0.0, 0.0); size];
    for start in loudest(a, stretch, COARSE_STRETCHES) {
        // Both channels go through one transform, left real, right imaginary: the real part of the correlation of such
        // signals is the sum of the channels' correlations.
        let end = a.len().min(start + stretch);
        let mut of_a = padded(a, start as i64, end - start, size);
        let mut of_b = padded(b, start as i64 - most as i64, stretch + 2 * most, size);
        forward.process(&mut of_a);
        forward.process(&mut of_b);
        sum.iter_mut().zip(of_a).zip(of_b).for_each(|((sum, a), b)| *sum += a.conj() * b);
    }
    inverse.process(&mut sum);
    let lags: Vec<f64> = sum[..=2 * most].iter().map(|c| c.re.abs()).collect();
    let peak = lags.iter().fold(0.0f64, |peak, c| peak.max(*c));
    let middle = most as i64;
    let nearly = |lag: &usize| lags[*lag] >= EQUAL_PEAK * peak;
    let mut lag = (0..lags.len()).filter(nearly).min_by_key(|lag| (*lag as i64 - middle).abs())?;
    while lag + 1 < lags.len() && lags[lag + 1] > lags[lag] {
        lag += 1;
    }
    while lag > 0 && lags[lag - 1] > lags[lag] {
        lag -= 1;
    }
    (peak > 0.0).then_some(lag as i64 - middle)
}

/// Starts of the `count` loudest stretches of a signal, the loudest first, where it sounds at all.
fn loudest(signal: &[Frame], stretch: usize, count: usize) -> Vec<usize> {
    let energy = |part: &[Frame]| part.iter().map(|x| x[0] * x[0] + x[1] * x[1]).sum::<f64>();
    let mut parts: Vec<(f64, usize)> =
        signal.chunks(stretch).enumerate().map(|(i, part)| (energy(part), i * stretch)).collect();
    parts.retain(|(energy, _)| *energy > 0.0);
    parts.sort_by(|a, b| b.0.total_cmp(&a.0));
    parts.into_iter().take(count).map(|(_, start)| start).collect()
}

/// `count` frames from `from` on, in `size` complex numbers; silence outside the signal.
fn padded(signal: &[Frame], from: i64, count: usize, size: usize) -> Vec<Complex<f64>> {
    let mut out = vec![Complex::new(0.0, 0.0); size];
    for (i, out) in out.iter_mut().take(count).enumerate() {
        if let Some(x) = usize::try_from(from + i as i64).ok().and_then(|at| signal.get(at)) {
            *out = Complex::new(x[0], x[1]);
        }
    }
    out
}

/// The least-squares fit of `a`, delayed, to `b` at one delay.
struct Fit {
    factor: f64,
    correlation: f64,
    residual: f64,
    /// Change of the delay that the slope asks for.
    delay_step: f64,
}

impl Fit {
    /// None if either signal is silent where they overlap.
    fn at(a: &[Frame], b: &[Frame], delay: f64) -> Option<Self> {
        let from = delay.ceil().max(0.0) as usize;
        let to = b.len().min((a.len() as f64 + delay).max(0.0) as usize);
        let heard = &b[from.min(to)..to];
        let [mut aa, mut bb, mut ab, mut as_, mut ss, mut bs] = [0.0; 6];
        for start in loudest(heard, FINE_FRAMES, FINE_STRETCHES) {
            let (start, count) = (from + start, FINE_FRAMES.min(heard.len() - start));
            let moved = sinc::delayed(a, delay, start as i64, count);
            let slope = sinc::delayed_slope(a, delay, start as i64, count);
            for ((a, s), b) in moved.iter().zip(&slope).zip(&b[start..]) {
                for c in 0..2 {
                    aa += a[c] * a[c];
                    bb += b[c] * b[c];
                    ab += a[c] * b[c];
                    as_ += a[c] * s[c];
                    ss += s[c] * s[c];
                    bs += b[c] * s[c];
                }
            }
        }
        if aa <= 0.0 || bb <= 0.0 {
            return None;
        }
        // b = g a - g step slope, normal equations in g and h = g step.
        let determinant = aa * ss - as_ * as_;
        let (g, h) = ((ab * ss - bs * as_) / determinant, (ab * as_ - bs * aa) / determinant);
        let delay_step = if determinant > 0.0 && g != 0.0 { h / g } else { 0.0 };
        let factor = ab / aa;
        let residual = (bb - factor * ab).max(0.0);
        Some(Self { factor, correlation: ab / (aa * bb).sqrt(), residual, delay_step })
    }
}

#[cfg(test)]
mod tests;
