//! What a programme is heard through: one channel, only the sides, one small speaker. It never reaches a print. What codecs
//! make of it comes from `decoded`.

use dsp::biquad::{Coefficients, State};
use units::Frame;

use crate::protocol::Through;

/// The band of one small speaker, fourth order at both ends: no bass, no air. Common practice, no source.
const SMALL_SPEAKER_HZ: [f64; 2] = [250.0, 8_000.0];
/// Quality factors of two second-order sections that make a fourth-order Butterworth filter.
const BUTTERWORTH_Q: [f64; 2] = [0.541_196_100_146_197, 1.306_562_964_876_377];

/// What stands between the programme and the ear.
#[derive(Clone)]
pub struct Lens {
    sections: [Coefficients; 4],
    states: [State; 4],
}

impl Lens {
    /// For a rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let [low, high] = SMALL_SPEAKER_HZ;
        let [wide, narrow] = BUTTERWORTH_Q;
        let sections = [
            Coefficients::high_pass(low, wide, rate_hz),
            Coefficients::high_pass(low, narrow, rate_hz),
            Coefficients::low_pass(high, wide, rate_hz),
            Coefficients::low_pass(high, narrow, rate_hz),
        ];
        Self { sections, states: Default::default() }
    }

    /// Looks at the next frames through it.
    pub fn look(&mut self, through: Through, frames: &mut [Frame]) {
        match through {
            Through::Nothing | Through::Codec(_) => {}
            Through::Side => each(frames, |[left, right]| (left - right) / 2.0),
            Through::Mono => each(frames, |[left, right]| (left + right) / 2.0),
            Through::SmallSpeaker => {
                each(frames, |[left, right]| (left + right) / 2.0);
                for (state, section) in self.states.iter_mut().zip(&self.sections) {
                    state.process(section, frames);
                    state.settle();
                }
            }
        }
    }
}

/// The same in both channels.
fn each(frames: &mut [Frame], one: impl Fn(Frame) -> f64) {
    for frame in frames {
        *frame = [one(*frame); 2];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Level of a tone of 0 dBFS in the middle, heard through the small speaker.
    fn level_db(hz: f64) -> f64 {
        let wave = |n: usize| libm::sin(std::f64::consts::TAU * hz * n as f64 / 48_000.0);
        let mut frames: Vec<Frame> = (0..48_000).map(|n| [wave(n); 2]).collect();
        Lens::new(48_000.0).look(Through::SmallSpeaker, &mut frames);
        let power = frames[24_000..].iter().map(|frame| frame[0] * frame[0]).sum::<f64>() / 24_000.0;
        units::db_from_power(2.0 * power)
    }

    #[test]
    fn a_small_speaker_has_a_butterworth_band() {
        // Butterworth, fourth order: |H|^2 = 1 / (1 + (f0/f)^8); an octave below the corner -24.1 dB, at it -3.01 dB.
        assert!((level_db(125.0) + 24.1).abs() < 0.1 && (level_db(250.0) + 3.01).abs() < 0.05);
        assert!(level_db(1000.0).abs() < 0.05);
    }

    #[test]
    fn mono_and_side_are_what_they_say() {
        let mut frames = [[0.5, -0.5], [0.25, 0.75]];
        Lens::new(48_000.0).look(Through::Mono, &mut frames);
        assert_eq!(frames, [[0.0, 0.0], [0.5, 0.5]]);
        let mut frames = [[0.5, -0.5], [0.25, 0.75]];
        Lens::new(48_000.0).look(Through::Side, &mut frames);
        assert_eq!(frames, [[0.5, 0.5], [-0.25, -0.25]]);
    }
}
