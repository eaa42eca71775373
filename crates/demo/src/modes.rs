//! A bank of damped modes driven by a force: how a head, a bar or a plate rings.

use std::f64::consts::TAU;

use libm::{exp, sincos};

/// Natural logarithm of 1000: a decay by 60 dB.
const LN_60_DB: f64 = 6.907_755_278_982_137;

/// One mode of vibration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Mode {
    pub(crate) hz: f64,
    /// Time in which it falls by 60 dB.
    pub(crate) t60_s: f64,
    /// How strongly it is driven and radiates.
    pub(crate) gain: f64,
}

/// Four modes side by side, so that the compiler works on them together.
#[derive(Clone, Copy, Debug, Default)]
struct Four {
    re: [f64; 4],
    im: [f64; 4],
    step_re: [f64; 4],
    step_im: [f64; 4],
    gain: [f64; 4],
}

/// Modes as complex one-pole resonators: `z = z p + force`, of which the imaginary part, a damped sine, is heard.
#[derive(Clone, Debug)]
pub(crate) struct Modes {
    modes: Vec<Mode>,
    fours: Vec<Four>,
    rate_hz: f64,
}

impl Modes {
    /// Modes above 45 % of the rate are left out.
    pub(crate) fn new(modes: impl IntoIterator<Item = Mode>, rate_hz: f64) -> Self {
        let modes: Vec<Mode> = modes.into_iter().filter(|m| m.hz < 0.45 * rate_hz && m.gain != 0.0).collect();
        let mut bank = Self { fours: vec![Four::default(); modes.len().div_ceil(4)], modes, rate_hz };
        bank.tune(1.0, f64::INFINITY);
        bank
    }

    /// Moves all frequencies by a factor, as the tension of a head does, and lets no mode ring longer than a time, as a
    /// hand, a pedal or a damper does.
    pub(crate) fn tune(&mut self, factor: f64, longest_s: f64) {
        for (index, mode) in self.modes.iter().enumerate() {
            let (four, lane) = (&mut self.fours[index / 4], index % 4);
            let radius = exp(-LN_60_DB / (mode.t60_s.min(longest_s) * self.rate_hz));
            let (sin, cos) = sincos(TAU * (mode.hz * factor).min(0.49 * self.rate_hz) / self.rate_hz);
            four.step_re[lane] = radius * cos;
            four.step_im[lane] = radius * sin;
            four.gain[lane] = mode.gain;
        }
    }

    /// One sample of the sound for one sample of the force.
    #[inline]
    pub(crate) fn tick(&mut self, force: f64) -> f64 {
        let mut sum = [0.0; 4];
        for four in &mut self.fours {
            for (lane, sum) in sum.iter_mut().enumerate() {
                let re = four.re[lane] * four.step_re[lane] - four.im[lane] * four.step_im[lane] + force;
                let im = four.re[lane] * four.step_im[lane] + four.im[lane] * four.step_re[lane];
                (four.re[lane], four.im[lane]) = (re, im);
                *sum += four.gain[lane] * im;
            }
        }
        (sum[0] + sum[1]) + (sum[2] + sum[3])
    }

    /// All modes at rest.
    pub(crate) fn rest(&mut self) {
        for four in &mut self.fours {
            (four.re, four.im) = ([0.0; 4], [0.0; 4]);
        }
    }
}

/// The force of a stroke: half a wave of a raised cosine, of unit area, so that a longer contact is a duller one.
pub(crate) fn stroke(contact_ms: f64, rate_hz: f64) -> Vec<f64> {
    let frames = (contact_ms * 1e-3 * rate_hz).round().max(2.0);
    let one = |n: u32| (1.0 - sincos(TAU * (f64::from(n) + 0.5) / frames).1) / frames;
    (0..frames as u32).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mode_rings_at_its_frequency_and_decays_in_its_time() {
        let mut modes = Modes::new([Mode { hz: 1000.0, t60_s: 0.5, gain: 1.0 }], 48_000.0);
        let sound: Vec<f64> = (0..24_000).map(|n| modes.tick(if n == 0 { 1.0 } else { 0.0 })).collect();
        let crossings = sound[..4800].windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count();
        assert!((99..=100).contains(&crossings));
        let peak = |from: usize| sound[from..from + 48].iter().fold(0.0_f64, |m, x| m.max(x.abs()));
        let fall = units::db_from_gain(peak(12_000) / peak(0));
        assert!((fall + 30.0).abs() < 0.2, "{fall}");
    }

    #[test]
    fn a_stroke_has_unit_area() {
        assert!((stroke(2.0, 48_000.0).iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
