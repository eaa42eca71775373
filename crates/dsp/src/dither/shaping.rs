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

/// Power of the noise's spectrum at a share of half the rate: |A|^2 by its definition.
#[cfg(test)]
pub(super) fn power(a: &[f64; ORDER], share: f64) -> f64 {
    let (mut re, mut im) = (1.0, 0.0);
    for (lag, weight) in a.iter().enumerate() {
        let (s, c) = libm::sincos(PI * share * (lag + 1) as f64);
        re += weight * c;
        im -= weight * s;
    }
    re * re + im * im
}

#[cfg(test)]
mod tests {
    use super::*;
    use units::db_from_power;

    fn shares() -> impl Iterator<Item = f64> {
        (0..4000).map(|point| (f64::from(point) + 0.5) / 4000.0)
    }

    /// Power of the noise through a weight, re white noise of the same error, in dB.
    fn noise_db(a: &[f64; ORDER], rate_hz: f64, weight: impl Fn(f64) -> f64) -> f64 {
        let (shaped, white) = shares().fold((0.0, 0.0), |(shaped, white), share| {
            let w = weight(share * rate_hz / 2.0);
            (shaped + w * power(a, share), white + w)
        });
        db_from_power(shaped / white)
    }

    fn mean_log_db(a: &[f64; ORDER]) -> f64 {
        shares().map(|share| db_from_power(power(a, share))).sum::<f64>() / 4000.0
    }

    #[test]
    fn shaping_lowers_what_is_heard_and_obeys_the_theorem() {
        // Designed: noise under the threshold's weight, and as a whole, re white noise of the same error.
        for (rate_hz, heard_db, whole_db) in
            [(44_100.0, -12.38, 10.45), (48_000.0, -13.60, 9.82), (96_000.0, -20.31, 5.41), (192_000.0, -22.96, 2.87)]
        {
            let a = filter(rate_hz);
            let heard = noise_db(&a, rate_hz, |hz| libm::pow(10.0, -threshold_in_quiet_db(hz).min(80.0) / 10.0));
            let whole = noise_db(&a, rate_hz, |_| 1.0);
            assert!((heard - heard_db).abs() < 0.02 && (whole - whole_db).abs() < 0.02, "{rate_hz}: {heard} {whole}");
            // Gerzon and Craven: the logarithm of the spectrum has no mean (a filter that begins with 1 and is minimum
            // phase).
            assert!(mean_log_db(&a).abs() < 1e-3, "{rate_hz}: {}", mean_log_db(&a));
        }
    }

    #[test]
    fn the_threshold_is_terhardts() {
        // Worked from the formula: 1 kHz 3.3691 dB, 3.3 kHz -4.9809 dB, 10 kHz 10.5769 dB.
        for (hz, db) in [(1000.0, 3.3691), (3300.0, -4.9809), (10_000.0, 10.5769)] {
            assert!((threshold_in_quiet_db(hz) - db).abs() < 1e-3, "{hz} Hz: {}", threshold_in_quiet_db(hz));
        }
    }
}
