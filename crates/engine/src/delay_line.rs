//! Whole-frame delays that bring paths into line.

use units::{Frame, SILENCE};

/// A delay of a fixed number of frames.
#[derive(Clone, Debug)]
pub struct DelayLine {
    held: Vec<Frame>,
}

impl DelayLine {
    /// A silent delay line.
    #[must_use]
    pub fn new(frames: usize) -> Self {
        Self { held: vec![SILENCE; frames] }
    }

    /// Calls `take` with the delayed frames that belong to `input`, in one or two pieces with the index of each piece's
    /// first frame, and keeps the end of `input` for the next call.
    pub fn pass(&mut self, input: &[Frame], mut take: impl FnMut(usize, &[Frame])) {
        let (length, delay) = (input.len(), self.held.len());
        if delay >= length {
            take(0, &self.held[..length]);
            self.held.copy_within(length.., 0);
            self.held[delay - length..].copy_from_slice(input);
        } else {
            take(0, &self.held);
            take(delay, &input[..length - delay]);
            self.held.copy_from_slice(&input[length - delay..]);
        }
    }

    /// Delays `frames` in place.
    pub fn delay(&mut self, frames: &mut [Frame]) {
        let (length, delay) = (frames.len(), self.held.len());
        if delay == 0 {
            return;
        }
        if delay >= length {
            for (held, frame) in self.held.iter_mut().zip(frames.iter_mut()) {
                std::mem::swap(held, frame);
            }
            self.held.rotate_left(length);
        } else {
            frames.rotate_right(delay);
            self.held.swap_with_slice(&mut frames[..delay]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_out_is_what_went_in_so_many_frames_ago() {
        let input: Vec<Frame> = (1..200).map(|i| [f64::from(i), -f64::from(i)]).collect();
        for delay in [0, 1, 5, 32, 150] {
            for piece in [1, 3, 32, 199] {
                let (mut passing, mut in_place) = (DelayLine::new(delay), DelayLine::new(delay));
                let mut out = Vec::new();
                let mut delayed = input.clone();
                for (chunk, place) in input.chunks(piece).zip(delayed.chunks_mut(piece)) {
                    passing.pass(chunk, |_, frames| out.extend_from_slice(frames));
                    in_place.delay(place);
                }
                let expected: Vec<Frame> =
                    std::iter::repeat_n(SILENCE, delay).chain(input.iter().copied()).take(input.len()).collect();
                assert_eq!(out, expected, "delay {delay}, pieces of {piece}");
                assert_eq!(delayed, expected, "in place, delay {delay}, pieces of {piece}");
            }
        }
    }
}
