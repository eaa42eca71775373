//! What a delay's repeats are made of: a band, and all-pass sections that blur them. All of it has a magnitude of at
//! most 1, so the loop stays stable. The figures are our own choice by ear of the arithmetic; common practice, no source.

use units::{Frame, frames_from_ms};

use crate::space::{
    CHUNK_FRAMES,
    all_pass::{self, AllPassChain},
    cuts::HIGH_CUT_OFF_HZ,
};

/// A character.
pub(super) struct Character {
    pub(super) low_hz: f64,
    pub(super) high_hz: f64,
    /// Delays of the all-pass sections.
    section_ms: &'static [f64],
    section_gain: f64,
}

/// In the order of the choice: clean, tube, slap.
pub(super) const CHARACTERS: [Character; 3] = [
    Character { low_hz: 0.0, high_hz: HIGH_CUT_OFF_HZ, section_ms: &[], section_gain: 0.0 },
    Character { low_hz: 140.0, high_hz: 3800.0, section_ms: &[1.13, 2.71, 4.57, 7.33], section_gain: 0.62 },
    Character { low_hz: 70.0, high_hz: 6500.0, section_ms: &[0.37, 0.83], section_gain: 0.4 },
];

impl Character {
    fn delays_frames(&self, rate_hz: f64) -> impl Iterator<Item = usize> {
        self.section_ms.iter().map(move |ms| frames_from_ms(*ms, rate_hz))
    }

    /// Frames by which the sections hold back the frequencies that they hold back longest: m (1 + a) / (1 - a).
    pub(super) fn most_delay_frames(&self, rate_hz: f64) -> f64 {
        let frames: usize = self.delays_frames(rate_hz).sum();
        frames as f64 * (1.0 + self.section_gain) / (1.0 - self.section_gain)
    }

    /// Frames for which the sections ring above -120 dB.
    pub(super) fn tail_frames(&self, rate_hz: f64) -> usize {
        all_pass::tail_frames(self.section_gain, self.delays_frames(rate_hz))
    }
}

/// The all-pass sections of one lane, left and right apart; none for a character without.
pub(super) struct Diffuser(Option<[AllPassChain; 2]>);

impl Diffuser {
    pub(super) fn new(character: &Character, rate_hz: f64) -> Self {
        let chain = || AllPassChain::new(character.section_gain, character.delays_frames(rate_hz));
        Self((!character.section_ms.is_empty()).then(|| [chain(), chain()]))
    }

    pub(super) fn process(&mut self, chunk: &mut [Frame]) {
        for (channel, chain) in self.0.iter_mut().flatten().enumerate() {
            let mut signal = [0.0; CHUNK_FRAMES];
            let signal = &mut signal[..chunk.len()];
            signal.iter_mut().zip(chunk.iter()).for_each(|(x, frame)| *x = frame[channel]);
            chain.process(signal);
            chunk.iter_mut().zip(signal.iter()).for_each(|(frame, x)| frame[channel] = *x);
        }
    }

    pub(super) fn clear(&mut self) {
        self.0.iter_mut().flatten().for_each(AllPassChain::clear);
    }
}
