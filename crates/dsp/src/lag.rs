//! A delay of whole frames for every lane: what a dry path needs to stay in step with a wet one.

use units::{Block, Frame, SILENCE};

/// A ring for every lane.
pub struct Lag {
    frames: usize,
    at: usize,
    rings: Vec<Frame>,
}

impl Lag {
    /// Delays by a number of frames, which may be 0.
    #[must_use]
    pub fn new(lanes: usize, frames: usize) -> Self {
        Self { frames, at: 0, rings: vec![SILENCE; lanes * frames] }
    }

    /// Delays a block in place.
    pub fn process(&mut self, block: &mut Block<'_>) {
        if self.frames == 0 {
            return;
        }
        for (ring, audio) in self.rings.chunks_exact_mut(self.frames).zip(block.lanes_mut()) {
            let (mut at, mut rest) = (self.at, audio);
            while !rest.is_empty() {
                let (now, later) = rest.split_at_mut(rest.len().min(self.frames - at));
                now.swap_with_slice(&mut ring[at..at + now.len()]);
                (at, rest) = (0, later);
            }
        }
        self.at = (self.at + block.frames()) % self.frames;
    }

    /// Makes it silent.
    pub fn reset(&mut self) {
        self.rings.fill(SILENCE);
        self.at = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_come_out_late_and_unchanged_in_every_lane() {
        for frames in [0, 1, 3, 100] {
            let mut lag = Lag::new(2, frames);
            let input: Vec<Frame> = (1..=40).map(|i| [f64::from(i), -f64::from(i)]).collect();
            let mut out = [Vec::new(), Vec::new()];
            for piece in input.chunks(7) {
                let mut data = [piece, piece].concat();
                lag.process(&mut Block::new(&mut data, piece.len(), piece.len()));
                out[0].extend_from_slice(&data[..piece.len()]);
                out[1].extend_from_slice(&data[piece.len()..]);
            }
            let late: Vec<Frame> = [vec![SILENCE; frames], input].concat();
            assert_eq!(out, [late[..40].to_vec(), late[..40].to_vec()]);
        }
    }
}
