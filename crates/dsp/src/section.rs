//! A second-order section for every lane, at rest or gliding, that costs nothing while it passes everything.

use units::Block;

use crate::biquad::{Coefficients, Gliding, State};

/// One section: coefficients, and a state for every lane.
pub struct Section {
    gliding: Gliding,
    states: Vec<State>,
}

impl Section {
    /// At rest.
    #[must_use]
    pub fn new(lanes: usize, coefficients: Coefficients) -> Self {
        Self { gliding: Gliding::at(coefficients), states: vec![State::default(); lanes] }
    }

    /// Glides to other coefficients.
    pub fn go_to(&mut self, coefficients: Coefficients) {
        self.gliding.go_to(coefficients);
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
        } else if *self.gliding.now() != Coefficients::IDENTITY {
            for (state, audio) in self.states.iter_mut().zip(block.lanes_mut()) {
                state.process(self.gliding.now(), audio);
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
    }
}
