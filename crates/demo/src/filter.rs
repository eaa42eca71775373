//! The few filters that instruments are voiced with.

use std::f64::consts::{PI, TAU};

use libm::{cos, exp, sin};

/// A first-order low-pass: `y += k (x - y)`.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct OnePole {
    k: f64,
    y: f64,
}

impl OnePole {
    pub(crate) fn at_hz(hz: f64, rate_hz: f64) -> Self {
        Self { k: 1.0 - exp(-TAU * hz / rate_hz), y: 0.0 }
    }

    /// A follower that covers 63 % of a step in a time.
    pub(crate) fn over_ms(ms: f64, rate_hz: f64) -> Self {
        Self { k: 1.0 - exp(-1000.0 / (ms * rate_hz)), y: 0.0 }
    }

    /// The same, standing at a value.
    pub(crate) fn from(mut self, y: f64) -> Self {
        self.y = y;
        self
    }

    #[inline]
    pub(crate) fn low(&mut self, x: f64) -> f64 {
        self.y += self.k * (x - self.y);
        self.y
    }

    #[inline]
    pub(crate) fn high(&mut self, x: f64) -> f64 {
        x - self.low(x)
    }
}

/// A second-order section in transposed direct form II. Coefficients after the Audio EQ Cookbook (W3C Working Group
/// Note, 2021).
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
    s: [f64; 2],
}

impl Biquad {
    fn new(b: [f64; 3], a: [f64; 3]) -> Self {
        Self { b: b.map(|c| c / a[0]), a: [a[1] / a[0], a[2] / a[0]], s: [0.0; 2] }
    }

    fn angle(hz: f64, q: f64, rate_hz: f64) -> (f64, f64) {
        let w = TAU * hz.min(0.45 * rate_hz) / rate_hz;
        (cos(w), sin(w) / (2.0 * q))
    }

    pub(crate) fn low_pass(hz: f64, q: f64, rate_hz: f64) -> Self {
        let (c, alpha) = Self::angle(hz, q, rate_hz);
        Self::new([(1.0 - c) / 2.0, 1.0 - c, (1.0 - c) / 2.0], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    pub(crate) fn high_pass(hz: f64, q: f64, rate_hz: f64) -> Self {
        let (c, alpha) = Self::angle(hz, q, rate_hz);
        Self::new([f64::midpoint(1.0, c), -(1.0 + c), f64::midpoint(1.0, c)], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    /// Band-pass with 0 dB at its centre.
    pub(crate) fn band_pass(hz: f64, q: f64, rate_hz: f64) -> Self {
        let (c, alpha) = Self::angle(hz, q, rate_hz);
        Self::new([alpha, 0.0, -alpha], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    /// Bell.
    pub(crate) fn bell(hz: f64, q: f64, gain_db: f64, rate_hz: f64) -> Self {
        let (c, alpha) = Self::angle(hz, q, rate_hz);
        let a = units::gain_from_db(gain_db / 2.0);
        Self::new([1.0 + alpha * a, -2.0 * c, 1.0 - alpha * a], [1.0 + alpha / a, -2.0 * c, 1.0 - alpha / a])
    }

    #[inline]
    pub(crate) fn tick(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.s[0];
        self.s[0] = self.b[1] * x - self.a[0] * y + self.s[1];
        self.s[1] = self.b[2] * x - self.a[1] * y;
        y
    }
}

/// A formant: the two-pole resonator of Klatt (JASA 67, 1980), with gain 1 at 0 Hz, cheap to move.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Formant {
    a: f64,
    b: f64,
    c: f64,
    y: [f64; 2],
}

impl Formant {
    pub(crate) fn tune(&mut self, hz: f64, width_hz: f64, rate_hz: f64) {
        let r = exp(-PI * width_hz / rate_hz);
        self.c = -r * r;
        self.b = 2.0 * r * cos(TAU * hz / rate_hz);
        self.a = 1.0 - self.b - self.c;
    }

    #[inline]
    pub(crate) fn tick(&mut self, x: f64) -> f64 {
        let y = self.a * x + self.b * self.y[0] + self.c * self.y[1];
        self.y = [y, self.y[0]];
        y
    }

    /// Whether it has rung out; what is left, far below hearing, is then dropped.
    pub(crate) fn is_still(&mut self) -> bool {
        let still = self.y.iter().all(|y| y.abs() < 1e-7);
        if still {
            self.y = [0.0; 2];
        }
        still
    }
}

/// Bends peaks gently: a rational stand-in for the hyperbolic tangent that meets 1 with slope 0 at 3.
#[inline]
pub(crate) fn soft(x: f64) -> f64 {
    let x = x.clamp(-3.0, 3.0);
    x * (27.0 + x * x) / (27.0 + 9.0 * x * x)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gain at a frequency, from the response to an impulse.
    fn gain_db(mut tick: impl FnMut(f64) -> f64, hz: f64) -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        for n in 0..48_000_u32 {
            let y = tick(if n == 0 { 1.0 } else { 0.0 });
            let (s, c) = libm::sincos(TAU * hz * f64::from(n) / 48_000.0);
            (re, im) = (re + y * c, im - y * s);
        }
        units::db_from_gain(libm::hypot(re, im))
    }

    #[test]
    fn filters_meet_their_definitions() {
        // Audio EQ Cookbook: low- and high-pass have gain Q at the corner, band-pass 0 dB, bell its gain.
        let q = std::f64::consts::FRAC_1_SQRT_2;
        let mut f = Biquad::low_pass(1000.0, q, 48_000.0);
        assert!((gain_db(|x| f.tick(x), 1000.0) + 3.0103).abs() < 1e-3);
        let mut f = Biquad::high_pass(1000.0, 2.0, 48_000.0);
        assert!((gain_db(|x| f.tick(x), 1000.0) - 6.0206).abs() < 1e-3);
        let mut f = Biquad::band_pass(1000.0, 4.0, 48_000.0);
        assert!(gain_db(|x| f.tick(x), 1000.0).abs() < 1e-3);
        let mut f = Biquad::bell(1000.0, 1.0, -4.0, 48_000.0);
        assert!((gain_db(|x| f.tick(x), 1000.0) + 4.0).abs() < 1e-3);
        let mut f = OnePole::at_hz(1000.0, 48_000.0);
        assert!((gain_db(|x| f.low(x), 1000.0) + 3.0).abs() < 0.1);
        // Klatt 1980: gain 1 at 0 Hz; at resonance of a narrow formant about F / width.
        let mut f = Formant::default();
        f.tune(500.0, 50.0, 48_000.0);
        let mut g = f;
        assert!(gain_db(|x| f.tick(x), 0.0).abs() < 1e-6);
        assert!((gain_db(|x| g.tick(x), 500.0) - 20.0).abs() < 0.2);
    }

    #[test]
    fn soft_bends_and_never_passes_one() {
        assert_eq!(soft(3.0), 1.0);
        assert_eq!(soft(-40.0), -1.0);
        assert!((soft(0.5) - libm::tanh(0.5)).abs() < 5e-3);
    }
}
