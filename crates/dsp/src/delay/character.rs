//! What a delay's repeats are made of: a band, and all-pass sections that blur them. All of it has a magnitude of at
//! most 1, so the loop stays stable. The figures are our own choice by ear of the arithmetic; common practice, no source.

use units::{Frame, frames_from_ms};

use crate::space::{CHUNK_FRAMES, cuts::HIGH_CUT_OFF_HZ, line::Line, side::all_pass};

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
    /// Frames of all sections' lines, which is also what they hold a sound back on average.
    fn delay_frames(&self, rate_hz: f64) -> usize {
        self.section_ms.iter().map(|ms| frames_from_ms(*ms, rate_hz)).sum()
    }

    /// Frames by which the sections hold back the frequencies that they hold back longest: m (1 + a) / (1 - a).
    pub(super) fn most_delay_frames(&self, rate_hz: f64) -> f64 {
        self.delay_frames(rate_hz) as f64 * (1.0 + self.section_gain) / (1.0 - self.section_gain)
    }

    /// Frames for which the sections ring above -120 dB.
    pub(super) fn tail_frames(&self, rate_hz: f64) -> usize {
        if self.section_ms.is_empty() {
            return 0;
        }
        (self.delay_frames(rate_hz) as f64 * (6.0 / -libm::log10(self.section_gain)).ceil()) as usize
    }
}

/// The all-pass sections of one lane, left and right apart.
pub(super) struct Diffuser {
    gain: f64,
    sections: Vec<(usize, [Line<f64>; 2])>,
}

impl Diffuser {
    pub(super) fn new(character: &Character, rate_hz: f64) -> Self {
        let section = |ms: &f64| {
            let frames = frames_from_ms(*ms, rate_hz).max(1);
            (frames, [0, 1].map(|_| Line::new(frames, CHUNK_FRAMES, 0.0)))
        };
        Self { gain: character.section_gain, sections: character.section_ms.iter().map(section).collect() }
    }

    pub(super) fn process(&mut self, chunk: &mut [Frame]) {
        if self.sections.is_empty() {
            return;
        }
        for channel in 0..2 {
            let mut signal = [0.0; CHUNK_FRAMES];
            let signal = &mut signal[..chunk.len()];
            for (x, frame) in signal.iter_mut().zip(chunk.iter()) {
                *x = frame[channel];
            }
            for (delay, lines) in &mut self.sections {
                all_pass(&mut lines[channel], *delay, self.gain, signal);
            }
            for (x, frame) in signal.iter().zip(chunk.iter_mut()) {
                frame[channel] = *x;
            }
        }
    }

    pub(super) fn reset(&mut self) {
        for (_, lines) in &mut self.sections {
            lines.iter_mut().for_each(|line| line.clear(0.0));
        }
    }
}
