//! The decay law and the filter that carries it out.
//!
//! A delay of m frames loses 60 m / (rate T(f)) dB (Jot and Chaigne 1991). The filter of one delay is a gain for the
//! middle and a first-order shelf for each end whose gains are those that the law asks for at 0 Hz and at the top:
//! low shelf (s + w sqrt G) / (s + w / sqrt G), high shelf (s sqrt G + w) / (s / sqrt G + w), by the bilinear transform
//! with w = tan(pi corner / rate). In dB such a shelf is half way at its corner and, for the few dB that a line loses,
//! runs like the l(f) and h(f) of the law.

use std::f64::consts::PI;

/// How a room decays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Decay {
    decay_s: f64,
    ratios: [f64; 2],
    /// tan(pi corner / rate) of both corners.
    corners: [f64; 2],
    rate_hz: f64,
}

/// The filter of one delay: `gain`, then two first-order sections `y = b0 x + b1 x' - a1 y'`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Loss {
    pub(super) low: [f64; 3],
    pub(super) high: [f64; 3],
}

impl Decay {
    /// The law for a decay time, the ratios of lows and highs to it, and the corners between.
    pub(super) fn new(decay_s: f64, ratios: [f64; 2], corners_hz: [f64; 2], rate_hz: f64) -> Self {
        let corner = |hz: f64| libm::tan(PI * hz.min(0.45 * rate_hz) / rate_hz);
        Self { decay_s, ratios, corners: corners_hz.map(corner), rate_hz }
    }

    /// Decay of the middle.
    pub(super) fn mid_s(&self) -> f64 {
        self.decay_s
    }

    /// Sample rate.
    pub(super) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Gain in the middle over a number of seconds: `10^(-3 t / T)`.
    pub(super) fn mid_gain(&self, secs: f64) -> f64 {
        units::gain_from_db(-60.0 * secs / self.decay_s)
    }

    /// The filter of a delay, gain of the middle included.
    pub(super) fn loss(&self, secs: f64) -> Loss {
        let mid = self.mid_gain(secs);
        let [low, high] =
            self.ratios.map(|ratio| units::gain_from_db(-30.0 * secs / self.decay_s * (1.0 / ratio - 1.0)));
        let [w_low, w_high] = self.corners;
        let section = |b0: f64, b1: f64, a0: f64, a1: f64| [b0 / a0, b1 / a0, a1 / a0];
        let mut loss = Loss {
            low: section(1.0 + w_low * low, w_low * low - 1.0, 1.0 + w_low / low, w_low / low - 1.0),
            high: section(high + w_high, w_high - high, 1.0 / high + w_high, w_high - 1.0 / high),
        };
        loss.low[0] *= mid;
        loss.low[1] *= mid;
        loss
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Magnitude of a section in dB.
    fn section_db([b0, b1, a1]: [f64; 3], hz: f64, rate_hz: f64) -> f64 {
        let (sin, cos) = libm::sincos(2.0 * PI * hz / rate_hz);
        let power = |c0: f64, c1: f64| (c0 + c1 * cos) * (c0 + c1 * cos) + c1 * sin * c1 * sin;
        units::db_from_power(power(b0, b1) / power(1.0, a1))
    }

    #[test]
    fn a_line_loses_what_the_published_gain_says() {
        // Jot and Chaigne 1991: g = 10^(-3 m / (fs T)); at 48 kHz and T = 1 s, m 1009: -1.26125 dB, m 4801: -6.00125 dB.
        let decay = Decay::new(1.0, [1.0, 1.0], [200.0, 4000.0], 48_000.0);
        for (m, db) in [(1009.0, -1.26125), (4801.0, -6.00125)] {
            let loss = decay.loss(m / 48_000.0);
            for hz in [10.0, 200.0, 1000.0, 4000.0, 20_000.0] {
                let got = section_db(loss.low, hz, 48_000.0) + section_db(loss.high, hz, 48_000.0);
                assert!((got - db).abs() < 1e-9, "{m} frames at {hz} Hz: {got}");
            }
        }
    }

    #[test]
    fn the_ends_follow_the_law_within_five_per_cent() {
        // The law of the module `room`, held against the filter of a line of 20 ms at 1 s.
        let (rate_hz, secs) = (48_000.0, 0.02);
        for ratios in [[1.5, 0.5], [0.7, 0.7], [2.0, 0.3]] {
            let loss = Decay::new(1.0, ratios, [200.0, 4000.0], rate_hz).loss(secs);
            for hz in [31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0] {
                let l = 1.0 / (1.0 + (hz / 200.0) * (hz / 200.0));
                let h = 1.0 - 1.0 / (1.0 + (hz / 4000.0) * (hz / 4000.0));
                let law = -60.0 * secs * (1.0 + (1.0 / ratios[0] - 1.0) * l + (1.0 / ratios[1] - 1.0) * h);
                let got = section_db(loss.low, hz, rate_hz) + section_db(loss.high, hz, rate_hz);
                assert!((got / law - 1.0).abs() < 0.05, "{ratios:?} at {hz} Hz: {got} dB for {law} dB");
            }
        }
    }
}
