//! Kick, snare and toms, each as its own microphone hears it.

use units::gain_from_db;

use crate::filter::{Biquad, OnePole};
use crate::groove::{self, Part, strokes};
use crate::human::{Chance, Player};
use crate::membrane::Head;
use crate::modes::{Mode, Modes, stroke};
use crate::track::{frame_of, silence};

/// A 22-inch head, slack and padded: about 51 Hz once it has settled.
pub(crate) const KICK_HEAD: Head = Head {
    hz: 51.0,
    t60_s: 0.48,
    damping: 0.9,
    radius: 0.08,
    glide: 0.55,
    glide_s: 0.028,
    contact_ms: 2.4,
    tilt_db: 2.0,
};

const SNARE_HEAD: Head = Head {
    hz: 184.0,
    t60_s: 0.26,
    damping: 0.22,
    radius: 0.28,
    glide: 0.05,
    glide_s: 0.03,
    contact_ms: 0.7,
    tilt_db: 2.5,
};

/// A 12-inch tom; the others are this one scaled.
const TOM_HEAD: Head = Head {
    hz: 131.0,
    t60_s: 0.85,
    damping: 0.55,
    radius: 0.33,
    glide: 0.07,
    glide_s: 0.06,
    contact_ms: 1.1,
    tilt_db: 3.0,
};

/// The drummer's seed: every limb has its own number after it.
const DRUMMER: u64 = 0x0dd_0000;

/// The feet and hands: habit and scatter in ms.
fn limb(number: u64, behind_ms: f64) -> Player {
    Player::new(DRUMMER + number, behind_ms, 2.6)
}

/// A short burst of filtered noise: felt, wood or nylon meeting a skin.
fn click(track: &mut [f64], level: f64, hz: f64, decay_ms: f64, rate_hz: f64, chance: &mut Chance) {
    let mut band = Biquad::band_pass(hz, 0.9, rate_hz);
    let fall = libm::exp(-1000.0 / (decay_ms * rate_hz));
    let mut level = level;
    for y in track.iter_mut().take((decay_ms * 8e-3 * rate_hz) as usize) {
        *y += band.tick(level * chance.bipolar());
        level *= fall;
    }
}

/// The kick: a padded head struck near its middle by a felt beater, heard from inside the shell.
pub(crate) fn kick(rate_hz: f64) -> Vec<f64> {
    let mut track = silence(rate_hz);
    let mut foot = limb(1, 0.0);
    for (beat, velocity) in strokes(groove::KICK) {
        let (from, force) = (frame_of(foot.secs(beat), rate_hz), foot.force(velocity));
        KICK_HEAD.strike(&mut track[from..], force, rate_hz, foot.chance());
        click(&mut track[from..], 2.0 * force * force, 3400.0, 2.2, rate_hz, foot.chance());
        click(&mut track[from..], 0.9 * force, 900.0, 4.0, rate_hz, foot.chance());
    }
    let mut low = Biquad::high_pass(28.0, 0.7, rate_hz);
    let mut boxy = Biquad::bell(330.0, 0.9, -7.0, rate_hz);
    for y in &mut track {
        *y = boxy.tick(low.tick(*y));
    }
    track
}

/// The snare: a tight head whose fellow underneath throws wires against itself; in the verse, the stick across the rim.
pub(crate) fn snare(rate_hz: f64) -> Vec<f64> {
    let mut track = silence(rate_hz);
    let mut hand = limb(2, 5.0);
    for (beat, velocity) in strokes(groove::SNARE) {
        let (from, force) = (frame_of(hand.secs(beat), rate_hz), hand.force(velocity));
        snare_stroke(&mut track[from..], force, rate_hz, hand.chance());
    }
    let mut hand = limb(3, 4.0);
    for (beat, velocity) in strokes(groove::CROSS_STICK) {
        let (from, force) = (frame_of(hand.secs(beat), rate_hz), hand.force(velocity));
        cross_stick(&mut track[from..], force, rate_hz, hand.chance());
    }
    let mut low = Biquad::high_pass(70.0, 0.7, rate_hz);
    for y in &mut track {
        *y = low.tick(*y);
    }
    track
}

fn snare_stroke(track: &mut [f64], force: f64, rate_hz: f64, chance: &mut Chance) {
    let frames = track.len().min((0.5 * rate_hz) as usize);
    let mut heads = vec![0.0; frames];
    SNARE_HEAD.strike(&mut heads, force, rate_hz, chance);
    // The lower head is thinner and tighter; the air between couples them.
    let lower = Head { hz: 331.0, t60_s: 0.18, contact_ms: 1.4, ..SNARE_HEAD };
    lower.strike(&mut heads, 0.5 * force, rate_hz, chance);
    let mut wires = Wires::new(rate_hz);
    for (y, head) in track.iter_mut().zip(&heads) {
        *y += 0.8 * head + wires.tick(*head, chance);
    }
    click(track, 1.6 * force * force, 4800.0, 1.2, rate_hz, chance);
}

/// Snare wires: noise as strong as the lower head's motion, which throws them off and lets them fall back.
struct Wires {
    motion: OnePole,
    fall: f64,
    level: f64,
    body: Biquad,
    sizzle: Biquad,
    low: Biquad,
}

impl Wires {
    fn new(rate_hz: f64) -> Self {
        Self {
            motion: OnePole::over_ms(1.5, rate_hz),
            fall: libm::exp(-1.0 / (0.055 * rate_hz)),
            level: 0.0,
            body: Biquad::bell(2300.0, 0.8, 5.0, rate_hz),
            sizzle: Biquad::low_pass(9500.0, 0.7, rate_hz),
            low: Biquad::high_pass(700.0, 0.6, rate_hz),
        }
    }

    fn tick(&mut self, head: f64, chance: &mut Chance) -> f64 {
        let motion = self.motion.low(head.abs());
        self.level = (self.level * self.fall).max(motion);
        let noise = self.level * chance.bipolar();
        1.5 * self.low.tick(self.sizzle.tick(self.body.tick(noise)))
    }
}

fn cross_stick(track: &mut [f64], force: f64, rate_hz: f64, chance: &mut Chance) {
    // Stick on rim: wood and shell, short; then the head's body, held by the hand that lies on it.
    let wood = [
        (437.0, 0.07, 0.5),
        (912.0, 0.06, 0.9),
        (1490.0, 0.05, 0.8),
        (2380.0, 0.035, 0.55),
        (3650.0, 0.025, 0.35),
        (5200.0, 0.02, 0.2),
    ];
    let modes =
        wood.map(|(hz, t60_s, gain)| Mode { hz: hz * (1.0 + 0.004 * chance.normal()), t60_s: 1.6 * t60_s, gain });
    let mut bank = Modes::new(modes, rate_hz);
    let push = stroke(0.35, rate_hz);
    for (n, y) in track.iter_mut().take((0.2 * rate_hz) as usize).enumerate() {
        *y += 0.5 * bank.tick(force * push.get(n).copied().unwrap_or(0.0));
    }
    let held = Head { t60_s: 0.09, contact_ms: 2.0, ..SNARE_HEAD };
    held.strike(track, 0.3 * force, rate_hz, chance);
}

/// One tom: the high one (0), the middle one (1) or the floor tom (2).
pub(crate) fn tom(number: usize, rate_hz: f64) -> Vec<f64> {
    let parts: [Part; 3] = [groove::HIGH_TOM, groove::MIDDLE_TOM, groove::FLOOR_TOM];
    // Tuned about a fourth apart.
    let hz = [131.0, 98.0, 73.5][number];
    let head = Head { hz, t60_s: TOM_HEAD.t60_s * libm::sqrt(131.0 / hz), ..TOM_HEAD };
    let mut track = silence(rate_hz);
    let mut hand = limb(4 + number as u64, 3.0);
    for (beat, velocity) in strokes(parts[number]) {
        let (from, force) = (frame_of(hand.secs(beat), rate_hz), hand.force(velocity));
        head.strike(&mut track[from..], force, rate_hz, hand.chance());
        click(&mut track[from..], gain_from_db(-3.0) * force * force, 2600.0, 2.0, rate_hz, hand.chance());
    }
    let mut low = Biquad::high_pass(38.0, 0.7, rate_hz);
    for y in &mut track {
        *y = low.tick(*y);
    }
    track
}
