//! Windowed-sinc interpolation: the value of a sampled signal between its samples.
//!
//! The ideal interpolator of a band-limited signal is the sinc (Shannon 1949, "Communication in the presence of
//! noise", Proc. IRE 37). It is cut to a finite length with a Kaiser window (Kaiser 1974, "Nonrecursive digital filter
//! design using the I0-sinh window function"; with attenuation A in dB, `beta = 0.1102 (A - 8.7)` and a transition of
//! `(A - 7.95) / (14.36 taps)` of the sample rate). Half of the transition lies below half the sample rate.

use std::f64::consts::PI;

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

#[cfg(test)]
mod tests {
    use super::*;

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
