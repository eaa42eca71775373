//! Loudness-neutral make-up: the gain that gives back, slowly, the loudness that the reduction took.
//!
//! The input is weighted as ITU-R BS.1770-5 does (its two K stages, redesigned for the rate); its mean square, and the
//! mean square of the same weighted signal times the compressor's gain, are followed with a time constant of
//! [`MEMORY_S`]. Their ratio is the make-up. Frames quieter than the recommendation's absolute gate of -70 LUFS leave it
//! as it stands, and so do the first frames of a song less and less: a follower that starts as a plain average.

use crate::biquad::{Coefficients, State};
use crate::ramp::{RAMP_FRAMES, Ramp};
use std::f64::consts::PI;
use units::{Frame, db_from_power, gain_from_db};

/// Time constant of the followers.
pub(super) const MEMORY_S: f64 = 6.0;
/// Mean square of a frame at the absolute gate: 10^((-70 + 0.691) / 10).
const GATE_POWER: f64 = 1.172_465e-7;
/// Highest make-up.
const MOST_DB: f64 = 36.0;
/// Seconds of input at the gate that the followers are born with, so that they start from no make-up.
const BIRTH_S: f64 = 0.05;

/// The follower of both loudnesses.
#[derive(Debug)]
pub(super) struct LoudnessMatch {
    weighting: [Coefficients; 2],
    states: [State; 2],
    rate_hz: f64,
    weight_s: f64,
    powers: [f64; 2],
    tick: [f64; 2],
    ticked: usize,
    gain: Ramp,
}

impl LoudnessMatch {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            weighting: k_weighting(rate_hz),
            states: [State::default(); 2],
            rate_hz,
            weight_s: BIRTH_S,
            powers: [GATE_POWER; 2],
            tick: [0.0; 2],
            ticked: 0,
            gain: Ramp::at(1.0),
        }
    }

    pub(super) fn reset(&mut self) {
        self.states = [State::default(); 2];
        (self.weight_s, self.powers, self.tick, self.ticked) = (BIRTH_S, [GATE_POWER; 2], [0.0; 2], 0);
        self.gain = Ramp::at(1.0);
    }

    /// Hears one frame before compression and its gains, and gives the make-up for it.
    #[inline]
    pub(super) fn next(&mut self, frame: Frame, gains: [f64; 2]) -> f64 {
        let weighted = self.states.iter_mut().zip(&self.weighting).fold(frame, |x, (state, c)| state.step(c, x));
        for (x, gain) in weighted.into_iter().zip(gains) {
            self.tick[0] += x * x;
            self.tick[1] += x * x * gain * gain;
        }
        self.ticked += 1;
        if self.ticked == RAMP_FRAMES {
            self.follow();
        }
        self.gain.next_value()
    }

    fn follow(&mut self) {
        let mean = self.tick.map(|power| power / RAMP_FRAMES as f64);
        (self.tick, self.ticked) = ([0.0; 2], 0);
        self.states.iter_mut().for_each(State::settle);
        if mean[0] < GATE_POWER {
            return;
        }
        let step_s = RAMP_FRAMES as f64 / self.rate_hz;
        self.weight_s = (self.weight_s + step_s).min(MEMORY_S);
        for (power, mean) in self.powers.iter_mut().zip(mean) {
            *power += (mean - *power) * step_s / self.weight_s;
        }
        let make_up_db = db_from_power(self.powers[0] / self.powers[1].max(1e-30));
        self.gain.go_to(gain_from_db(make_up_db.clamp(0.0, MOST_DB)));
    }
}

/// The two stages of K-weighting (ITU-R BS.1770-5, Annex 1) by the bilinear transform of their analogue parameters,
/// which give the printed coefficients at 48 kHz.
fn k_weighting(rate_hz: f64) -> [Coefficients; 2] {
    let q = 0.707_175_236_955_419_6;
    let k = libm::tan(PI * 1_681.974_450_955_533 / rate_hz);
    let high = gain_from_db(3.999_843_853_973_347);
    let band = libm::pow(high, 0.499_666_774_154_541_6);
    let shelf = Coefficients::normalised(
        [high + band * k / q + k * k, 2.0 * (k * k - high), high - band * k / q + k * k],
        [1.0 + k / q + k * k, 2.0 * (k * k - 1.0), 1.0 - k / q + k * k],
    );
    let q = 0.500_327_037_323_877_3;
    let k = libm::tan(PI * 38.135_470_876_024_44 / rate_hz);
    let high_pass =
        Coefficients::normalised([1.0, -2.0, 1.0], [1.0 + k / q + k * k, 2.0 * (k * k - 1.0), 1.0 - k / q + k * k]);
    // The recommendation does not scale this stage's numerator.
    [shelf, Coefficients { b: [1.0, -2.0, 1.0], ..high_pass }]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weighting_has_the_gain_of_the_recommendation() {
        // BS.1770-5: +0.691 dB at 997 Hz (its offset), and +4.04 dB at 10 kHz, at 48 kHz.
        for (hz, gain_db) in [(997.0, 0.691_014), (10_000.0, 4.042), (100.0, -1.133)] {
            let gain = k_weighting(48_000.0).map(|stage| stage.response(hz, 48_000.0));
            let power: f64 = gain.iter().map(|[re, im]| re * re + im * im).product();
            assert!((db_from_power(power) - gain_db).abs() < 1e-3, "{hz} Hz");
        }
    }
}
