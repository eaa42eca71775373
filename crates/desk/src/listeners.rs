//! What listeners have written, as the desk shows it.

use std::path::Path;

use listening::notes;

use crate::protocol::Note;

/// The notes about a sheet's song, by time. A collection that cannot be read shows none: `fairprint notes` says why.
#[must_use]
pub fn of(sheet: &Path) -> Vec<Note> {
    let Ok(notes) = notes::load(sheet, "") else { return Vec::new() };
    let newest = notes.starts.keys().next_back().cloned();
    let now = |note: &notes::Note, secs: f64| {
        let moved = newest.as_ref().and_then(|newest| notes::place(&notes, secs, &note.revision, newest));
        moved.unwrap_or(secs).max(0.0)
    };
    let mut shown: Vec<Note> = notes.notes.iter().map(|note| shown(note, &now)).collect();
    shown.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    for (index, note) in shown.iter_mut().enumerate() {
        note.letter = letter(index);
    }
    shown
}

fn shown(note: &notes::Note, now: &dyn Fn(&notes::Note, f64) -> f64) -> Note {
    Note {
        letter: String::new(),
        at_s: now(note, note.at_secs),
        to_s: note.to_secs.map(|to| now(note, to)),
        who: note.who.clone(),
        version: note.version.clone(),
        text: note.text.clone(),
        state: note.state.word().to_owned(),
        answer: note.answer.clone(),
    }
}

/// A, B, … Z, AA, AB, …
fn letter(mut index: usize) -> String {
    let mut letters = Vec::new();
    loop {
        letters.push(char::from(b'A' + (index % 26) as u8));
        match (index / 26).checked_sub(1) {
            Some(next) => index = next,
            None => return letters.into_iter().rev().collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Song;

    #[test]
    fn letters_go_on_after_z() {
        let letters = [0, 25, 26, 51, 52, 701, 702].map(letter);
        assert_eq!(letters, ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]);
    }

    #[test]
    fn notes_stand_where_the_song_is_now() {
        let song = Song::new();
        assert!(of(&song.sheet()).is_empty());
        let text = r#"{ "fairprint_notes": 1, "title": "Lantern Weather", "starts": { "r001": 0.0, "r002": 0.5 }, "notes": [
            { "id": "a1b2c3d4", "who": "Ivy", "revision": "r002", "version": "for approval", "at_secs": 3.0, "text": "Yes.",
              "written": "2026-11-27T10:00:00Z" },
            { "id": "b1b2c3d4", "who": "Ivy", "revision": "r001", "version": "for approval", "at_secs": 1.0, "to_secs": 2.0,
              "text": "Softer?", "written": "2026-11-27T10:00:00Z", "state": "done", "answer": "By 1 dB." }] }"#;
        std::fs::write(notes::path_of(&song.sheet()), text).expect("written");
        let found = of(&song.sheet());
        let told: Vec<(&str, f64, Option<f64>, &str)> =
            found.iter().map(|note| (note.letter.as_str(), note.at_s, note.to_s, note.state.as_str())).collect();
        assert_eq!(told, [("A", 1.5, Some(2.5), "done"), ("B", 3.0, None, "open")]);
    }
}
