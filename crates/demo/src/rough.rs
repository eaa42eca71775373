//! The rough mix: what the band has been playing in the car. Faders once across, a hard compressor, a clipper.
//!
//! It is meant to be too loud, at about -8 LUFS: the record has to hold its own beside it.

use units::{Frame, gain_from_db};

use crate::filter::OnePole;
use crate::track::silence_stereo;
use crate::{Stem, stems};

/// Faders: stem, level in dB, place from -1 (left) to 1 (right).
const FADERS: [(&str, f64, f64); 16] = [
    ("kick", -3.0, 0.0),
    ("snare", -4.0, 0.0),
    ("hats", -11.0, 0.3),
    ("toms", -5.0, 0.0),
    ("overheads", -7.0, 0.0),
    ("tambourine", -13.0, -0.4),
    ("shaker", -15.0, 0.5),
    ("bass", -4.5, 0.0),
    ("guitar strummed", -6.5, -0.6),
    ("guitar picked", -7.5, 0.6),
    ("keys", -8.0, 0.1),
    ("pad", -8.0, 0.0),
    ("lead voice", -3.0, 0.0),
    ("lead double", -14.0, 0.0),
    ("backing high", -10.0, 0.0),
    ("backing low", -10.0, 0.0),
];

/// Gain into the compressor.
const PUSH_DB: f64 = 9.0;
/// Where the compressor starts; above it, four decibels in give one out.
const THRESHOLD_DB: f64 = -14.0;
const RATIO: f64 = 4.0;
/// Gain into the clipper.
const CLIP_PUSH_DB: f64 = 7.9;
/// Where the clipper stops everything.
const CEILING_DB: f64 = -0.2;

/// Adds stems up and crushes the sum.
#[derive(Debug)]
pub struct RoughMix {
    sum: Vec<Frame>,
    rate_hz: f64,
}

impl RoughMix {
    /// An empty mix.
    #[must_use]
    pub fn new(rate_hz: u32) -> Self {
        Self { sum: silence_stereo(f64::from(rate_hz)), rate_hz: f64::from(rate_hz) }
    }

    /// Adds a stem at its fader. Stems that no fader knows are left out.
    pub fn add(&mut self, stem: &Stem) {
        let Some((_, level_db, place)) = FADERS.iter().find(|(name, ..)| *name == stem.name) else { return };
        let gain = gain_from_db(*level_db);
        // A balance knob: it turns down the side that it leaves.
        let (left, right) = (gain * (1.0 - place).min(1.0), gain * (1.0 + place).min(1.0));
        for (sum, frame) in self.sum.iter_mut().zip(&stem.frames) {
            *sum = [sum[0] + left * frame[0], sum[1] + right * frame[1]];
        }
    }

    /// The sum so far, ahead of what makes it loud.
    #[must_use]
    pub fn balance(&self) -> &[Frame] {
        &self.sum
    }

    /// The loud result.
    #[must_use]
    pub fn finish(mut self) -> Vec<Frame> {
        let push = gain_from_db(PUSH_DB);
        let (attack, release) = (OnePole::over_ms(4.0, self.rate_hz), OnePole::over_ms(90.0, self.rate_hz));
        let mut follower = Follower { attack, release, level: 0.0 };
        let threshold = gain_from_db(THRESHOLD_DB);
        let ceiling = gain_from_db(CEILING_DB);
        let make_up = gain_from_db(CLIP_PUSH_DB) / ceiling;
        let mut gain = 1.0;
        for (n, frame) in self.sum.iter_mut().enumerate() {
            let pushed = frame.map(|x| x * push);
            let level = follower.next(pushed[0].abs().max(pushed[1].abs()));
            if n.is_multiple_of(8) {
                gain = if level > threshold { libm::pow(threshold / level, 1.0 - 1.0 / RATIO) } else { 1.0 };
            }
            *frame = pushed.map(|x| ceiling * clip(x * gain * make_up));
        }
        self.sum
    }
}

/// A peak follower with its own time up and down.
struct Follower {
    attack: OnePole,
    release: OnePole,
    level: f64,
}

impl Follower {
    fn next(&mut self, x: f64) -> f64 {
        let way = if x > self.level { &mut self.attack } else { &mut self.release };
        *way = way.from(self.level);
        self.level = way.low(x);
        self.level
    }
}

/// Straight up to two thirds, then bent, flat from four thirds on: crude, and heard.
fn clip(x: f64) -> f64 {
    let size = x.abs();
    let bent = match size {
        s if s <= 2.0 / 3.0 => s,
        s if s >= 4.0 / 3.0 => 1.0,
        s => {
            let over = s - 2.0 / 3.0;
            s - 0.75 * over * over
        }
    };
    bent.copysign(x)
}

/// Makes all stems and the rough mix of them.
#[must_use]
pub fn rough_mix(rate_hz: u32) -> Vec<Frame> {
    let mut rough = RoughMix::new(rate_hz);
    stems(rate_hz).for_each(|stem| rough.add(&stem));
    rough.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_stem_has_a_fader() {
        assert!(crate::stem_names().eq(FADERS.iter().map(|f| f.0)));
    }

    #[test]
    fn the_clipper_meets_itself_without_a_corner() {
        assert_eq!(clip(0.5), 0.5);
        assert!((clip(2.0 / 3.0 + 1e-9) - 2.0 / 3.0).abs() < 2e-9);
        assert!((clip(4.0 / 3.0 - 1e-6) - 1.0).abs() < 1e-9);
        assert_eq!(clip(-7.0), -1.0);
        let steps = (0..2000).map(|n| clip(f64::from(n + 1) * 1e-3) - clip(f64::from(n) * 1e-3));
        assert!(steps.into_iter().all(|step| (0.0..=1.001e-3).contains(&step)), "no jump, never falling");
    }
}
