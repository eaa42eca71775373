//! A number that glides to where it is sent, so that moving a gain does not click.

/// Frames of a glide, and of the engine's control tick.
pub const RAMP_FRAMES: usize = 32;

/// A value on its way to a target, in a straight line over [`RAMP_FRAMES`] frames.
#[derive(Clone, Copy, Debug)]
pub struct Ramp {
    now: f64,
    target: f64,
    step: f64,
    left: usize,
}

impl Ramp {
    /// At rest at a value.
    #[must_use]
    pub fn at(value: f64) -> Self {
        Self { now: value, target: value, step: 0.0, left: 0 }
    }

    /// Starts towards a new target.
    pub fn go_to(&mut self, target: f64) {
        self.target = target;
        self.left = RAMP_FRAMES;
        self.step = (target - self.now) / RAMP_FRAMES as f64;
    }

    /// Stands at the target at once.
    pub fn finish(&mut self) {
        *self = Self::at(self.target);
    }

    /// The value of the next frame.
    #[inline]
    pub fn next_value(&mut self) -> f64 {
        if self.left > 0 {
            self.left -= 1;
            self.now = if self.left == 0 { self.target } else { self.now + self.step };
        }
        self.now
    }

    /// Whether it stands still.
    #[must_use]
    pub fn is_at_rest(&self) -> bool {
        self.left == 0
    }

    /// Where it stands.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.now
    }

    /// Where it goes.
    #[must_use]
    pub fn target(&self) -> f64 {
        self.target
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_reaches_its_target_exactly_and_stays() {
        let mut ramp = Ramp::at(0.1);
        ramp.go_to(0.7);
        let values: Vec<f64> = (0..40).map(|_| ramp.next_value()).collect();
        assert!(values.windows(2).all(|pair| pair[1] >= pair[0]));
        assert_eq!(values[31], 0.7);
        assert_eq!(values[39], 0.7);
        assert!(ramp.is_at_rest());
    }
}
