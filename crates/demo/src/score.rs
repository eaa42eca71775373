//! The song on paper: its form, tempo, chords, and how one chord leads to the next.

use libm::exp2;

/// Tempo.
pub const TEMPO_BPM: f64 = 92.0;
/// Quarter notes in a bar.
pub const BEATS_PER_BAR: f64 = 4.0;
/// Bars from the head to the end of the last ring.
pub const BARS: u32 = 36;

/// A part of the form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Section {
    /// Name in the sheet.
    pub name: &'static str,
    /// Its first bar; the song's first bar is 1.
    pub bar: u32,
    /// Chords: bars between strokes, several chords in a bar share it evenly.
    chart: &'static str,
}

/// The form. Bar 1 is the head: half a bar of nothing, then a pick-up.
pub const FORM: [Section; 7] = [
    Section { name: "head", bar: 1, chart: "Em7" },
    Section { name: "intro", bar: 2, chart: "Em7 | Cmaj7 | Em7 | D/F# Bsus4" },
    Section { name: "verse", bar: 6, chart: "Em7 | Cmaj7 | G | D/F# | Em7 | Cmaj7 | Am7 | Bsus4 B7" },
    Section { name: "chorus 1", bar: 14, chart: "Cadd9 | G | D | Em7 | Cadd9 | G/B | Am7 | Dsus4 D" },
    Section { name: "bridge", bar: 22, chart: "Am7 | Em/G | Fmaj7 | Bsus4 B7" },
    Section { name: "chorus 2", bar: 26, chart: "Cadd9 | G | D | Em7 | Cadd9 | G/B | Am7 | Bsus4 B7" },
    Section { name: "outro", bar: 34, chart: "Cmaj7 | Em7 | Em7" },
];

impl Section {
    /// The bar after its last.
    #[must_use]
    pub fn end_bar(&self) -> u32 {
        FORM.iter().map(|s| s.bar).find(|bar| *bar > self.bar).unwrap_or(BARS + 1)
    }

    /// Its start in seconds.
    #[must_use]
    pub fn start_secs(&self) -> f64 {
        secs_from_beats(beat_of_bar(self.bar))
    }
}

/// Beats from the start of the song to a bar.
#[must_use]
pub fn beat_of_bar(bar: u32) -> f64 {
    BEATS_PER_BAR * (f64::from(bar) - 1.0)
}

/// Seconds from the start of the song to a beat, as written.
#[must_use]
pub fn secs_from_beats(beats: f64) -> f64 {
    beats * 60.0 / TEMPO_BPM
}

/// Frequency of a note number in equal temperament: ISO 16:1975 sets A4 (69) at 440 Hz.
#[must_use]
pub fn hz_from_note(note: f64) -> f64 {
    440.0 * exp2((note - 69.0) / 12.0)
}

/// Note number of a name: `E4` is 64, `F#4` 66.
pub(crate) fn note_named(name: &str) -> i32 {
    let pitch = name.trim_end_matches(|c: char| c.is_ascii_digit());
    let octave: i32 = name[pitch.len()..].parse().expect("a note's name ends with its octave");
    let class = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"].iter().position(|n| *n == pitch);
    12 * (octave + 1) + class.expect("a note's name is a letter and an octave") as i32
}

/// A chord: the lowest note, the tones as pitch classes, and a left hand's grip on a guitar in standard tuning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Chord {
    name: &'static str,
    /// The bass's note.
    pub(crate) bass: i32,
    /// Tones: pitch classes, 0 is C.
    pub(crate) tones: &'static [i32],
    /// Frets from the low E string up; -1 leaves a string out.
    pub(crate) frets: [i32; 6],
}

const fn chord(name: &'static str, bass: i32, tones: &'static [i32], frets: [i32; 6]) -> Chord {
    Chord { name, bass, tones, frets }
}

const CHORDS: [Chord; 14] = [
    chord("Em7", 28, &[4, 7, 11, 2], [0, 2, 2, 0, 3, 0]),
    chord("Em/G", 31, &[4, 7, 11], [3, 2, 2, 0, 0, 0]),
    chord("Cmaj7", 36, &[0, 4, 7, 11], [-1, 3, 2, 0, 0, 0]),
    chord("Cadd9", 36, &[0, 4, 7, 2], [-1, 3, 2, 0, 3, 3]),
    chord("G", 31, &[7, 11, 2], [3, 2, 0, 0, 3, 3]),
    chord("G/B", 35, &[7, 11, 2], [-1, 2, 0, 0, 3, 3]),
    chord("D", 38, &[2, 6, 9], [-1, -1, 0, 2, 3, 2]),
    chord("Dsus4", 38, &[2, 7, 9], [-1, -1, 0, 2, 3, 3]),
    chord("D/F#", 30, &[2, 6, 9], [2, -1, 0, 2, 3, 2]),
    chord("Am7", 33, &[9, 0, 4, 7], [-1, 0, 2, 0, 1, 0]),
    chord("Fmaj7", 29, &[5, 9, 0, 4], [-1, -1, 3, 2, 1, 0]),
    chord("Bsus4", 35, &[11, 4, 6], [-1, 2, 4, 4, 5, 2]),
    chord("B7", 35, &[11, 3, 6, 9], [-1, 2, 1, 2, 0, 2]),
    chord("Em", 28, &[4, 7, 11], [0, 2, 2, 0, 0, 0]),
];

/// A chord's place in the song.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Change {
    pub(crate) beat: f64,
    pub(crate) beats: f64,
    pub(crate) chord: Chord,
}

/// All chord changes in order.
pub(crate) fn changes() -> Vec<Change> {
    let mut changes = Vec::new();
    for section in FORM {
        for (index, bar) in section.chart.split('|').enumerate() {
            let names: Vec<&str> = bar.split_whitespace().collect();
            let beats = BEATS_PER_BAR / names.len() as f64;
            for (part, name) in names.iter().enumerate() {
                let beat = beat_of_bar(section.bar + index as u32) + part as f64 * beats;
                let chord = *CHORDS.iter().find(|c| c.name == *name).expect("the chart names known chords");
                changes.push(Change { beat, beats, chord });
            }
        }
    }
    changes
}

/// The chord that sounds at a beat.
pub(crate) fn chord_at(changes: &[Change], beat: f64) -> Change {
    let after = changes.partition_point(|c| c.beat <= beat + 1e-9);
    changes[after.max(1) - 1]
}

/// Open strings of a guitar in standard tuning, low to high.
pub(crate) const GUITAR: [i32; 6] = [40, 45, 50, 55, 59, 64];

/// The four notes within a range that hold every tone of a chord and move least from the four before: each voice keeps
/// its note or steps, as harmony books ask.
pub(crate) fn lead(before: [i32; 4], chord: &Chord, low: i32, high: i32) -> [i32; 4] {
    let notes: Vec<i32> = (low..=high).filter(|n| chord.tones.contains(&n.rem_euclid(12))).collect();
    let mut best = (i32::MAX, before);
    for a in 0..notes.len() {
        for b in a + 1..notes.len() {
            for c in b + 1..notes.len() {
                for d in c + 1..notes.len() {
                    let four = [notes[a], notes[b], notes[c], notes[d]];
                    let whole = chord.tones.iter().all(|t| four.iter().any(|n| n.rem_euclid(12) == *t));
                    let moved: i32 = four.iter().zip(before).map(|(n, b)| (n - b).abs()).sum();
                    if whole && moved < best.0 {
                        best = (moved, four);
                    }
                }
            }
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_is_whole_and_the_chart_fills_it() {
        let changes = changes();
        assert!(changes.windows(2).all(|w| (w[0].beat + w[0].beats - w[1].beat).abs() < 1e-9));
        let last = changes[changes.len() - 1];
        assert!((last.beat + last.beats - beat_of_bar(BARS + 1)).abs() < 1e-9);
        let secs = secs_from_beats(beat_of_bar(BARS + 1));
        assert!((80.0..=100.0).contains(&secs), "{secs}");
    }

    #[test]
    fn note_numbers_follow_iso_16() {
        assert_eq!((note_named("A4"), note_named("E1"), note_named("F#4")), (69, 28, 66));
        // Equal temperament on A4 = 440 Hz: middle C 261.626, E2 82.407 (published tables).
        assert!((hz_from_note(60.0) - 261.626).abs() < 1e-3);
        assert!((hz_from_note(40.0) - 82.407).abs() < 1e-3);
    }

    #[test]
    fn grips_hold_their_chords() {
        for chord in CHORDS {
            for (open, fret) in GUITAR.iter().zip(chord.frets).filter(|(_, fret)| *fret >= 0) {
                let class = (open + fret).rem_euclid(12);
                let bass = chord.bass.rem_euclid(12);
                assert!(chord.tones.contains(&class) || class == bass, "{} {class}", chord.name);
            }
        }
    }

    #[test]
    fn voices_lead_by_small_steps() {
        let mut voicing = [55, 59, 62, 64];
        for change in changes() {
            let next = lead(voicing, &change.chord, 52, 72);
            // No voice leaps by more than a fourth.
            assert!(
                next.iter().zip(voicing).all(|(n, b)| (n - b).abs() <= 5),
                "{}: {voicing:?} to {next:?}",
                change.chord.name
            );
            voicing = next;
        }
    }
}
