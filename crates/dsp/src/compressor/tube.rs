//! The valve kind's own tone: a little second and third harmonic, free of direct current.
//!
//! y = x h with h = 1 + a u - b u^2, u the key's output through a first-order low-pass at [`CORNER_HZ`] (bilinear). The quadratic part's
//! mean is taken away by subtracting its own low-passed copy, which is linear in each lane: with the key's gain h given,
//! followers still sum to the key. Below the corner a full-scale sine gains a second harmonic at [`SECOND_DB`] and a third
//! at [`THIRD_DB`] (x^2 and x^3 of a sine: halves and quarters); above it they fall by 6 and 12 dB an octave, as do their
//! aliases, so nothing has to be oversampled: a full-scale tone at 15 kHz folds back 69 dB down, and one at -30 dBFS, more
//! than music has there, 99 dB below itself.

use super::ballistics::share_per_frame;
use crate::biquad::{Coefficients, State};
use crate::ramp::RAMP_FRAMES;
use std::f64::consts::TAU;
use units::{Frame, gain_from_db};

/// Corner of the low-pass in the gain.
const CORNER_HZ: f64 = 1500.0;
/// Corner below which the even part is taken away.
const BLOCK_HZ: f64 = 6.0;
/// Second harmonic of a full-scale sine.
pub(super) const SECOND_DB: f64 = -46.0;
/// Third harmonic of a full-scale sine.
pub(super) const THIRD_DB: f64 = -56.0;

/// The tone's constants and the key's low-pass.
#[derive(Debug)]
pub(super) struct Tube {
    even: f64,
    odd: f64,
    low_pass: Coefficients,
    block: f64,
    bias: State,
    /// Frames since the low-pass was last looked after.
    ticked: usize,
    means: Vec<Frame>,
}

impl Tube {
    pub(super) fn new(rate_hz: f64, lanes: usize) -> Self {
        Self {
            even: 2.0 * gain_from_db(SECOND_DB),
            odd: 4.0 * gain_from_db(THIRD_DB),
            low_pass: Coefficients::one_pole_low_pass(CORNER_HZ, rate_hz),
            block: share_per_frame(1000.0 / (TAU * BLOCK_HZ), rate_hz),
            bias: State::default(),
            ticked: 0,
            means: vec![[0.0; 2]; lanes],
        }
    }

    pub(super) fn reset(&mut self) {
        (self.bias, self.ticked) = (State::default(), 0);
        self.means.fill([0.0; 2]);
    }

    /// Frames in which what was taken away from the even part falls by 120 dB.
    pub(super) fn tail_frames(&self) -> usize {
        (6.0 * std::f64::consts::LN_10 / self.block).ceil() as usize
    }

    /// The even and the odd part of h - 1 for the key's next frame.
    #[inline]
    pub(super) fn bend(&mut self, key: Frame) -> [Frame; 2] {
        let u = self.bias.step(&self.low_pass, key);
        self.ticked += 1;
        if self.ticked == RAMP_FRAMES {
            self.bias.settle();
            self.ticked = 0;
        }
        // Beyond full scale the odd part stays where it is, so that the curve never turns back.
        [u.map(|u| self.even * u), u.map(|u| -self.odd * (u * u).min(1.0))]
    }

    /// Applies both parts to one lane's frame.
    #[inline]
    pub(super) fn colour(&mut self, lane: usize, frame: Frame, parts: [Frame; 2]) -> Frame {
        let mut coloured = frame;
        for channel in 0..2 {
            let x = frame[channel];
            let mean = &mut self.means[lane][channel];
            let even = parts[0][channel] * x;
            *mean += self.block * (even - *mean);
            if mean.abs() < 1e-30 {
                *mean = 0.0;
            }
            coloured[channel] = x + even - *mean + parts[1][channel] * x;
        }
        coloured
    }
}
