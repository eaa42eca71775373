//! The shaping filter: where the noise of rounding may lie.
//!
//! Error feedback turns white error into noise of spectrum |A(f)|^2 with A(z) = 1 + a1 z^-1 + ... The A that makes the
//! noise weighted by the ear's sensitivity w(f) least is the prediction-error filter of a process whose spectrum is
//! w(f): Levinson's recursion finds it from the weight's autocorrelation. (That shaping can move noise but not lower the
//! mean of its logarithm is the theorem of M. A. Gerzon and P. G. Craven, "Optimal Noise Shaping and Dither of Digital
//! Signals", 87th AES Convention, 1989.)
//!
//! The sensitivity is that of E. Terhardt's threshold in quiet ("Calculating virtual pitch", Hearing Research 1, 1979),
//! with f in kHz: T(f) = 3.64 f^-0.8 - 6.5 exp(-0.6 (f - 3.3)^2) + 0.001 f^4 dB. It is followed in part only
//! ([`STRENGTH`]) and its extremes are cut off ([`SPAN_DB`]), so that the noise as a whole stays low.

use std::f64::consts::PI;

/// Past errors that are fed back.
pub(super) const ORDER: usize = 12;
/// How much of the threshold's shape is followed.
const STRENGTH: f64 = 0.5;
/// Thresholds further than this above the lowest count as this.
const SPAN_DB: f64 = 60.0;
/// Points from 0 Hz to half the rate at which the weight is taken.
const POINTS: usize = 512;

/// Terhardt's threshold in quiet in dB.
pub(super) fn threshold_in_quiet_db(hz: f64) -> f64 {
    let f = hz.max(20.0) / 1000.0;
    3.64 * libm::pow(f, -0.8) - 6.5 * libm::exp(-0.6 * (f - 3.3) * (f - 3.3)) + 1e-3 * f * f * f * f
}

/// The weight of noise at a frequency.
fn weight(hz: f64) -> f64 {
    // -4.98 dB is the threshold's minimum, near 3.3 kHz.
    let above = (threshold_in_quiet_db(hz) + 4.98).min(SPAN_DB);
    libm::pow(10.0, -above * STRENGTH / 10.0)
}

/// Coefficients a1.. of the noise's spectrum A.
pub(super) fn filter(rate_hz: f64) -> [f64; ORDER] {
    let mut correlation = [0.0; ORDER + 1];
    for point in 0..POINTS {
        let share = (point as f64 + 0.5) / POINTS as f64;
        let w = weight(share * rate_hz / 2.0);
        for (lag, sum) in correlation.iter_mut().enumerate() {
            *sum += w * libm::cos(PI * share * lag as f64);
        }
    }
    levinson(&correlation)
}

/// Levinson's recursion: the prediction-error filter of an autocorrelation, without its leading 1.
fn levinson(correlation: &[f64; ORDER + 1]) -> [f64; ORDER] {
    let mut a = [0.0; ORDER];
    let mut error = correlation[0];
    for order in 0..ORDER {
        let ahead: f64 = (0..order).map(|i| a[i] * correlation[order - i]).sum();
        let reflection = -(correlation[order + 1] + ahead) / error;
        let before = a;
        for i in 0..order {
            a[i] = before[i] + reflection * before[order - 1 - i];
        }
        a[order] = reflection;
        error *= 1.0 - reflection * reflection;
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;
    use units::db_from_power;

    /// Power of the noise through a weight, re white noise of the same error, in dB.
    fn noise_db(a: &[f64; ORDER], rate_hz: f64, weight: impl Fn(f64) -> f64) -> f64 {
        let (mut shaped, mut white) = (0.0, 0.0);
        for point in 0..4000 {
            let share = (f64::from(point) + 0.5) / 4000.0;
            let (mut re, mut im) = (1.0, 0.0);
            for (lag, c) in a.iter().enumerate() {
                let (s, c0) = libm::sincos(PI * share * (lag + 1) as f64);
                re += c * c0;
                im -= c * s;
            }
            let w = weight(share * rate_hz / 2.0);
            shaped += w * (re * re + im * im);
            white += w;
        }
        db_from_power(shaped / white)
    }

    #[test]
    fn shaping_lowers_what_is_heard_and_obeys_the_theorem() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
            let a = filter(rate_hz);
            let heard = noise_db(&a, rate_hz, |hz| libm::pow(10.0, -threshold_in_quiet_db(hz).min(80.0) / 10.0));
            let whole = noise_db(&a, rate_hz, |_| 1.0);
            println!("{rate_hz}: heard {heard:.2} dB, whole {whole:.2} dB {a:?}");
            assert!(heard < -8.0 && whole < 20.0, "{rate_hz}: heard {heard} dB, whole {whole} dB");
        }
    }
}
