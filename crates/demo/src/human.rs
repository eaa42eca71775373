//! Chance and the small unevenness of people: seeded, so that every take comes out the same.

use units::random::{next, share};

use crate::score::secs_from_beats;

/// A stream of random numbers.
#[derive(Clone, Debug)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Evenly spread in 0 to 1 (1 left out).
    pub(crate) fn uniform(&mut self) -> f64 {
        share(next(&mut self.0))
    }

    /// Evenly spread in -1 to 1: one sample of white noise.
    pub(crate) fn bipolar(&mut self) -> f64 {
        2.0 * self.uniform() - 1.0
    }

    /// Close to the normal distribution with deviation 1, never beyond 3.5: the sum of four even ones.
    pub(crate) fn normal(&mut self) -> f64 {
        let sum = self.bipolar() + self.bipolar() + self.bipolar() + self.bipolar();
        sum * 0.866_025_403_784_438_6
    }

    /// Evenly spread in a range.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }
}

/// One musician's (or one limb's) placing of notes: a habit, a slow drift, and a little scatter.
#[derive(Clone, Debug)]
pub(crate) struct Player {
    /// How far behind the beat the player sits as a habit.
    behind_ms: f64,
    /// Deviation of each note.
    scatter_ms: f64,
    drift_ms: f64,
    chance: Chance,
}

impl Player {
    pub(crate) fn new(seed: u64, behind_ms: f64, scatter_ms: f64) -> Self {
        Self { behind_ms, scatter_ms, drift_ms: 0.0, chance: Chance::new(seed) }
    }

    /// The second at which a note written at a beat is played.
    pub(crate) fn secs(&mut self, beat: f64) -> f64 {
        // People keep time by correcting: what is late by a little stays late for some notes.
        self.drift_ms = 0.85 * self.drift_ms + 0.4 * self.scatter_ms * self.chance.normal();
        let ms = self.behind_ms + self.drift_ms + 0.7 * self.scatter_ms * self.chance.normal();
        (secs_from_beats(beat) + ms * 1e-3).max(0.0)
    }

    /// The force of a note written with a velocity of 0 to 1: about 6 % of scatter.
    pub(crate) fn force(&mut self, velocity: f64) -> f64 {
        (velocity * (1.0 + 0.06 * self.chance.normal())).clamp(0.02, 1.0)
    }

    /// The player's own chance, for what else differs from note to note.
    pub(crate) fn chance(&mut self) -> &mut Chance {
        &mut self.chance
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_is_white_enough_and_repeats() {
        let (mut chance, mut again) = (Chance::new(7), Chance::new(7));
        let noise: Vec<f64> = (0..100_000).map(|_| chance.bipolar()).collect();
        assert!(noise.iter().all(|x| *x == again.bipolar()));
        let mean = noise.iter().sum::<f64>() / 1e5;
        let power = noise.iter().map(|x| x * x).sum::<f64>() / 1e5;
        let neighbour = noise.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / 1e5;
        // An even distribution over -1 to 1 has mean 0 and variance 1/3; deviations of the estimates are about 0.002.
        assert!(mean.abs() < 0.008 && (power - 1.0 / 3.0).abs() < 0.005 && neighbour.abs() < 0.006);
        let normal = (0..100_000).map(|_| chance.normal()).map(|x| x * x).sum::<f64>() / 1e5;
        assert!((normal - 1.0).abs() < 0.02, "{normal}");
    }

    #[test]
    fn players_stay_near_the_beat() {
        let mut player = Player::new(3, 4.0, 5.0);
        let late: Vec<f64> =
            (1..400).map(|i| 1000.0 * (player.secs(f64::from(i)) - secs_from_beats(f64::from(i)))).collect();
        let mean = late.iter().sum::<f64>() / 399.0;
        assert!((mean - 4.0).abs() < 2.0, "{mean}");
        // Tapping with a metronome scatters by 10 to 30 ms in anybody, by a few ms in good players (common practice).
        assert!(late.iter().all(|ms| (ms - 4.0).abs() < 25.0));
        assert!(late.iter().any(|ms| (ms - 4.0).abs() > 3.0));
    }
}
