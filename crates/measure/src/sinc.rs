//! Windowed-sinc interpolation: the value of a sampled signal between its samples.
//!
//! The ideal interpolator of a band-limited signal is the sinc (Shannon 1949, "Communication in the presence of
//! noise", Proc. IRE 37). It is cut to a finite length with a Kaiser window (Kaiser 1974, "Nonrecursive digital filter
//! design using the I0-sinh window function"; with attenuation A in dB, `beta = 0.1102 (A - 8.7)` and a transition of
//! `(A - 7.95) / (14.36 taps)` of the sample rate). Half of the transition lies below half the sample rate.

use std::f64::consts::PI;

use multiversion::multiversion;
use units::Frame;

/// Kaiser's `beta` for a stop-band attenuation in dB above 50.
#[must_use]
pub fn kaiser_beta(attenuation_db: f64) -> f64 {
    0.1102 * (attenuation_db - 8.7)
}

/// The Kaiser window at `u` from its centre, where its ends are at -1 and 1. Zero outside.
#[must_use]
pub fn kaiser(u: f64, beta: f64) -> f64 {
    if u.abs() > 1.0 { 0.0 } else { bessel_i0(beta * (1.0 - u * u).sqrt()) / bessel_i0(beta) }
}

/// Modified Bessel function of the first kind, order zero, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-17 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// `sin(pi x) / (pi x)`.
#[must_use]
pub fn sinc(x: f64) -> f64 {
    if x.abs() < 1e-9 { 1.0 } else { libm::sin(PI * x) / (PI * x) }
}

/// Weights that give the value at `fraction` (0 to 1) after sample 0 from the samples `1 - half` to `half`, of which
/// there are `2 half`. They sum to 1, and at fraction 0 only sample 0 counts.
#[must_use]
pub fn weights(fraction: f64, half: usize, beta: f64) -> Vec<f64> {
    let at = |k: usize| k as f64 - (half as f64 - 1.0) - fraction;
    if fraction == 0.0 {
        return (0..2 * half).map(|k| if k + 1 == half { 1.0 } else { 0.0 }).collect();
    }
    let mut weights: Vec<f64> = (0..2 * half).map(|k| sinc(at(k)) * kaiser(at(k) / half as f64, beta)).collect();
    let sum: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|w| *w /= sum);
    weights
}

/// Samples that a delayed value draws on: flat within 0.0001 dB to 0.469 of the sample rate.
const DELAY_HALF: i64 = 64;
const DELAY_ATTENUATION_DB: f64 = 120.0;

/// A signal later by any number of frames, whole or not, as heard in the `count` frames from `from` on. The signal
/// counts as silent outside. Whole delays copy samples; others interpolate with a Kaiser-windowed sinc of 128 taps.
#[must_use]
pub fn delayed(signal: &[Frame], delay_frames: f64, from: i64, count: usize) -> Vec<Frame> {
    let (whole, fraction) = split(delay_frames);
    if fraction == 0.0 {
        let at = |n: i64| usize::try_from(n).ok().and_then(|n| signal.get(n)).copied().unwrap_or(units::SILENCE);
        return (from - whole..from - whole + count as i64).map(at).collect();
    }
    let weights = weights(fraction, DELAY_HALF as usize, kaiser_beta(DELAY_ATTENUATION_DB));
    weighted(signal, &weights, from - whole, count)
}

/// The slope of [`delayed`] with time, a frame.
#[must_use]
pub(crate) fn delayed_slope(signal: &[Frame], delay_frames: f64, from: i64, count: usize) -> Vec<Frame> {
    const STEP: f64 = 1e-4;
    let (whole, fraction) = split(delay_frames);
    let beta = kaiser_beta(DELAY_ATTENUATION_DB);
    let [early, late] = [fraction - STEP, fraction + STEP].map(|at| weights(at, DELAY_HALF as usize, beta));
    let slope: Vec<f64> = early.iter().zip(&late).map(|(early, late)| (late - early) / (2.0 * STEP)).collect();
    weighted(signal, &slope, from - whole, count)
}

/// A delay as whole frames late, and a fraction of a frame (0 to 1) early.
fn split(delay_frames: f64) -> (i64, f64) {
    let whole = delay_frames.ceil();
    (whole as i64, whole - delay_frames)
}

/// For each of `count` frames from `from` on: the sum of the samples around it, weighted.
fn weighted(signal: &[Frame], weights: &[f64], from: i64, count: usize) -> Vec<Frame> {
    let reach = weights.len() as i64 / 2 - 1;
    let sum = |at: i64| -> Frame {
        let first = at - reach;
        let skipped = (-first).clamp(0, weights.len() as i64);
        let samples = signal.get((first + skipped) as usize..).unwrap_or(&[]);
        dot(samples, &weights[skipped as usize..])
    };
    let mut out: Vec<Frame> = Vec::with_capacity(count);
    let end = from + count as i64;
    while out.len() < count {
        let at = from + out.len() as i64;
        let inside = usize::try_from(at - reach).ok().and_then(|first| {
            signal.get(first..first + weights.len() + ABREAST - 1).filter(|_| at + ABREAST as i64 <= end)
        });
        match inside {
            Some(samples) => out.extend(dots(samples, weights)),
            None => out.push(sum(at)),
        }
    }
    out
}

/// Values that are computed side by side: one sum need not wait for the last of another.
const ABREAST: usize = 4;

/// [`dot`] of samples from each of the first few on, with weights of a multiple of four.
fn dots(samples: &[Frame], weights: &[f64]) -> [Frame; ABREAST] {
    let mut lanes = [[0.0; 8]; ABREAST];
    sum_up(samples, weights, &mut lanes);
    lanes.map(|x| [(x[0] + x[4]) + (x[2] + x[6]), (x[1] + x[5]) + (x[3] + x[7])])
}

/// The lanes of [`dots`]. Wider registers, where the machine has them, give the same bytes: each sum is added up in the
/// same order, and nothing is fused.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn sum_up(samples: &[Frame], weights: &[f64], out: &mut [[f64; 8]; ABREAST]) {
    let weights = weights.as_chunks::<4>().0;
    let samples: [&[[f64; 8]]; ABREAST] =
        std::array::from_fn(|n| &samples[n..].as_flattened().as_chunks().0[..weights.len()]);
    let mut lanes = [[0.0; 8]; ABREAST];
    for (at, w) in weights.iter().enumerate() {
        for n in 0..ABREAST {
            for k in 0..8 {
                lanes[n][k] += w[k / 2] * samples[n][at][k];
            }
        }
    }
    *out = lanes;
}

/// Sum of samples times weights, as far as both go.
fn dot(samples: &[Frame], weights: &[f64]) -> Frame {
    let count = samples.len().min(weights.len());
    let (samples, weights) = (&samples[..count], &weights[..count]);
    let mut lanes = [units::SILENCE; 4];
    for (samples, weights) in samples.chunks(4).zip(weights.chunks(4)) {
        for ((lane, x), w) in lanes.iter_mut().zip(samples).zip(weights) {
            *lane = [lane[0] + w * x[0], lane[1] + w * x[1]];
        }
    }
    let sum = |c: usize| (lanes[0][c] + lanes[2][c]) + (lanes[1][c] + lanes[3][c]);
    [sum(0), sum(1)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_side_by_side_are_those_one_by_one() {
        let signal: Vec<Frame> = (0..400).map(|n| [libm::sin(f64::from(n * n)), libm::cos(f64::from(3 * n))]).collect();
        let weights: Vec<f64> = (0..128).map(|n| libm::sin(f64::from(7 * n))).collect();
        for (from, count) in [(-70, 500), (100, 3), (63, 280)] {
            let all = weighted(&signal, &weights, from, count);
            let one = |n: usize| weighted(&signal, &weights, from + n as i64, 1)[0];
            assert_eq!(all, (0..count).map(one).collect::<Vec<_>>());
        }
    }

    #[test]
    fn bessel_function_agrees_with_published_values() {
        // Abramowitz and Stegun, table 9.8 (e^-x I0(x)); the digits from SciPy's `special.ive(0, x)`.
        for (x, scaled) in [(1.0, 0.465_759_607_593_6), (5.0, 0.183_540_812_609_3), (10.0, 0.127_833_337_163_4)] {
            assert!((bessel_i0(x) * libm::exp(-x) - scaled).abs() < 1e-12, "I0({x})");
        }
    }

    #[test]
    fn a_tone_keeps_its_value_between_samples() {
        let (half, omega) = (32, 2.0 * PI * 0.45);
        for fraction in [0.1, 0.5, 0.93] {
            let weights = weights(fraction, half, kaiser_beta(80.0));
            for phase in [0.0, 0.7, 2.0] {
                let tone = |n: f64| libm::sin(omega * n + phase);
                let sum: f64 = weights.iter().enumerate().map(|(k, w)| w * tone(k as f64 - 31.0)).sum();
                assert!((sum - tone(fraction)).abs() < 3e-4, "{fraction} {phase}");
            }
        }
    }
}
