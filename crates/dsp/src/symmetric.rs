//! A linear-phase filter of an odd number of taps, for every lane.

use multiversion::multiversion;
use units::{Block, Frame, SILENCE};

use crate::oversample::{STRIP, fold};

/// The filter: the middle tap, and those on one side of it, outermost first. Its delay is that side's length.
pub struct Symmetric {
    middle: f64,
    side: Vec<f64>,
    lines: Vec<Frame>,
    line_frames: usize,
}

impl Symmetric {
    /// Passes everything, late by `side` frames, in stretches of up to `most_frames`.
    #[must_use]
    pub fn new(lanes: usize, side: usize, most_frames: usize) -> Self {
        let line_frames = 2 * side + most_frames.next_multiple_of(STRIP);
        Self { middle: 1.0, side: vec![0.0; side], lines: vec![SILENCE; lanes * line_frames], line_frames }
    }

    /// Frames of delay.
    #[must_use]
    pub fn latency_frames(&self) -> usize {
        self.side.len()
    }

    /// Sets every tap by its distance from the middle.
    pub fn set_taps(&mut self, tap: impl Fn(usize) -> f64) {
        self.middle = tap(0);
        let count = self.side.len();
        for (at, side) in self.side.iter_mut().enumerate() {
            *side = tap(count - at);
        }
    }

    /// Multiplies every tap.
    pub fn scale(&mut self, gain: f64) {
        self.middle *= gain;
        self.side.iter_mut().for_each(|tap| *tap *= gain);
    }

    /// Gain at a frequency, in radians a frame.
    #[must_use]
    pub fn response(&self, turn: f64) -> f64 {
        let count = self.side.len();
        let sides = self.side.iter().enumerate().map(|(at, tap)| 2.0 * tap * libm::cos(turn * (count - at) as f64));
        self.middle + sides.sum::<f64>()
    }

    /// Filters a block in place.
    pub fn process(&mut self, block: &mut Block<'_>) {
        let (history, frames) = (2 * self.side.len(), block.frames());
        for (line, audio) in self.lines.chunks_exact_mut(self.line_frames).zip(block.lanes_mut()) {
            line[history..][..frames].copy_from_slice(audio);
            convolve(self.middle, &self.side, line, audio);
            line.copy_within(frames..frames + history, 0);
        }
    }

    /// Makes all memory silent.
    pub fn reset(&mut self) {
        self.lines.fill(SILENCE);
    }
}

/// Wider registers give the same bytes: see `oversample`.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn convolve(middle: f64, side: &[f64], line: &[Frame], audio: &mut [Frame]) {
    for (strip, audio) in audio.chunks_mut(STRIP).enumerate() {
        let line = &line[strip * STRIP..];
        let sums = fold(side, 2 * side.len() + 1, line);
        let mut filtered = [0.0; 2 * STRIP];
        for ((out, centre), sum) in filtered.iter_mut().zip(line[side.len()..][..STRIP].as_flattened()).zip(sums) {
            *out = middle * centre + sum;
        }
        audio.copy_from_slice(&filtered.as_chunks().0[..audio.len()]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_impulse_shows_the_taps_in_its_own_lane() {
        let mut filter = Symmetric::new(2, 5, 64);
        filter.set_taps(|away| 1.0 / (1.0 + away as f64));
        let mut data = vec![SILENCE; 128];
        data[64 + 3] = [1.0, -2.0];
        for (from, frames) in [(0, 1), (1, 10), (11, 53)] {
            filter.process(&mut Block::new(&mut data, 64, 64).part(from, frames));
        }
        for (n, frame) in data[64..].iter().enumerate() {
            let away = n.abs_diff(3 + filter.latency_frames());
            let tap = if away <= 5 { 1.0 / (1.0 + away as f64) } else { 0.0 };
            assert_eq!(*frame, [tap, -2.0 * tap], "{n}");
        }
        assert!(data[..64].iter().all(|frame| *frame == SILENCE));
        let sum: f64 = data[64..].iter().map(|frame| frame[0]).sum();
        assert!((filter.response(0.0) - sum).abs() < 1e-15);
    }
}
