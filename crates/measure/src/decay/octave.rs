//! Octave-band filters for decay measurement: Butterworth band-passes of the sixth order, run backwards.
//!
//! The low-pass prototype's poles `p` become those of the band-pass, `s = p B/2 +- sqrt((p B/2)^2 - w0^2)`, with all
//! frequencies pre-warped for the bilinear transform. One octave from the centre it gives 19.6 dB of loss.

use std::f64::consts::PI;

use rustfft::num_complex::Complex;

/// `G^(1/2)` of IEC 61260-1, base ten: from an octave's centre to its edge.
const HALF_OCTAVE: f64 = 1.412_537_544_622_754_3;

/// One second-order section: `b0 (1 - z^-2) / (1 + a1 z^-1 + a2 z^-2)`.
struct Section {
    b0: f64,
    a1: f64,
    a2: f64,
}

/// The response through the band at a centre frequency, backwards in time.
pub fn filtered_backwards(response: &[f64], centre_hz: f64, rate_hz: f64) -> Vec<f64> {
    let mut out = response.to_vec();
    for section in sections(centre_hz, rate_hz) {
        let [mut s1, mut s2] = [0.0; 2];
        for x in out.iter_mut().rev() {
            let y = section.b0 * *x + s1;
            s1 = s2 - section.a1 * y;
            s2 = -section.b0 * *x - section.a2 * y;
            *x = y;
        }
    }
    out
}

fn sections(centre_hz: f64, rate_hz: f64) -> [Section; 3] {
    let warped = |hz: f64| libm::tan(PI * hz / rate_hz);
    let (low, high) = (warped(centre_hz / HALF_OCTAVE), warped(centre_hz * HALF_OCTAVE));
    let (width, centre_squared) = (high - low, low * high);
    // Prototype poles at 120, 180 and 240 degrees; the band-pass keeps one of each conjugate pair.
    let slanted = Complex::new(-0.5, 0.75f64.sqrt()) * (width / 2.0);
    let root = complex_sqrt(slanted * slanted - centre_squared);
    let real = Complex::new(-width / 2.0, (centre_squared - width * width / 4.0).max(0.0).sqrt());
    let section = |pole: Complex<f64>| {
        // s^2 - 2 Re p s + |p|^2 with s = (1 - z^-1) / (1 + z^-1); the numerator is s times the bandwidth.
        let (twice, square) = (-2.0 * pole.re, pole.norm_sqr());
        let a0 = 1.0 + twice + square;
        Section { b0: width / a0, a1: 2.0 * (square - 1.0) / a0, a2: (1.0 - twice + square) / a0 }
    };
    [section(slanted + root), section(slanted - root), section(real)]
}

/// Square root by real square roots alone, so that it is the same on every machine.
fn complex_sqrt(z: Complex<f64>) -> Complex<f64> {
    let size = (z.re * z.re + z.im * z.im).sqrt();
    let (re, im) = (((size + z.re) / 2.0).max(0.0).sqrt(), ((size - z.re) / 2.0).max(0.0).sqrt());
    Complex::new(re, if z.im < 0.0 { -im } else { im })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gain in dB at a frequency.
    fn gain_db(centre_hz: f64, rate_hz: f64, hz: f64) -> f64 {
        let w = 2.0 * PI * hz / rate_hz;
        let z = |n: f64| Complex::new(libm::cos(n * w), -libm::sin(n * w));
        let one = Complex::new(1.0, 0.0);
        let gain = sections(centre_hz, rate_hz)
            .iter()
            .map(|s| (s.b0 * (one - z(2.0)) / (one + z(1.0) * s.a1 + z(2.0) * s.a2)).norm_sqr())
            .product();
        units::db_from_power(gain)
    }

    #[test]
    fn bands_are_butterworth() {
        // Closed form |H|^2 = 1 / (1 + x^6), x = (f/f0 - f0/f) / (bandwidth/f0): 0 dB at the centre, -3.01 at the edges,
        // -19.6 dB an octave away at low frequencies, where the transform warps little.
        for (centre_hz, rate_hz) in [(63.0, 48_000.0), (1000.0, 44_100.0), (8000.0, 48_000.0)] {
            assert!(gain_db(centre_hz, rate_hz, centre_hz).abs() < 0.02, "{}", gain_db(centre_hz, rate_hz, centre_hz));
            for edge in [centre_hz / HALF_OCTAVE, centre_hz * HALF_OCTAVE] {
                assert!((gain_db(centre_hz, rate_hz, edge) + 3.0103).abs() < 0.001);
            }
        }
        for hz in [125.0, 500.0] {
            let x = (hz / 250.0 - 250.0 / hz) / (HALF_OCTAVE - 1.0 / HALF_OCTAVE);
            let closed = -units::db_from_power(1.0 + x * x * x * x * x * x);
            assert!((gain_db(250.0, 96_000.0, hz) - closed).abs() < 0.02, "{hz}: {closed}");
        }
    }
}
