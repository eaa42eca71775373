//! The tune, its words, and how backing voices follow it.
//!
//! Words are written as sounds (see the phoneme table): a syllable has consonants, one vowel or two that glide, and
//! consonants. A hyphen carries the vowel on to another note.

use crate::score::{Change, FORM, Section, beat_of_bar, chord_at, note_named};

/// A sung note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Sung {
    pub(crate) beat: f64,
    pub(crate) beats: f64,
    pub(crate) note: i32,
    pub(crate) sounds: &'static str,
}

type Row = (f64, f64, &'static str, &'static str);

/// Phrases of two bars: the bar within the section, and the notes (beat within the phrase, length, pitch, sounds).
type Phrase = (u32, &'static [Row]);

const VERSE: [Phrase; 4] = [
    // Lanterns in the kitchen swing
    (
        0,
        &[
            (0.5, 1.0, "E4", "l ae n"),
            (1.5, 1.0, "E4", "t er n z"),
            (2.5, 0.5, "D4", "ih n"),
            (3.0, 0.5, "E4", "dh ah"),
            (3.5, 0.5, "F#4", "k ih"),
            (4.0, 1.0, "G4", "ch ih n"),
            (5.0, 2.0, "E4", "s w ih ng"),
        ],
    ),
    // slow as summer rain
    (
        2,
        &[
            (0.5, 1.5, "D4", "s l ow"),
            (2.0, 0.5, "B3", "ae z"),
            (2.5, 1.0, "D4", "s ah"),
            (3.5, 0.5, "E4", "m er"),
            (4.0, 1.5, "F#4", "r ey"),
            (5.5, 1.5, "D4", "- n"),
        ],
    ),
    // someone left the season's string
    (
        4,
        &[
            (0.5, 1.0, "E4", "s ah m"),
            (1.5, 1.0, "E4", "w ah n"),
            (2.5, 0.5, "D4", "l eh f t"),
            (3.0, 0.5, "E4", "dh ah"),
            (3.5, 0.5, "G4", "s iy"),
            (4.0, 1.0, "A4", "z ah n z"),
            (5.0, 2.0, "G4", "s t r ih ng"),
        ],
    ),
    // tied across the pane
    (
        6,
        &[
            (0.5, 1.0, "E4", "t ay d"),
            (1.5, 0.5, "G4", "ah"),
            (2.0, 1.0, "A4", "k r ao s"),
            (3.0, 1.0, "G4", "dh ah"),
            (4.0, 3.0, "F#4", "p ey n"),
        ],
    ),
];

/// Stay, it's only lantern weather
const STAY: &[Row] = &[
    (0.0, 1.75, "G4", "s t ey"),
    (2.0, 0.5, "G4", "ih t s"),
    (2.5, 0.5, "A4", "ow n"),
    (3.0, 0.5, "G4", "l iy"),
    (3.5, 1.0, "B4", "l ae n"),
    (4.5, 0.5, "A4", "t er n"),
    (5.0, 1.0, "G4", "w eh"),
    (6.0, 0.5, "E4", "dh er"),
    (6.5, 1.0, "D4", "-"),
];
/// silver on the stair
const SILVER: &[Row] = &[
    (0.0, 1.0, "A4", "s ih l"),
    (1.0, 0.5, "A4", "v er"),
    (1.5, 0.5, "G4", "aa n"),
    (2.0, 1.0, "F#4", "dh ah"),
    (3.5, 2.0, "G4", "s t eh"),
    (5.5, 0.5, "F#4", "-"),
    (6.0, 1.5, "E4", "- er"),
];
/// Stay, and we will sing together
const SING: &[Row] = &[
    (0.0, 1.75, "G4", "s t ey"),
    (2.0, 0.5, "G4", "ae n d"),
    (2.5, 0.5, "A4", "w iy"),
    (3.0, 0.5, "G4", "w ih l"),
    (3.5, 1.0, "B4", "s ih ng"),
    (4.5, 0.5, "A4", "t ah"),
    (5.0, 1.0, "A4", "g eh"),
    (6.0, 1.5, "B4", "dh er"),
];
/// soft as smoke and air
const SOFT: &[Row] = &[
    (0.0, 1.0, "C5", "s ao f t"),
    (1.0, 0.5, "B4", "ae z"),
    (1.5, 1.5, "A4", "s m ow k"),
    (3.0, 1.0, "G4", "ae n d"),
    (4.0, 2.0, "A4", "eh"),
    (6.0, 1.5, "F#4", "- er"),
];
/// soft as smoke and air, the second time, leading home
const SOFT_HOME: &[Row] = &[
    (0.0, 1.0, "C5", "s ao f t"),
    (1.0, 0.5, "B4", "ae z"),
    (1.5, 1.5, "A4", "s m ow k"),
    (3.0, 1.0, "G4", "ae n d"),
    (4.0, 2.0, "B4", "eh"),
    (6.0, 2.0, "F#4", "- er"),
];

const CHORUS_1: [Phrase; 4] = [(0, STAY), (2, SILVER), (4, SING), (6, SOFT)];
const CHORUS_2: [Phrase; 4] = [(0, STAY), (2, SILVER), (4, SING), (6, SOFT_HOME)];

const BRIDGE: [Phrase; 2] = [
    // Ash is snow, and snow is ash
    (
        0,
        &[
            (0.5, 1.0, "A3", "ae sh"),
            (1.5, 0.5, "C4", "ih z"),
            (2.0, 1.5, "E4", "s n ow"),
            (3.5, 0.5, "D4", "ae n d"),
            (4.0, 1.0, "E4", "s n ow"),
            (5.0, 0.5, "D4", "ih z"),
            (5.5, 2.0, "B3", "ae sh"),
        ],
    ),
    // so the seasons pass
    (
        2,
        &[
            (0.5, 0.5, "A3", "s ow"),
            (1.0, 0.5, "C4", "dh ah"),
            (1.5, 1.0, "E4", "s iy"),
            (2.5, 1.0, "F4", "z ah n z"),
            (4.0, 2.0, "E4", "p aa"),
            (6.0, 1.5, "D#4", "- s"),
        ],
    ),
];

/// a hum home
const OUTRO: [Phrase; 1] =
    [(0, &[(0.0, 2.0, "E4", "uw"), (2.0, 1.0, "D4", "-"), (3.0, 1.0, "B3", "-"), (4.0, 3.0, "E4", "- m")])];

fn phrases_of(section: &Section) -> &'static [Phrase] {
    match section.name {
        "verse" => &VERSE,
        "chorus 1" => &CHORUS_1,
        "bridge" => &BRIDGE,
        "chorus 2" => &CHORUS_2,
        "outro" => &OUTRO,
        _ => &[],
    }
}

/// The notes of one section's tune.
fn tune(section: &Section) -> Vec<Sung> {
    let mut notes = Vec::new();
    for (bar, rows) in phrases_of(section) {
        let start = beat_of_bar(section.bar + bar);
        notes.extend(rows.iter().map(|(beat, beats, pitch, sounds)| Sung {
            beat: start + beat,
            beats: *beats,
            note: note_named(pitch),
            sounds,
        }));
    }
    notes
}

/// The lead voice's notes.
pub(crate) fn lead_voice() -> Vec<Sung> {
    FORM.iter().flat_map(tune).collect()
}

/// The lead's double: choruses only.
pub(crate) fn double() -> Vec<Sung> {
    FORM.iter().filter(|s| s.name.starts_with("chorus")).flat_map(tune).collect()
}

/// Where a backing voice stands to the tune.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Part {
    /// The chord's tone next above the tune.
    Above,
    /// The chord's tone at least a third under the tune.
    Below,
}

/// A backing voice: open vowels under the first chorus and the bridge's end, the tune's words in harmony in the answering lines of the first
/// chorus and all through the second.
pub(crate) fn backing(changes: &[Change], part: Part) -> Vec<Sung> {
    let mut notes = Vec::new();
    for section in FORM {
        let held = |bar: u32, bars: u32, sounds| held(changes, section.bar + bar, bars, part, sounds);
        match section.name {
            "chorus 1" => {
                notes.extend(held(0, 2, "uw"));
                notes.extend(in_harmony(changes, &section, 2, 4, part));
                notes.extend(held(4, 2, "uw"));
                notes.extend(in_harmony(changes, &section, 6, 8, part));
            }
            "bridge" => notes.extend(held(2, 2, "aa")),
            "chorus 2" => notes.extend(in_harmony(changes, &section, 0, 8, part)),
            _ => {}
        }
    }
    notes
}

fn in_harmony(changes: &[Change], section: &Section, from_bar: u32, to_bar: u32, part: Part) -> Vec<Sung> {
    let (from, to) = (beat_of_bar(section.bar + from_bar), beat_of_bar(section.bar + to_bar));
    let tune = tune(section).into_iter().filter(|n| (from..to).contains(&n.beat));
    tune.map(|n| Sung { note: beside(changes, n.beat, n.beats, n.note, part), ..n }).collect()
}

/// One long breath: a vowel carried over the chords, each bar the tone nearest to the one before.
fn held(changes: &[Change], bar: u32, bars: u32, part: Part, sounds: &'static str) -> Vec<Sung> {
    let (from, to) = (beat_of_bar(bar), beat_of_bar(bar + bars));
    let mut note = match part {
        Part::Above => 70,
        Part::Below => 62,
    };
    let mut notes: Vec<Sung> = Vec::new();
    for change in changes.iter().filter(|c| (from..to).contains(&c.beat)) {
        let tones = (55..77).filter(|n: &i32| change.chord.tones.contains(&n.rem_euclid(12)));
        note = tones.min_by_key(|n| (n - note).abs()).unwrap_or(note);
        let sounds = if notes.is_empty() { sounds } else { "-" };
        notes.push(Sung { beat: change.beat, beats: change.beats, note, sounds });
    }
    if let Some(last) = notes.last_mut() {
        last.beats -= 0.5;
    }
    notes
}

/// The harmony note to a note of the tune. A note tied over a change belongs to the chord in which most of it lies.
fn beside(changes: &[Change], beat: f64, beats: f64, note: i32, part: Part) -> i32 {
    let chord = chord_at(changes, beat + beats / 2.0).chord;
    let is_tone = |n: &i32| chord.tones.contains(&n.rem_euclid(12));
    let found = match part {
        Part::Above => (note + 3..note + 10).find(is_tone),
        Part::Below => (note - 10..note - 2).rev().find(is_tone),
    };
    found.unwrap_or(note)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::changes;

    #[test]
    fn nobody_sings_two_notes_at_once_or_out_of_range() {
        let changes = changes();
        let parts = [lead_voice(), double(), backing(&changes, Part::Above), backing(&changes, Part::Below)];
        for part in parts {
            assert!(part.windows(2).all(|w| w[0].beat + w[0].beats <= w[1].beat + 1e-9), "{part:?}");
            assert!(part.iter().all(|n| (52..=79).contains(&n.note)), "{part:?}");
        }
    }

    #[test]
    fn harmony_keeps_at_least_a_third_away() {
        let changes = changes();
        let above = backing(&changes, Part::Above);
        let tune = lead_voice();
        let mut compared = 0;
        for (a, b) in
            above.iter().filter_map(|a| tune.iter().find(|b| b.beat == a.beat && b.sounds == a.sounds).map(|b| (a, b)))
        {
            assert!(a.note - b.note >= 3, "{a:?} over {b:?}");
            compared += 1;
        }
        assert!(compared > 30);
    }

    #[test]
    fn long_notes_of_the_tune_lie_in_the_key_or_the_chord() {
        let changes = changes();
        for n in lead_voice().iter().filter(|n| n.beats >= 1.5) {
            let chord = chord_at(&changes, n.beat + n.beats / 2.0).chord;
            let in_key = [4, 6, 7, 9, 11, 0, 2].contains(&n.note.rem_euclid(12));
            assert!(in_key || chord.tones.contains(&n.note.rem_euclid(12)), "{n:?}");
        }
    }
}
