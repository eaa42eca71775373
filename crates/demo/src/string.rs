//! Plucked strings: the extended plucked-string loop of Jaffe and Smith (Computer Music Journal 7(2), 1983).
//!
//! A delay line as long as one period carries the slope of the string round; a one-pole filter takes what the bridge and
//! the air take, an all-pass sets the last fraction of a sample. The start is the slope of a string drawn aside at one
//! place, `1 - b` on the short side and `-b` on the other: its harmonics fall as `sin(pi n b) / n`.

use std::f64::consts::TAU;

use libm::{atan2, cos, pow, sin, sqrt};

use crate::filter::Biquad;
use crate::human::Chance;

/// A string as made and as played.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pluck {
    pub(crate) hz: f64,
    /// Strength, 0 to 1.
    pub(crate) force: f64,
    /// Where it is plucked, as a share of the length from the bridge.
    pub(crate) place: f64,
    /// Decay of the fundamental by 60 dB.
    pub(crate) t60_s: f64,
    /// Decay at 4 kHz.
    pub(crate) treble_t60_s: f64,
    /// Corner of the plectrum or finger at full strength: a finger is round, a plectrum sharp.
    pub(crate) edge_hz: f64,
    /// How long it is let ring.
    pub(crate) held_s: f64,
    /// Decay once a hand stops it.
    pub(crate) stopped_t60_s: f64,
    /// Where the pickup sits, as a share of the length from the bridge; 0: heard at the bridge.
    pub(crate) pickup: f64,
}

/// The loop's filter: `g (1 - a) / (1 - a / z)`.
struct Loss {
    gain: f64,
    pole: f64,
}

impl Loss {
    /// Losses that give the two decays. With the magnitude `m` of the pole's part at 4 kHz against 0 Hz the pole solves
    /// `(m^2 - 1) a^2 + 2 (1 - m^2 cos w) a + m^2 - 1 = 0`.
    fn of(pluck: &Pluck, rate_hz: f64) -> Self {
        let per_round = |t60_s: f64| pow(10.0, -3.0 / (pluck.hz * t60_s));
        let m = (per_round(pluck.treble_t60_s) / per_round(pluck.t60_s)).min(0.9999);
        let c = cos(TAU * 4000.0 / rate_hz);
        let (p, q) = (m * m - 1.0, 1.0 - m * m * c);
        let pole = ((-q + sqrt((q * q - p * p).max(0.0))) / p).clamp(0.0, 0.95);
        let w = TAU * pluck.hz / rate_hz;
        let magnitude = (1.0 - pole) / sqrt(1.0 + pole * pole - 2.0 * pole * cos(w));
        Self { gain: (per_round(pluck.t60_s) / magnitude).min(0.999_999), pole }
    }

    /// Phase delay at a frequency, in samples.
    fn delay(&self, w: f64) -> f64 {
        atan2(self.pole * sin(w), 1.0 - self.pole * cos(w)) / w
    }
}

impl Pluck {
    /// Adds the string's sound to a track from its first frame on.
    pub(crate) fn sound(&self, track: &mut [f64], rate_hz: f64, chance: &mut Chance) {
        let loss = Loss::of(self, rate_hz);
        let w = TAU * self.hz / rate_hz;
        let period = rate_hz / self.hz;
        let left = period - loss.delay(w);
        let whole = (left - 0.5).floor();
        let rest = left - whole;
        // First-order all-pass with exactly this phase delay at the fundamental.
        let c = sin(w * (1.0 - rest) / 2.0) / sin(w * (1.0 + rest) / 2.0);
        let mut line = vec![0.0; whole as usize];
        let pickup = (self.pickup * period).round() as usize;
        let excitation = self.excitation(period, rate_hz, chance);
        let stopped = pow(10.0, -3.0 / (self.hz * self.stopped_t60_s)).min(loss.gain);
        let held = (self.held_s * rate_hz) as usize;
        let ends = held + (1.2 * self.stopped_t60_s * rate_hz) as usize;
        let (mut x1, mut y1, mut low, mut at) = (0.0, 0.0, 0.0, 0);
        for (n, out) in track.iter_mut().take(ends).enumerate() {
            let x = line[at];
            let passed = c * (x - y1) + x1;
            (x1, y1) = (x, passed);
            low = (1.0 - loss.pole) * passed + loss.pole * low;
            let gain = if n < held { loss.gain } else { stopped };
            let y = excitation.get(n).copied().unwrap_or(0.0) + gain * low;
            line[at] = y;
            // What the pickup sees is the wave passing towards the bridge and, inverted, coming back from it.
            let heard =
                if pickup == 0 { y } else { y - line[(at + line.len() - pickup.min(line.len() - 1)) % line.len()] };
            *out += heard;
            at = if at + 1 == line.len() { 0 } else { at + 1 };
        }
    }

    /// One period of the drawn string's slope, rounded by what plucks it, with the scrape of its letting go.
    fn excitation(&self, period: f64, rate_hz: f64, chance: &mut Chance) -> Vec<f64> {
        let frames = period.round();
        let place = (self.place * (1.0 + 0.08 * chance.normal())).clamp(0.03, 0.5);
        let short = (place * frames).round() as usize;
        let share = short as f64 / frames;
        let edge = self.edge_hz * (0.35 + 0.65 * self.force);
        let mut round = Biquad::low_pass(edge, 0.6, rate_hz);
        (0..frames as usize + 64)
            .map(|n| {
                let slope = match n {
                    n if n < short => 1.0 - share,
                    n if n < frames as usize => -share,
                    _ => 0.0,
                };
                let scrape = if n < short { 0.12 * chance.bipolar() } else { 0.0 };
                round.tick(self.force * (slope + scrape))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::{cents, hz_near, level_db};
    use crate::score::hz_from_note;

    const RATE: f64 = 48_000.0;
    const STRING: Pluck = Pluck {
        hz: 110.0,
        force: 0.8,
        place: 0.2,
        t60_s: 4.0,
        treble_t60_s: 0.8,
        edge_hz: 6000.0,
        held_s: 9.0,
        stopped_t60_s: 0.1,
        pickup: 0.0,
    };

    fn sound(pluck: Pluck, secs: f64) -> Vec<f64> {
        let mut track = vec![0.0; (secs * RATE) as usize];
        pluck.sound(&mut track, RATE, &mut Chance::new(5));
        track
    }

    #[test]
    fn strings_are_in_tune_over_the_whole_neck() {
        // ISO 16: A4 = 440 Hz, equal temperament.
        for note in (28..=76).step_by(3) {
            let hz = hz_from_note(f64::from(note));
            let x = sound(Pluck { hz, ..STRING }, 0.9);
            let off = cents(hz_near(&x[4800..], hz), hz);
            assert!(off.abs() < 0.5, "note {note} is off by {off} cents");
        }
    }

    #[test]
    fn the_fundamental_dies_in_its_time_and_a_hand_stops_it() {
        let x = sound(STRING, 3.0);
        let fall = level_db(&x[72_000..82_000], 110.0) - level_db(&x[24_000..34_000], 110.0);
        // 60 dB in 4 s: 15 dB in the second between.
        assert!((fall + 15.0).abs() < 0.5, "{fall}");
        let stopped = sound(Pluck { held_s: 0.5, ..STRING }, 1.0);
        assert_eq!(stopped[47_900], 0.0);
    }

    #[test]
    fn plucked_in_the_middle_a_string_lacks_its_even_harmonics() {
        // The n-th harmonic goes as sin(pi n b) / n: none of the even ones at b = 1/2 (any textbook of acoustics). The
        // hand's scatter of the place leaves a little.
        let x = sound(Pluck { place: 0.5, t60_s: 20.0, treble_t60_s: 18.0, ..STRING }, 1.2);
        let level = |n: f64| level_db(&x[2400..50_400], 110.0 * n);
        assert!(level(2.0) < level(1.0) - 18.0, "{} {}", level(1.0), level(2.0));
        assert!((level(3.0) - level(1.0) + 9.54).abs() < 2.5, "{}", level(3.0) - level(1.0));
    }
}
