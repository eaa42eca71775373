//! What tests draw by lot: numbers, values of parameters, noise. The same seed draws the same on every machine. And what
//! work takes of a machine whose load is a matter of chance.

pub mod effort;

use units::{Frame, Unit, random};

/// A stream of [`random`] numbers, from a seed.
pub struct Random(pub u64);

impl Random {
    /// 64 bits.
    pub fn bits(&mut self) -> u64 {
        random::next(&mut self.0)
    }

    /// 0 (included) to 1.
    pub fn share(&mut self) -> f64 {
        random::share(self.bits())
    }

    /// Between -1 and 1: a sample of even noise.
    pub fn even(&mut self) -> f64 {
        2.0 * self.share() - 1.0
    }

    /// Nearly normal, variance 1, never beyond 6: the sum of twelve even numbers.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() / 2.0
    }

    /// A whole number from 0 to `n` - 1.
    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }

    /// True once in `n` times.
    pub fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    /// A value of a parameter. Frequencies and times spread by ratio, the ends come now and then.
    pub fn number(&mut self, unit: Unit, low: f64, high: f64) -> f64 {
        match (self.below(8), unit) {
            (0, _) => low,
            (1, _) => high,
            (_, Unit::Hertz | Unit::Millisecond | Unit::Second) if high > 0.0 => {
                let from = low.max(high * 1e-3);
                (from * libm::pow(high / from, self.share())).clamp(low, high)
            }
            _ => low + (high - low) * self.share(),
        }
    }

    /// Even noise, unrelated in both channels.
    pub fn signal(&mut self, frames: usize, peak: f64) -> Vec<Frame> {
        (0..frames).map(|_| [peak * self.even(), peak * self.even()]).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_stay_in_their_range_and_reach_its_ends() {
        let mut random = Random(1);
        let values: Vec<f64> = (0..200).map(|_| random.number(Unit::Hertz, 20.0, 20_000.0)).collect();
        assert!(values.iter().all(|value| (20.0..=20_000.0).contains(value)));
        assert!(values.contains(&20.0) && values.contains(&20_000.0));
    }
}
