//! Keys: hammered tines before a pickup, with the slow tremolo between left and right that such pianos have.

use std::f64::consts::TAU;

use libm::{exp, sincos};
use units::Frame;

use crate::filter::{Biquad, soft};
use crate::human::{Chance, Player};
use crate::score::{beat_of_bar, changes, chord_at, hz_from_note, lead, secs_from_beats};
use crate::track::{frame_of, silence};

/// Frequency ratios of a bar clamped at one end (Fletcher and Rossing, The Physics of Musical Instruments, section 2.15:
/// 1, 6.267, 17.55): a tine is one.
const CLAMPED_BAR: [f64; 3] = [1.0, 6.267, 17.55];

/// Chords struck at places (sixteenths) of bars: from bar, to bar, places, length in sixteenths, velocity, and how long
/// the hand takes to roll the chord.
struct Comping(u32, u32, &'static [u32], u32, f64, f64);

const COMPING: [Comping; 9] = [
    Comping(4, 5, &[0, 8], 7, 0.32, 40.0),
    Comping(6, 9, &[0, 10], 6, 0.46, 10.0),
    Comping(10, 13, &[0, 6, 10], 4, 0.52, 8.0),
    Comping(14, 21, &[0, 4, 8, 12], 4, 0.62, 5.0),
    Comping(22, 24, &[0, 8], 8, 0.38, 90.0),
    Comping(25, 25, &[0, 8], 8, 0.5, 60.0),
    Comping(26, 33, &[0, 3, 6, 8, 11, 14], 3, 0.72, 5.0),
    Comping(34, 34, &[0], 16, 0.45, 70.0),
    Comping(35, 35, &[0], 28, 0.42, 140.0),
];

/// One struck tine.
struct Tine {
    hz: f64,
    force: f64,
    held_s: f64,
}

impl Tine {
    /// Adds its sound. The pickup turns the tine's travel through its field into a voltage: the rate of change of
    /// `1 / (1 + (x - offset)^2)`. Off the middle the field is lopsided: hard strokes bark.
    fn sound(&self, track: &mut [f64], rate_hz: f64, chance: &mut Chance) {
        let ring_s = 6.0 * libm::sqrt(220.0 / self.hz);
        let mut partials = [(1.0, ring_s, 1.0), (1.0, 0.5, 0.10), (1.0, 0.12, 0.05)];
        for (partial, ratio) in partials.iter_mut().zip(CLAMPED_BAR) {
            // The tuning spring drags the upper modes a little off the ideal bar's.
            partial.0 = if ratio == 1.0 { 1.0 } else { ratio * (1.0 + 0.004 * chance.normal()) };
        }
        let amplitude = 0.75 * self.force;
        let mut bank = partials.map(|(ratio, t60_s, gain)| {
            let (sin, cos) = sincos(TAU * (self.hz * ratio).min(0.45 * rate_hz) / rate_hz);
            let fall = exp(-6.9078 / (t60_s * rate_hz));
            let bright = if ratio > 1.0 { gain * self.force } else { gain };
            ([amplitude * bright, 0.0], [fall * cos, fall * sin])
        });
        let released = exp(-6.9078 / (0.16 * rate_hz));
        let (held, attack) = ((self.held_s * rate_hz) as usize, rate_hz * 0.0012);
        let offset = 0.32;
        let mut field = 1.0 / (1.0 + offset * offset);
        let mut hand = 1.0;
        let scale = rate_hz / (TAU * self.hz);
        for (n, y) in track.iter_mut().take(held + (0.2 * rate_hz) as usize).enumerate() {
            let mut x = 0.0;
            for ([re, im], [cos, sin]) in &mut bank {
                (*re, *im) = (*re * *cos - *im * *sin, *re * *sin + *im * *cos);
                x += *im;
            }
            hand *= if n < held { 1.0 } else { released };
            let travel = x * hand * (n as f64 / attack).min(1.0) - offset;
            let now = 1.0 / (1.0 + travel * travel);
            *y += scale * (now - field);
            field = now;
        }
    }
}

/// The keys.
pub(crate) fn keys(rate_hz: f64) -> Vec<Frame> {
    let mut player = Player::new(0x4e75, 0.0, 5.0);
    let changes = changes();
    let mut track = silence(rate_hz);
    let mut voicing = [55, 59, 62, 66];
    for Comping(first, last, places, length, velocity, roll_ms) in COMPING {
        for bar in first..=last {
            for place in places {
                let beat = beat_of_bar(bar) + f64::from(*place) / 4.0;
                voicing = lead(voicing, &chord_at(&changes, beat).chord, 53, 72);
                let secs = player.secs(beat);
                for (order, note) in voicing.into_iter().enumerate() {
                    let late = 1e-3 * (roll_ms * order as f64 + 2.5 * player.chance().uniform());
                    // The outer fingers weigh more.
                    let weight = [0.95, 0.8, 0.85, 1.0][order];
                    let tine = Tine {
                        hz: hz_from_note(f64::from(note) + 0.01 * player.chance().normal()),
                        force: player.force(velocity * weight),
                        held_s: secs_from_beats(f64::from(length) / 4.0) - late,
                    };
                    tine.sound(&mut track[frame_of(secs + late, rate_hz)..], rate_hz, player.chance());
                }
            }
        }
    }
    tremolo(&track, rate_hz)
}

/// The preamplifier and the tremolo: 4.6 Hz, left against right.
fn tremolo(track: &[f64], rate_hz: f64) -> Vec<Frame> {
    let mut tone = [
        Biquad::high_pass(75.0, 0.7, rate_hz),
        Biquad::low_pass(6500.0, 0.7, rate_hz),
        Biquad::bell(1800.0, 0.7, 2.5, rate_hz),
    ];
    let (sin, cos) = sincos(TAU * 4.6 / rate_hz);
    let (mut re, mut im) = (1.0, 0.0);
    let swing = |x: &f64| {
        (re, im) = (re * cos - im * sin, re * sin + im * cos);
        let y = tone.iter_mut().fold(soft(0.8 * *x), |y, f| f.tick(y));
        [y * (1.0 + 0.26 * im), y * (1.0 - 0.26 * im)]
    };
    track.iter().map(swing).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tines_have_the_clamped_bars_ratios() {
        // A bar clamped at one end: cos(k) cosh(k) = -1, frequencies go as k squared.
        let roots: Vec<f64> = [1.875_104_069, 4.694_091_133, 7.854_757_438].into();
        for (k, ratio) in roots.iter().zip(CLAMPED_BAR) {
            assert!((libm::cos(*k) * libm::cosh(*k) + 1.0).abs() < 1e-5);
            assert!((k * k / (roots[0] * roots[0]) / ratio - 1.0).abs() < 1e-3);
        }
    }
}
