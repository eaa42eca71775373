//! The K-weighting filter of BS.1770-5, Annex 1: a high shelf for the head, then a high-pass.
//!
//! Tables 1 and 2 print the coefficients for 48 kHz only and ask for the same response at other rates. The analogue
//! prototype below gives the printed figures back to 1e-15 when it is transformed at 48 kHz.

use std::f64::consts::PI;

use units::Frame;

/// Prototype of Table 1 (shelf): corner, gain, quality, and the share of the gain's exponent at the corner.
const SHELF_HZ: f64 = 1_681.974_450_955_533;
const SHELF_DB: f64 = 3.999_843_853_973_347;
const SHELF_Q: f64 = 0.707_175_236_955_419_6;
const SHELF_MID: f64 = 0.499_666_774_154_541_6;
/// Prototype of Table 2 (high-pass): corner and quality. Its numerator is 1, -2, 1 at every rate.
const HIGH_PASS_HZ: f64 = 38.135_470_876_024_44;
const HIGH_PASS_Q: f64 = 0.500_327_037_323_877_3;

/// Below this a filter's memory is taken as silence, long before it could become denormal.
const NOTHING: f64 = 1e-100;

/// Coefficients for `y = b0 x + b1 x' + b2 x'' - a1 y' - a2 y''`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section {
    /// Numerator.
    pub b: [f64; 3],
    /// Denominator without its leading 1.
    pub a: [f64; 2],
}

/// Both sections for two channels at once.
#[derive(Clone, Debug)]
pub struct KWeighting {
    shelf: Section,
    high_pass: Section,
    pub(super) memory: [[f64; 2]; 4],
    weights: [f64; 2],
}

impl KWeighting {
    /// The filter at a rate, with each channel's weight in the energy.
    #[must_use]
    pub fn new(rate_hz: f64, weights: [f64; 2]) -> Self {
        Self { shelf: shelf(rate_hz), high_pass: high_pass(rate_hz), memory: [[0.0; 2]; 4], weights }
    }

    /// Its two sections, for tests and drawings.
    #[must_use]
    pub fn sections(&self) -> [Section; 2] {
        [self.shelf, self.high_pass]
    }

    /// Factor by which it takes the power of a frequency, at the rate that it was made for.
    #[must_use]
    pub fn power_gain(&self, hz: f64, rate_hz: f64) -> f64 {
        let angle = 2.0 * PI * hz / rate_hz;
        let power = |c: [f64; 3]| {
            let along = |of: fn(f64) -> f64| c[0] + c[1] * of(angle) + c[2] * of(2.0 * angle);
            let (re, im) = (along(libm::cos), c[1] * libm::sin(angle) + c[2] * libm::sin(2.0 * angle));
            re * re + im * im
        };
        self.sections().iter().map(|Section { b, a: [a1, a2] }| power(*b) / power([1.0, *a1, *a2])).product()
    }

    /// Filters some frames and adds their weighted energy (sum of squares) to `energy`, frame by frame, so that the
    /// result does not depend on how the programme was cut.
    #[must_use]
    pub fn energy(&mut self, frames: &[Frame], mut energy: f64) -> f64 {
        let Section { b: [b0, b1, b2], a: [a1, a2] } = self.shelf;
        let Section { a: [c1, c2], .. } = self.high_pass;
        let [mut s, mut t, mut u, mut v] = self.memory;
        let [left, right] = self.weights;
        for x in frames {
            let mut z = [0.0; 2];
            for c in 0..2 {
                // Transposed direct form II, twice; the second numerator is 1, -2, 1.
                let y = b0 * x[c] + s[c];
                s[c] = (b1 * x[c] + t[c]) - a1 * y;
                t[c] = b2 * x[c] - a2 * y;
                let w = y + u[c];
                u[c] = (v[c] - 2.0 * y) - c1 * w;
                v[c] = y - c2 * w;
                z[c] = w * w;
            }
            energy += left * z[0] + right * z[1];
        }
        self.memory = [s, t, u, v];
        energy
    }

    /// Turns memories that have died away to plain zero. Called at fixed times of the programme.
    pub fn settle(&mut self) {
        for value in self.memory.as_flattened_mut() {
            if value.abs() < NOTHING {
                *value = 0.0;
            }
        }
    }
}

fn shelf(rate_hz: f64) -> Section {
    let k = libm::tan(PI * SHELF_HZ / rate_hz);
    let high = libm::pow(10.0, SHELF_DB / 20.0);
    let mid = libm::pow(high, SHELF_MID);
    let a0 = 1.0 + k / SHELF_Q + k * k;
    Section {
        b: [
            (high + mid * k / SHELF_Q + k * k) / a0,
            2.0 * (k * k - high) / a0,
            (high - mid * k / SHELF_Q + k * k) / a0,
        ],
        a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / SHELF_Q + k * k) / a0],
    }
}

fn high_pass(rate_hz: f64) -> Section {
    let k = libm::tan(PI * HIGH_PASS_HZ / rate_hz);
    let a0 = 1.0 + k / HIGH_PASS_Q + k * k;
    Section { b: [1.0, -2.0, 1.0], a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / HIGH_PASS_Q + k * k) / a0] }
}
