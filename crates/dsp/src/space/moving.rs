//! Delays that move without a click: the old reading of a delay line fades into the new one.
//!
//! A delay that slides bends the pitch; one that jumps clicks. Here both readings play for [`FADE_FRAMES`] frames while
//! the weight goes from the old to the new along 3w^2 - 2w^3. Both weights are positive and sum to 1, so a feedback
//! loop never gains by a move. What is asked for during a fade is taken up when it ends.

use units::Frame;

use super::{SILENT, line::Line};

/// Frames of a fade: 21 ms at 48 kHz.
pub(crate) const FADE_FRAMES: usize = 1024;

/// A setting (whole delays) on its way from one state to the next.
#[derive(Clone, Debug)]
pub(crate) struct Moving<T> {
    now: T,
    next: T,
    wanted: T,
    left: usize,
}

impl<T: Clone + PartialEq> Moving<T> {
    /// At rest.
    pub(crate) fn at(value: T) -> Self {
        Self { now: value.clone(), next: value.clone(), wanted: value, left: 0 }
    }

    /// Sends it to a new state.
    pub(crate) fn go_to(&mut self, value: T) {
        self.wanted = value;
        self.start();
    }

    fn start(&mut self) {
        if self.left == 0 && self.wanted != self.now {
            self.next.clone_from(&self.wanted);
            self.left = FADE_FRAMES;
        }
    }

    /// The state that is left, or held.
    pub(crate) fn now(&self) -> &T {
        &self.now
    }

    /// The state that is being taken up, during a fade.
    pub(crate) fn next(&self) -> Option<&T> {
        (self.left > 0).then_some(&self.next)
    }

    /// The state that it will end in.
    pub(crate) fn wanted(&self) -> &T {
        &self.wanted
    }

    /// How many of the coming `most` frames lie in the same fade, or in none.
    pub(crate) fn steady_frames(&self, most: usize) -> usize {
        if self.left > 0 { most.min(self.left) } else { most }
    }

    /// Weight of the new state in the frame that comes after `offset` more.
    #[inline]
    pub(crate) fn weight(&self, offset: usize) -> f64 {
        let w = (FADE_FRAMES - self.left + offset + 1) as f64 / FADE_FRAMES as f64;
        w * w * (3.0 - 2.0 * w)
    }

    /// Reads a chunk of a line at an age taken from the state, faded where it moves.
    pub(crate) fn read(&self, line: &Line<Frame>, age: impl Fn(&T) -> usize, out: &mut [Frame]) {
        line.read(age(&self.now), out);
        let Some(next) = self.next().filter(|next| age(next) != age(&self.now)) else { return };
        let mut new = SILENT;
        line.read(age(next), &mut new[..out.len()]);
        for (i, (out, new)) in out.iter_mut().zip(&new).enumerate() {
            let w = self.weight(i);
            *out = [0, 1].map(|c| out[c] + w * (new[c] - out[c]));
        }
    }

    /// Lets frames go by, no more than [`Moving::steady_frames`].
    pub(crate) fn pass(&mut self, frames: usize) {
        if self.left > 0 {
            self.left -= frames;
            if self.left == 0 {
                self.now.clone_from(&self.next);
                self.start();
            }
        }
    }

    /// Stands where it was sent at once.
    pub(crate) fn finish(&mut self) {
        self.now.clone_from(&self.wanted);
        self.next.clone_from(&self.wanted);
        self.left = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_move_ends_where_it_was_sent_last_and_its_weight_rises_to_one() {
        let mut moving = Moving::at(5);
        moving.go_to(9);
        assert!(moving.weight(0) > 0.0 && moving.weight(0) < 1e-5);
        assert_eq!(moving.weight(FADE_FRAMES - 1), 1.0);
        moving.go_to(7);
        assert_eq!(moving.steady_frames(4096), FADE_FRAMES);
        moving.pass(FADE_FRAMES);
        assert_eq!((moving.now(), moving.next()), (&9, Some(&7)));
        moving.pass(1);
        assert_eq!(moving.steady_frames(4096), FADE_FRAMES - 1);
        moving.pass(FADE_FRAMES - 1);
        assert_eq!((moving.now(), moving.next()), (&7, None));
    }
}
