//! A second-order section for every lane, at rest or gliding, that costs nothing while it passes everything.

use units::Block;

use crate::biquad::{Coefficients, Gliding, State};

/// One section: coefficients, and a state for every lane.
pub struct Section {
    gliding: Gliding,
    states: Vec<State>,
    /// Frames in which a section that has just come to rest at the identity still empties its state.
    emptying: usize,
}

impl Section {
    /// At rest.
    #[must_use]
    pub fn new(lanes: usize, coefficients: Coefficients) -> Self {
        Self { gliding: Gliding::at(coefficients), states: vec![State::default(); lanes], emptying: 0 }
    }

    /// Glides to other coefficients.
    pub fn go_to(&mut self, coefficients: Coefficients) {
        self.gliding.go_to(coefficients);
        self.emptying = 2;
    }

    /// Filters a block in place.
    pub fn process(&mut self, block: &mut Block<'_>) {
        if !self.gliding.is_at_rest() {
            for at in 0..block.frames() {
                let coefficients = *self.gliding.advance();
                for (state, audio) in self.states.iter_mut().zip(block.lanes_mut()) {
                    audio[at] = state.step(&coefficients, audio[at]);
                }
            }
            return;
        }
        let mut frames = block.frames();
        if *self.gliding.now() == Coefficients::IDENTITY {
            frames = frames.min(self.emptying);
            self.emptying -= frames;
        }
        if frames > 0 {
            for (state, audio) in self.states.iter_mut().zip(block.lanes_mut()) {
                state.process(self.gliding.now(), &mut audio[..frames]);
            }
        }
    }

    /// Ends states that have died away; see [`State::settle`] for when to call it.
    pub fn settle(&mut self) {
        self.states.iter_mut().for_each(State::settle);
    }

    /// Silent memory, glides finished.
    pub fn reset(&mut self) {
        self.gliding.finish();
        self.states.fill(State::default());
        self.emptying = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coming_to_rest_sounds_the_same_however_the_song_is_cut() {
        let input: Vec<units::Frame> = (0..200).map(|n| [f64::from(n * 37 % 11), f64::from(n % 5)]).collect();
        let run = |cut: usize| {
            let mut section = Section::new(1, Coefficients::high_pass(900.0, 0.7, 48_000.0));
            let mut audio = input.clone();
            section.process(&mut Block::key_only(&mut audio[..50]));
            section.go_to(Coefficients::IDENTITY);
            audio[50..].chunks_mut(cut).for_each(|piece| section.process(&mut Block::key_only(piece)));
            audio
        };
        let whole = run(150);
        assert_eq!(whole[100..], input[100..], "at rest it passes everything");
        for cut in [1, 7, 32] {
            assert_eq!(whole, run(cut), "pieces of {cut}");
        }
    }
}
