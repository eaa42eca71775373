//! Tambourine and shaker: many small collisions, each one tiny, heard through a few resonances.
//!
//! The method is Cook's physically informed stochastic event model (Computer Music Journal 21(3), 1997; from memory): a
//! shake gives energy, energy decays, collisions come at random and each adds to the sound as much as is left.

use crate::filter::Biquad;
use crate::groove::{self, Part, strokes};
use crate::human::Player;
use crate::track::{frame_of, silence};

struct Shaken {
    /// Collisions a second while it moves.
    rate: f64,
    /// Time in which the energy of a shake falls by 63 %.
    energy_ms: f64,
    /// Time in which one collision's sound falls by 63 %.
    sound_ms: f64,
    /// Resonances: frequency, Q, level.
    tones: [(f64, f64, f64); 4],
    /// How long a stroke's energy takes to come: beads travel before they land.
    rise_ms: f64,
}

const TAMBOURINE: Shaken = Shaken {
    rate: 1500.0,
    energy_ms: 62.0,
    sound_ms: 2.2,
    tones: [(2350.0, 9.0, 0.25), (5650.0, 24.0, 0.9), (8250.0, 26.0, 1.0), (11_300.0, 10.0, 0.5)],
    rise_ms: 2.0,
};

const SHAKER: Shaken = Shaken {
    rate: 5200.0,
    energy_ms: 30.0,
    sound_ms: 1.1,
    tones: [(3300.0, 1.6, 0.45), (5600.0, 1.8, 0.9), (9200.0, 2.0, 0.6), (1250.0, 3.0, 0.06)],
    rise_ms: 16.0,
};

impl Shaken {
    fn play(&self, part: Part, player: &mut Player, rate_hz: f64) -> Vec<f64> {
        let mut track = silence(rate_hz);
        let mut tones = self.tones.map(|(hz, q, level)| (Biquad::band_pass(hz, q, rate_hz), level));
        let falls = [self.energy_ms, self.sound_ms].map(|ms| libm::exp(-1000.0 / (ms * rate_hz)));
        let hits: Vec<(usize, f64)> =
            strokes(part).iter().map(|(beat, v)| (frame_of(player.secs(*beat), rate_hz), player.force(*v))).collect();
        let rise = frame_of(self.rise_ms * 1e-3, rate_hz).max(1);
        for (index, (from, force)) in hits.iter().enumerate() {
            let next = hits.get(index + 1).map_or(track.len(), |h| h.0).max(*from);
            let to = next.min(from + frame_of(self.energy_ms * 9e-3, rate_hz));
            let (mut energy, mut sound) = (0.0, 0.0);
            for (n, y) in track[*from..to].iter_mut().enumerate() {
                energy = if n < rise { energy + force * force / rise as f64 } else { energy * falls[0] };
                let chance = player.chance();
                if chance.uniform() * rate_hz < self.rate {
                    sound += energy;
                }
                sound *= falls[1];
                let noise = sound * chance.bipolar();
                *y = tones.iter_mut().map(|(tone, level)| *level * tone.tick(noise)).sum();
            }
        }
        track
    }
}

/// The tambourine: pairs of jingles.
pub(crate) fn tambourine(rate_hz: f64) -> Vec<f64> {
    TAMBOURINE.play(groove::TAMBOURINE, &mut Player::new(0x7a3b, 3.0, 4.0), rate_hz)
}

/// The shaker: beads.
pub(crate) fn shaker(rate_hz: f64) -> Vec<f64> {
    SHAKER.play(groove::SHAKER, &mut Player::new(0x5ba3, -2.0, 4.0), rate_hz)
}
