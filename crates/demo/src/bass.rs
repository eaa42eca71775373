//! The bass: a fingered electric bass that stands on the kick.

use crate::filter::{Biquad, soft};
use crate::human::{Chance, Player};
use crate::score::{BEATS_PER_BAR, Change, beat_of_bar, changes, chord_at, hz_from_note, secs_from_beats};
use crate::string::Pluck;
use crate::track::{frame_of, silence};

/// A note of a figure: sixteenth, length in sixteenths, degree, velocity.
///
/// Degrees: `R` the chord's bass note, `8` its octave, `5` the fifth, `3` the third, `a` a step towards the next
/// chord's bass note.
type Row = (u32, u32, char, f64);

/// Bars from and to, and the figure of one or two bars.
struct Figure(u32, u32, &'static [&'static [Row]]);

const VERSE_A: &[Row] = &[(0, 5, 'R', 0.75), (6, 2, 'R', 0.5), (8, 4, 'R', 0.65), (14, 2, 'a', 0.45)];
const VERSE_B: &[Row] = &[(0, 6, 'R', 0.75), (8, 3, '5', 0.6), (11, 2, '8', 0.5), (14, 2, 'a', 0.5)];
const CHORUS_A: &[Row] = &[
    (0, 3, 'R', 0.9),
    (3, 3, 'R', 0.7),
    (6, 2, 'R', 0.8),
    (8, 3, 'R', 0.85),
    (11, 1, '8', 0.6),
    (12, 2, '8', 0.7),
    (14, 2, 'a', 0.7),
];
const CHORUS_B: &[Row] =
    &[(0, 3, 'R', 0.9), (3, 3, '5', 0.7), (6, 2, 'R', 0.8), (8, 4, 'R', 0.85), (12, 2, '5', 0.75), (14, 2, 'a', 0.7)];
const DRIVING: &[Row] = &[
    (0, 2, 'R', 0.95),
    (2, 2, 'R', 0.7),
    (4, 2, 'R', 0.8),
    (6, 2, '8', 0.85),
    (8, 2, 'R', 0.85),
    (10, 2, 'R', 0.7),
    (12, 2, '5', 0.8),
    (14, 2, 'a', 0.75),
];
const LONG: &[Row] = &[(0, 15, 'R', 0.55)];
const HALVES: &[Row] = &[(0, 7, 'R', 0.6), (8, 8, 'R', 0.75)];

const FIGURES: [Figure; 9] = [
    Figure(5, 5, &[&[(0, 7, 'R', 0.6), (8, 4, 'R', 0.6), (12, 4, 'a', 0.6)]]),
    Figure(6, 13, &[VERSE_A, VERSE_B]),
    Figure(14, 21, &[CHORUS_A, CHORUS_B]),
    Figure(22, 24, &[LONG]),
    Figure(25, 25, &[HALVES]),
    Figure(26, 29, &[CHORUS_A, DRIVING]),
    Figure(30, 33, &[DRIVING]),
    Figure(34, 34, &[LONG]),
    Figure(35, 35, &[&[(0, 26, 'R', 0.7)]]),
];

/// A written note of the bass: beat, beats, note number, velocity.
pub(crate) fn line() -> Vec<(f64, f64, i32, f64)> {
    let changes = changes();
    let mut notes = Vec::new();
    for Figure(first, last, bars) in FIGURES {
        for bar in first..=last {
            for (sixteenth, length, degree, velocity) in bars[(bar - first) as usize % bars.len()] {
                let beat = beat_of_bar(bar) + f64::from(*sixteenth) / 4.0;
                let note = degree_note(&changes, beat, beat_of_bar(bar) + BEATS_PER_BAR, *degree);
                notes.push((beat, f64::from(*length) / 4.0, note, *velocity));
            }
        }
    }
    notes
}

/// The note of a degree over the chord at a beat, within the instrument's useful range.
fn degree_note(changes: &[Change], beat: f64, next_bar: f64, degree: char) -> i32 {
    let chord = chord_at(changes, beat).chord;
    let above =
        |steps: std::ops::Range<i32>| steps.map(|s| chord.bass + s).find(|n| chord.tones.contains(&n.rem_euclid(12)));
    match degree {
        '8' => chord.bass + 12,
        '5' => above(5..9).unwrap_or(chord.bass + 7),
        '3' => above(3..5).unwrap_or(chord.bass + 3),
        'a' => approach(chord.bass, chord_at(changes, next_bar).chord.bass),
        _ => chord.bass,
    }
}

/// A step of the key (E minor) beside the next note, on the side from which the line comes.
fn approach(from: i32, to: i32) -> i32 {
    let in_key = |n: &i32| [4, 6, 7, 9, 11, 0, 2].contains(&n.rem_euclid(12));
    let below = (to - 2..to).rev().find(in_key);
    let above = (to + 1..=to + 2).find(in_key);
    let step = if from > to || to <= 28 { above.or(below) } else { below.or(above) };
    step.unwrap_or(from)
}

/// The bass as its direct box and a small amplifier give it.
pub(crate) fn bass(rate_hz: f64) -> Vec<f64> {
    let mut track = silence(rate_hz);
    let mut player = Player::new(0xba55, 4.0, 3.0);
    for (beat, beats, note, velocity) in line() {
        let secs = player.secs(beat);
        let force = player.force(velocity);
        let pluck = Pluck {
            hz: hz_from_note(f64::from(note)),
            force,
            place: 0.19,
            t60_s: 7.0,
            treble_t60_s: 0.4,
            edge_hz: 2000.0,
            held_s: secs_from_beats(beats) - 0.03,
            stopped_t60_s: 0.11,
            pickup: 0.14,
        };
        let from = frame_of(secs, rate_hz);
        pluck.sound(&mut track[from..], rate_hz, player.chance());
        finger(&mut track[from..], 0.05 * force, rate_hz, player.chance());
    }
    let mut amp = [
        Biquad::high_pass(32.0, 0.7, rate_hz),
        Biquad::bell(80.0, 0.7, 3.0, rate_hz),
        Biquad::bell(800.0, 0.8, 2.5, rate_hz),
        Biquad::low_pass(4200.0, 0.7, rate_hz),
    ];
    let mut turns = [(70.0, 0.5), (190.0, 0.6), (520.0, 0.7)].map(|(hz, q)| Biquad::band_pass(hz, q, rate_hz));
    for y in &mut track {
        // 1 - 2 (band-pass) is an all-pass: transformers and loudspeakers turn phases, so that the plucks' spikes, all of
        // one polarity, spread out.
        let turned = turns.iter_mut().fold(*y, |x, f| x - 2.0 * f.tick(x));
        let driven = soft(1.5 * turned + 0.06) - soft(0.06);
        *y = amp.iter_mut().fold(driven, |x, f| f.tick(x));
    }
    track
}

/// The finger rolling off the winding: a few milliseconds of noise.
fn finger(track: &mut [f64], level: f64, rate_hz: f64, chance: &mut Chance) {
    let mut band = Biquad::band_pass(1500.0, 0.9, rate_hz);
    let frames = frame_of(0.018, rate_hz);
    for (n, y) in track.iter_mut().take(frames).enumerate() {
        let along = n as f64 / frames as f64;
        *y += level * (1.0 - along) * band.tick(chance.bipolar());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::groove::{self, strokes};

    #[test]
    fn the_bass_stands_on_the_kick() {
        // A rhythm section's common practice: where the kick falls on the first beat of a bar, the bass falls with it.
        let line = line();
        let kick = strokes(groove::KICK);
        let bass_bars = 6.0 * 4.0 - 4.0;
        let firsts = kick.iter().filter(|(beat, _)| beat % 4.0 == 0.0 && *beat >= bass_bars && *beat < 34.0 * 4.0);
        for (beat, _) in firsts {
            assert!(line.iter().any(|n| n.0 == *beat), "no bass with the kick at beat {beat}");
        }
        let together = kick.iter().filter(|(beat, _)| line.iter().any(|n| n.0 == *beat)).count();
        assert!(together as f64 > 0.75 * kick.len() as f64, "{together} of {}", kick.len());
    }

    #[test]
    fn the_line_lies_on_a_four_string_bass() {
        for (beat, beats, note, _) in line() {
            assert!((28..=50).contains(&note) && beats > 0.0, "{beat} {note}");
        }
    }
}
