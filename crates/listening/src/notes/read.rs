//! Reads notes that anyone may have written: a file is taken whole and harmless, or refused with a reason.

use std::fs::{self, File};
use std::io::Read;
use std::path::Path;

use engine::Fault;

use super::{FORMAT, Notes};

/// A file of notes larger than this is refused unread.
pub const LARGEST_FILE_BYTES: u64 = 4 << 20;
/// Most notes, approvals and ballots of a file.
pub const MOST_ENTRIES: usize = 5000;
/// Most characters of a note.
pub const LONGEST_TEXT: usize = 4000;
/// Most characters of a name.
const LONGEST_NAME: usize = 200;
/// Most characters of an id.
const LONGEST_ID: usize = 64;
/// Most rounds and most versions of a ballot.
const MOST_ROUNDS: usize = 200;
const MOST_VERSIONS: usize = 8;
/// No song is longer than a day.
const LONGEST_SECS: f64 = 86_400.0;
/// No listener's trim is larger; the page stops at 6 dB.
const LARGEST_TRIM_DB: f64 = 24.0;

/// Reads a file of notes. Control characters are taken out of every text; who shows it must still escape it.
///
/// # Errors
/// The file cannot be read, is too large, or is not what it should be; the message says where.
pub fn read(path: &Path) -> Result<Notes, Fault> {
    let name = path.display().to_string();
    let cannot = |error: std::io::Error| {
        let remedy = "Name the file that the listener sent.".to_owned();
        Fault::input("cannot-read", &name, format!("{name} cannot be read: {error}."), remedy)
    };
    let facts = fs::metadata(path).map_err(cannot)?;
    if !facts.is_file() {
        return Err(refused(&name, "it is not a file"));
    }
    let mut bytes = Vec::new();
    File::open(path).map_err(cannot)?.take(LARGEST_FILE_BYTES + 1).read_to_end(&mut bytes).map_err(cannot)?;
    parse(&bytes).map_err(|reason| refused(&name, &reason))
}

fn refused(name: &str, reason: &str) -> Fault {
    let remedy = "Ask for the file that the page sends, unchanged.".to_owned();
    Fault::input("not-notes", name, format!("{name} was not taken: {reason}."), remedy)
}

/// Notes from bytes.
pub(crate) fn parse(bytes: &[u8]) -> Result<Notes, String> {
    if bytes.len() as u64 > LARGEST_FILE_BYTES {
        return Err(format!("it is larger than {} MB, and notes are small", LARGEST_FILE_BYTES >> 20));
    }
    let mut notes: Notes =
        serde_json::from_slice(bytes).map_err(|error| format!("it is not a file of notes ({error})"))?;
    if notes.fairprint_notes != FORMAT {
        return Err(format!("it has format {}, and this program reads format {FORMAT}", notes.fairprint_notes));
    }
    let entries = notes.notes.len() + notes.approvals.len() + notes.ballots.len();
    if entries > MOST_ENTRIES || notes.starts.len() > MOST_ENTRIES {
        return Err(format!("it holds {entries} entries, more than {MOST_ENTRIES}"));
    }
    check(&mut notes)?;
    Ok(notes)
}

fn check(notes: &mut Notes) -> Result<(), String> {
    name(&mut notes.title, "title")?;
    for (i, note) in notes.notes.iter_mut().enumerate() {
        let at = |what: &str| format!("note {}: {what}", i + 1);
        id(&note.id).map_err(|e| at(&e))?;
        for (text, what) in [
            (&mut note.who, "who"),
            (&mut note.version, "version"),
            (&mut note.revision, "revision"),
            (&mut note.written, "written"),
        ] {
            name(text, what).map_err(|e| at(&e))?;
        }
        text(&mut note.text).map_err(|e| at(&e))?;
        if let Some(answer) = &mut note.answer {
            text(answer).map_err(|e| at(&e))?;
        }
        if let Some(answered) = &mut note.answered {
            name(answered, "answered").map_err(|e| at(&e))?;
        }
        span(note.at_secs, note.to_secs.unwrap_or(note.at_secs)).map_err(|e| at(&e))?;
    }
    for (i, approval) in notes.approvals.iter_mut().enumerate() {
        let at = |what: &str| format!("approval {}: {what}", i + 1);
        id(&approval.id).map_err(|e| at(&e))?;
        let texts = [&mut approval.who, &mut approval.version, &mut approval.revision, &mut approval.written];
        texts.into_iter().try_for_each(|text| name(text, "a text")).map_err(|e| at(&e))?;
        if approval.sha256.len() != 64 || !approval.sha256.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(at("its checksum is not the 64 digits of a SHA-256"));
        }
    }
    for (i, ballot) in notes.ballots.iter_mut().enumerate() {
        check_ballot(ballot).map_err(|what| format!("ballot {}: {what}", i + 1))?;
    }
    if notes.starts.values().any(|secs| !(-LONGEST_SECS..=LONGEST_SECS).contains(secs)) {
        return Err("a start is no time".to_owned());
    }
    Ok(())
}

fn check_ballot(ballot: &mut super::Ballot) -> Result<(), String> {
    id(&ballot.id)?;
    for text in [&mut ballot.who, &mut ballot.revision, &mut ballot.written] {
        name(text, "a text")?;
    }
    span(ballot.passage_secs[0], ballot.passage_secs[1])?;
    if !(2..=MOST_VERSIONS).contains(&ballot.versions.len()) || ballot.rounds.len() > MOST_ROUNDS {
        return Err(format!("it has no 2 to {MOST_VERSIONS} versions, or more than {MOST_ROUNDS} rounds"));
    }
    for version in &mut ballot.versions {
        name(version, "version")?;
    }
    for round in &mut ballot.rounds {
        round.order.iter_mut().chain([&mut round.chose]).for_each(|text| *text = inert(text));
        let known = |version: &String| ballot.versions.contains(version);
        if round.order.len() > MOST_VERSIONS || !round.order.iter().all(known) || !round.order.contains(&round.chose) {
            return Err("a round names a version that was not in it".to_owned());
        }
    }
    let strange = |(version, db): (&String, &f64)| {
        !ballot.versions.contains(version) || !(-LARGEST_TRIM_DB..=LARGEST_TRIM_DB).contains(db)
    };
    if ballot.trims_db.iter().any(strange) {
        return Err("a trim is no level of one of its versions".to_owned());
    }
    Ok(())
}

fn id(id: &str) -> Result<(), String> {
    let fits = (1..=LONGEST_ID).contains(&id.len()) && id.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
    if fits { Ok(()) } else { Err(format!("its id is not 1 to {LONGEST_ID} letters and digits")) }
}

fn name(text: &mut String, what: &str) -> Result<(), String> {
    *text = inert(text).replace('\n', " ");
    if text.chars().count() > LONGEST_NAME {
        return Err(format!("its {what} is longer than {LONGEST_NAME} characters"));
    }
    Ok(())
}

fn text(text: &mut String) -> Result<(), String> {
    *text = inert(text);
    if text.chars().count() > LONGEST_TEXT {
        return Err(format!("its text is longer than {LONGEST_TEXT} characters"));
    }
    Ok(())
}

fn span(from: f64, to: f64) -> Result<(), String> {
    // Not a number fails the comparisons too.
    if (0.0..=LONGEST_SECS).contains(&from) && (from..=LONGEST_SECS).contains(&to) {
        return Ok(());
    }
    Err(format!("{from} to {to} s is no span of a song"))
}

/// A text without the characters that steer terminals and turn the direction of writing.
pub(crate) fn inert(text: &str) -> String {
    let steers = |c: char| {
        (c.is_control() && c != '\n')
            || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.replace("\r\n", "\n").chars().filter(|c| !steers(*c)).collect()
}
