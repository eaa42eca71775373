//! The pad: a small section of bowed strings, several players to a voice, each with their own tuning and vibrato.

use std::f64::consts::TAU;

use units::Frame;

use crate::filter::{Biquad, OnePole};
use crate::human::Chance;
use crate::score::{Change, beat_of_bar, changes, hz_from_note, lead, secs_from_beats};
use crate::track::{frame_of, silence_stereo};

/// Bars from and to (both included), and the strength at the start and the end.
struct Passage(u32, u32, f64, f64);

const PASSAGES: [Passage; 5] = [
    Passage(3, 5, 0.10, 0.5),
    Passage(14, 21, 0.62, 0.72),
    Passage(22, 25, 0.42, 0.85),
    Passage(26, 33, 0.78, 0.9),
    Passage(34, 35, 0.6, 0.15),
];

/// Players on each of the four voices.
const PLAYERS: usize = 4;

/// Frames between moves of pitch and level.
const TICK: usize = 32;

/// One player's bowed string.
struct Bow {
    phase: f64,
    cents: f64,
    vibrato_hz: f64,
    vibrato_phase: f64,
    /// Slow wander of pitch and pressure.
    wander: OnePole,
    chance: Chance,
}

impl Bow {
    fn new(seed: u64, rate_hz: f64) -> Self {
        let mut chance = Chance::new(seed);
        Self {
            phase: chance.uniform(),
            cents: 5.0 * chance.normal(),
            vibrato_hz: chance.between(4.9, 6.1),
            vibrato_phase: chance.uniform(),
            wander: OnePole::at_hz(1.5 * TICK as f64, rate_hz),
            chance,
        }
    }

    /// Plays a note from a frame on with a strength that swells from one value to another, into both channels.
    fn play(&mut self, frames: &mut [Frame], note: &Note, gains: [f64; 2], rate_hz: f64) {
        let mut level = OnePole::over_ms(note.attack_ms, rate_hz);
        let mut release = OnePole::over_ms(130.0, rate_hz);
        let total = frames.len().min(note.frames + frame_of(0.8, rate_hz));
        let mut step = 0.0;
        let mut bow_noise = Biquad::band_pass(3800.0, 0.8, rate_hz);
        for (n, frame) in frames[..total].iter_mut().enumerate() {
            if n.is_multiple_of(TICK) {
                self.vibrato_phase = (self.vibrato_phase + self.vibrato_hz * TICK as f64 / rate_hz).fract();
                let depth = 9.0 * (n as f64 / (0.5 * rate_hz)).min(1.0);
                let wander = 40.0 * self.wander.low(self.chance.bipolar());
                let cents = self.cents + wander + depth * libm::sin(TAU * self.vibrato_phase);
                step = hz_from_note(f64::from(note.note) + cents / 100.0) / rate_hz;
            }
            let swell = note.strength[0] + (note.strength[1] - note.strength[0]) * n as f64 / note.frames as f64;
            let strength = if n < note.frames {
                release = release.from(swell);
                swell
            } else {
                release.low(0.0)
            };
            let level = level.low(strength);
            self.phase += step;
            self.phase -= self.phase.floor();
            let saw = 2.0 * self.phase - 1.0 - blep(self.phase, step);
            let y = level * (saw + 0.25 * bow_noise.tick(self.chance.bipolar()));
            *frame = [frame[0] + gains[0] * y, frame[1] + gains[1] * y];
        }
    }
}

/// The correction that rounds a saw's step over two samples (polynomial band-limited step, Valimaki and Huovilainen 2007).
#[inline]
fn blep(phase: f64, step: f64) -> f64 {
    if phase < step {
        let t = phase / step - 1.0;
        -t * t
    } else if phase > 1.0 - step {
        let t = (phase - 1.0) / step + 1.0;
        t * t
    } else {
        0.0
    }
}

struct Note {
    note: i32,
    frames: usize,
    strength: [f64; 2],
    attack_ms: f64,
}

/// The pad.
pub(crate) fn pad(rate_hz: f64) -> Vec<Frame> {
    let mut frames = silence_stereo(rate_hz);
    let changes = changes();
    let mut bows: Vec<Bow> = (0..4 * PLAYERS as u64).map(|i| Bow::new(0x9ad + i, rate_hz)).collect();
    let mut voicing = [55, 62, 67, 71];
    for Passage(first, last, low, high) in PASSAGES {
        let (start, end) = (beat_of_bar(first), beat_of_bar(last + 1));
        for change in changes.iter().filter(|c| c.beat >= start && c.beat < end) {
            voicing = lead(voicing, &change.chord, 52, 76);
            let at = |beat: f64| low + (high - low) * (beat - start) / (end - start);
            let strength = [at(change.beat), at(change.beat + change.beats)];
            chord(&mut frames, &mut bows, voicing, change, strength, rate_hz);
        }
    }
    wood(&mut frames, rate_hz);
    frames
}

/// All players of all voices on one chord. They sit in an arc, low voices to the right.
fn chord(frames: &mut [Frame], bows: &mut [Bow], voicing: [i32; 4], change: &Change, strength: [f64; 2], rate_hz: f64) {
    for (index, bow) in bows.iter_mut().enumerate() {
        let (voice, player) = (index / PLAYERS, index % PLAYERS);
        let place = 0.55 - 0.37 * voice as f64 + 0.5 * (player as f64 / (PLAYERS - 1) as f64 - 0.5);
        let (right, left) = libm::sincos((place.clamp(-1.0, 1.0) + 1.0) * std::f64::consts::FRAC_PI_4);
        // Bows do not start together.
        let late = 0.012 + 0.018 * bow.chance.normal().abs();
        let from = frame_of(secs_from_beats(change.beat) + late, rate_hz);
        let note = Note {
            note: voicing[voice],
            frames: frame_of(secs_from_beats(change.beats) - late, rate_hz),
            strength,
            attack_ms: 95.0 + 30.0 * bow.chance.uniform(),
        };
        bow.play(&mut frames[from..], &note, [0.1 * left, 0.1 * right], rate_hz);
    }
}

/// Bodies: the broad resonances that bowed strings share, and the treble they lack.
fn wood(frames: &mut [Frame], rate_hz: f64) {
    for channel in 0..2 {
        let mut tone = [
            Biquad::high_pass(150.0, 0.7, rate_hz),
            Biquad::bell(290.0, 2.0, 3.0, rate_hz),
            Biquad::bell(520.0 + 30.0 * channel as f64, 2.0, 3.0, rate_hz),
            Biquad::bell(1150.0, 1.2, -4.0, rate_hz),
            Biquad::bell(2700.0 - 150.0 * channel as f64, 1.0, 4.0, rate_hz),
            Biquad::low_pass(4300.0, 0.6, rate_hz),
            Biquad::low_pass(7500.0, 0.7, rate_hz),
        ];
        for frame in frames.iter_mut() {
            frame[channel] = tone.iter_mut().fold(frame[channel], |x, f| f.tick(x));
        }
    }
}
