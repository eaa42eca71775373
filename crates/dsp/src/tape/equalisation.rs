//! Record and replay equalisation, and what lies between them.
//!
//! A standard fixes the flux on the tape by two time constants: it falls above `1/t1` and, with NAB, rises below `1/t2`
//! (IASA TC-04, 5.4.10, Table 1, after IEC 60094-1, NAB and AES):
//!
//! ```text
//! flux(f) = -10 log10(1 + (2 pi f t1)²) + 10 log10(1 + 1/(2 pi f t2)²)   dB
//! ```
//!
//! A coating gives less flux the shorter the wave: its deeper layers are too far from the head. Wallace's thickness loss
//! `(1 - e^-z)/z`, `z = 2 pi f d / v` (1951), is within 1.2 dB of a first-order low-pass with the time constant `d / v`,
//! which is taken here. So the magnetisation that must be recorded is `(1 + s d/v) / (1 + s t1) * (1 + 1/(s t2))`, within
//! 2.2 dB of level above the bass; that is the filter ahead of the hysteresis, and its exact inverse follows it.
//! The bass rise of NAB ends at [`BASS_END_HZ`], because there is no recording direct current.

use std::f64::consts::TAU;

use crate::biquad::Coefficients;

/// Thickness of the coating, m. Common practice, no source.
pub const COATING_M: f64 = 15e-6;

/// Where the bass rise ends; at 31.5 Hz the flux is 0.04 dB from the standard's.
pub const BASS_END_HZ: f64 = 3.0;

/// Metres a second of an inch a second.
pub const METRES_PER_INCH: f64 = 0.0254;

/// A standard for a speed: time constants in seconds, of the treble and, if it has one, of the bass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standard {
    /// Treble.
    pub t1_s: f64,
    /// Bass.
    pub t2_s: Option<f64>,
}

impl Standard {
    /// IEC. At 30 in/s IEC2 is the AES's.
    #[must_use]
    pub fn iec(ips: f64) -> Self {
        let t1_s = if ips > 20.0 {
            17.5e-6
        } else if ips > 10.0 {
            35e-6
        } else {
            70e-6
        };
        Self { t1_s, t2_s: None }
    }

    /// NAB. At 30 in/s it has none and the AES's holds.
    #[must_use]
    pub fn nab(ips: f64) -> Self {
        if ips > 20.0 { Self::iec(ips) } else { Self { t1_s: 50e-6, t2_s: Some(3180e-6) } }
    }

    /// The filters ahead of the magnetisation, treble and bass, and their inverses.
    #[must_use]
    pub fn filters(&self, speed_m_s: f64, rate_hz: f64) -> ([Coefficients; 2], [Coefficients; 2]) {
        let (treble, treble_back) = first_order(COATING_M / speed_m_s, self.t1_s, 1.0, rate_hz);
        let Some(t2_s) = self.t2_s else {
            return ([treble, Coefficients::IDENTITY], [treble_back, Coefficients::IDENTITY]);
        };
        // (1 + s t2) / (s t2) with the pole moved from 0 to the end: (1 + s t2) / (1 + s t3) * t3 / t2.
        let t3_s = 1.0 / (TAU * BASS_END_HZ);
        let (bass, bass_back) = first_order(t2_s, t3_s, t3_s / t2_s, rate_hz);
        ([treble, bass], [treble_back, bass_back])
    }
}

/// `gain (1 + s zero) / (1 + s pole)` by the bilinear transform with the middle of its slope kept in place, and its
/// inverse.
fn first_order(zero_s: f64, pole_s: f64, gain: f64, rate_hz: f64) -> (Coefficients, Coefficients) {
    let middle = (0.5 / (rate_hz * (zero_s * pole_s).sqrt())).min(1.5);
    let scale = 2.0 * rate_hz * middle / libm::tan(middle);
    let (zero, pole) = (scale * zero_s, scale * pole_s);
    let top = [gain * (1.0 + zero), gain * (1.0 - zero), 0.0];
    let bottom = [1.0 + pole, 1.0 - pole, 0.0];
    (Coefficients::normalised(top, bottom), Coefficients::normalised(bottom, top))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn db(coefficients: &[Coefficients; 2], hz: f64, rate_hz: f64) -> f64 {
        let level = |c: &Coefficients| {
            let [re, im] = c.response(hz, rate_hz);
            10.0 * libm::log10(re * re + im * im)
        };
        level(&coefficients[0]) + level(&coefficients[1])
    }

    /// The first-order thickness loss.
    fn thickness_db(hz: f64, speed_m_s: f64) -> f64 {
        let z = TAU * hz * COATING_M / speed_m_s;
        -10.0 * libm::log10(1.0 + z * z)
    }

    #[test]
    fn the_flux_is_the_standards() {
        // Flux re 1 kHz in dB, by the formula above, with the constants of IASA TC-04 Table 1.
        const HZ: [f64; 10] = [31.5, 63.0, 125.0, 500.0, 2000.0, 4000.0, 8000.0, 10_000.0, 16_000.0, 20_000.0];
        for (standard, ips, table) in [
            (Standard::iec(30.0), 30.0, [0.052, 0.052, 0.051, 0.039, -0.153, -0.716, -2.437, -3.39, -6.07, -7.609]),
            (Standard::iec(15.0), 15.0, [0.205, 0.204, 0.202, 0.153, -0.563, -2.284, -5.918, -7.456, -11.06, -12.879]),
            (Standard::nab(15.0), 15.0, [5.868, 2.521, 1.037, 0.335, -1.044, -3.716, -8.245, -9.964, -13.796, -15.674]),
            (Standard::iec(7.5), 7.5, [0.767, 0.765, 0.755, 0.563, -1.721, -5.355, -10.497, -12.316, -16.267, -18.174]),
            (Standard::nab(7.5), 7.5, [5.868, 2.521, 1.037, 0.335, -1.044, -3.716, -8.245, -9.964, -13.796, -15.674]),
        ] {
            let speed = ips * METRES_PER_INCH;
            for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
                let (record, replay) = standard.filters(speed, rate_hz);
                let flux = |hz: f64| db(&record, hz, rate_hz) + thickness_db(hz, speed);
                for (hz, value) in HZ.into_iter().zip(table) {
                    let level = flux(hz) - flux(1000.0);
                    assert!((level - value).abs() < 0.16, "{standard:?} {ips} {rate_hz} {hz} Hz: {level} for {value}");
                    assert!((db(&record, hz, rate_hz) + db(&replay, hz, rate_hz)).abs() < 1e-9);
                }
            }
        }
    }

    #[test]
    fn the_coating_loses_what_wallace_says() {
        for z in [0.1, 0.5, 1.0, 1.5, 2.5, 5.0, 20.0] {
            let wallace = 20.0 * libm::log10((1.0 - libm::exp(-z)) / z);
            let hz = z * 0.381 / (TAU * COATING_M);
            assert!((thickness_db(hz, 0.381) - wallace).abs() < 1.2, "{z}: {} {wallace}", thickness_db(hz, 0.381));
        }
    }
}
