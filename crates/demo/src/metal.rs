//! Hats and cymbals: plates with many inharmonic modes, one plate for all its strokes.
//!
//! Low modes are rung one by one. Higher up they lie so close that their sum is noise that decays, band by band: that
//! is how it is made there (the statistical view of dense modes, Schroeder 1962).

use crate::filter::Biquad;
use crate::groove::{self, Part, strokes};
use crate::human::{Chance, Player};
use crate::modes::{Mode, Modes, stroke};
use crate::track::{frame_of, silence};

/// A plate. The modes of a flat plate lie evenly over frequency (Fletcher and Rossing): it rings everywhere at once.
pub(crate) struct Plate {
    seed: u64,
    modes: u32,
    /// Lowest and highest mode.
    range_hz: [f64; 2],
    /// Where it radiates best.
    centre_hz: f64,
    /// Decay at the lowest mode and at the highest.
    t60_s: [f64; 2],
    /// Cut below which the microphone's owner hears nothing useful.
    low_cut_hz: f64,
}

pub(crate) const HATS: Plate = Plate {
    seed: 41,
    modes: 96,
    range_hz: [320.0, 15_500.0],
    centre_hz: 7500.0,
    t60_s: [0.9, 0.55],
    low_cut_hz: 380.0,
};
pub(crate) const CRASH: Plate = Plate {
    seed: 42,
    modes: 140,
    range_hz: [210.0, 14_000.0],
    centre_hz: 4800.0,
    t60_s: [3.4, 1.3],
    low_cut_hz: 250.0,
};
pub(crate) const DARK_CRASH: Plate = Plate {
    seed: 43,
    modes: 140,
    range_hz: [140.0, 12_000.0],
    centre_hz: 3100.0,
    t60_s: [4.6, 1.4],
    low_cut_hz: 180.0,
};
pub(crate) const RIDE: Plate = Plate {
    seed: 44,
    modes: 110,
    range_hz: [330.0, 13_500.0],
    centre_hz: 5600.0,
    t60_s: [2.6, 0.8],
    low_cut_hz: 300.0,
};

/// One stroke on a plate.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stroke {
    frame: usize,
    force: f64,
    /// Contact: sticks are short, mallets long.
    contact_ms: f64,
    /// How long a hard stroke goes on feeding the high modes: a plate bent far passes its energy upwards.
    wash_ms: f64,
    /// The longest decay allowed from here on: the pedal's hold.
    longest_s: f64,
}

impl Plate {
    fn bank(&self, rate_hz: f64) -> Modes {
        let mut chance = Chance::new(self.seed);
        let [low, high] = self.range_hz;
        let step = (high - low) / f64::from(self.modes);
        let modes = (0..self.modes).map(|i| {
            let hz = low + step * (f64::from(i) + chance.uniform());
            let along = (hz - low) / (high - low);
            let octaves = libm::log2(hz / self.centre_hz);
            let gain = libm::exp(-0.30 * octaves * octaves) * (0.5 + chance.uniform());
            Mode { hz, t60_s: self.t60_s[0] * libm::pow(self.t60_s[1] / self.t60_s[0], along), gain }
        });
        Modes::new(modes.collect::<Vec<_>>(), rate_hz)
    }

    /// The bands of the dense modes: an octave under the best radiated frequency, at it, and above.
    fn dense(&self, rate_hz: f64) -> [Dense; 3] {
        [(0.6, 1.0, 0.6), (1.15, 0.8, 1.0), (2.0, 0.6, 0.7)].map(|(place, t60, level)| Dense {
            band: Biquad::band_pass((self.centre_hz * place).min(13_500.0), 0.8, rate_hz),
            t60_s: t60 * self.t60_s[1],
            gain: 0.55 * level,
            level: 0.0,
            waiting: 0.0,
            fall: 0.0,
            rise: 0.0,
        })
    }

    /// Plays strokes, in order of time, on one plate.
    pub(crate) fn play(&self, strokes: &[Stroke], rate_hz: f64) -> Vec<f64> {
        let mut track = silence(rate_hz);
        let (mut bank, mut chance) = (self.bank(rate_hz), Chance::new(self.seed + 1000));
        let mut low = Biquad::high_pass(self.low_cut_hz, 0.7, rate_hz);
        let mut dense = self.dense(rate_hz);
        let ring = (1.3 * self.t60_s[0] * rate_hz) as usize;
        for (index, one) in strokes.iter().enumerate() {
            let next = strokes.get(index + 1).map_or(track.len(), |s| s.frame).max(one.frame);
            let to = next.min(one.frame + ring).min(track.len());
            bank.tune(1.0, one.longest_s);
            let push = stroke(one.contact_ms, rate_hz);
            let fall = libm::exp(-1000.0 / (one.wash_ms * rate_hz));
            let mut wash = 0.06 * one.force * one.force;
            dense.iter_mut().for_each(|band| band.excite(one, rate_hz));
            for (n, y) in track[one.frame..to].iter_mut().enumerate() {
                let hit = one.force * push.get(n).copied().unwrap_or(0.0);
                let noise = chance.bipolar();
                let above: f64 = dense.iter_mut().map(|band| band.tick(noise)).sum();
                *y = low.tick(bank.tick(hit + wash * noise) + above);
                wash *= fall;
            }
            if to < next {
                bank.rest();
            }
        }
        track
    }
}

/// A band in which modes are too dense to tell apart: noise that a stroke feeds and that decays.
struct Dense {
    band: Biquad,
    t60_s: f64,
    gain: f64,
    level: f64,
    /// Energy still on its way up from lower modes.
    waiting: f64,
    fall: f64,
    rise: f64,
}

impl Dense {
    /// A stroke. A hard one feeds the dense modes more than in proportion, and over a longer time.
    fn excite(&mut self, stroke: &Stroke, rate_hz: f64) {
        let short = 1.0 / (1.0 + 6.0 * stroke.contact_ms * stroke.contact_ms);
        self.waiting += self.gain * stroke.force * libm::sqrt(stroke.force) * short;
        self.rise = 1.0 - libm::exp(-8.0 * 1000.0 / (stroke.wash_ms * rate_hz));
        self.fall = libm::pow(10.0, -3.0 / (self.t60_s.min(stroke.longest_s) * rate_hz));
    }

    #[inline]
    fn tick(&mut self, noise: f64) -> f64 {
        let come = self.rise * self.waiting;
        self.waiting -= come;
        self.level = self.level * self.fall + come;
        self.band.tick(self.level * noise)
    }
}

/// Strokes of a part by one hand, all alike but for force.
fn by_hand(part: Part, hand: &mut Player, rate_hz: f64, shape: impl Fn(f64) -> Stroke) -> Vec<Stroke> {
    let played = strokes(part).into_iter().map(|(beat, velocity)| {
        let force = hand.force(velocity);
        Stroke { frame: frame_of(hand.secs(beat), rate_hz), force, ..shape(force) }
    });
    played.collect()
}

/// The hats: closed strokes held by the pedal, open ones that ring until the next stroke.
pub(crate) fn hats(rate_hz: f64) -> Vec<f64> {
    let mut hand = Player::new(0x0dd_0011, 1.0, 3.0);
    let closed = |force: f64| Stroke {
        frame: 0,
        force,
        contact_ms: 0.30 - 0.12 * force,
        wash_ms: 14.0,
        longest_s: 0.08 + 0.08 * force,
    };
    let open = |force: f64| Stroke {
        frame: 0,
        force: 0.9 * force,
        contact_ms: 0.25,
        wash_ms: 70.0,
        longest_s: if force > 0.72 { 0.8 } else { 0.24 },
    };
    let mut all = by_hand(groove::CLOSED_HATS, &mut hand, rate_hz, closed);
    all.extend(by_hand(groove::OPEN_HATS, &mut hand, rate_hz, open));
    let foot = |force: f64| Stroke { frame: 0, force, contact_ms: 0.5, wash_ms: 12.0, longest_s: 0.09 };
    all.extend(by_hand(groove::FOOT_HATS, &mut hand, rate_hz, foot));
    all.sort_by_key(|s| s.frame);
    HATS.play(&all, rate_hz)
}

/// The crash on the hats' side.
pub(crate) fn crash(rate_hz: f64) -> Vec<f64> {
    let mut hand = Player::new(0x0dd_0012, 0.0, 2.5);
    CRASH.play(&by_hand(groove::CRASH, &mut hand, rate_hz, crashing), rate_hz)
}

fn crashing(force: f64) -> Stroke {
    Stroke { frame: 0, force, contact_ms: 0.4, wash_ms: 110.0, longest_s: f64::INFINITY }
}

/// The dark crash: struck, and swelled with mallets.
pub(crate) fn dark_crash(rate_hz: f64) -> Vec<f64> {
    let mut hand = Player::new(0x0dd_0013, 0.0, 2.5);
    let mallet = |force: f64| Stroke {
        frame: 0,
        force: 0.8 * force,
        contact_ms: 2.2 - force,
        wash_ms: 150.0,
        longest_s: f64::INFINITY,
    };
    let mut all = by_hand(groove::DARK_CRASH, &mut hand, rate_hz, crashing);
    all.extend(by_hand(groove::MALLETS, &mut hand, rate_hz, mallet));
    all.sort_by_key(|s| s.frame);
    DARK_CRASH.play(&all, rate_hz)
}

/// The ride, with the stick's tip.
pub(crate) fn ride(rate_hz: f64) -> Vec<f64> {
    let mut hand = Player::new(0x0dd_0014, 1.0, 3.0);
    let tip =
        |force: f64| Stroke { frame: 0, force: 0.6 * force, contact_ms: 0.22, wash_ms: 25.0, longest_s: f64::INFINITY };
    RIDE.play(&by_hand(groove::RIDE, &mut hand, rate_hz, tip), rate_hz)
}
