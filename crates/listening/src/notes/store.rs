//! The collection beside the sheet: plain JSON, written in one step, the one before it kept.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use engine::Fault;
use prints::load::put;

use super::{Notes, read};
use crate::hold::hold;

/// Where the notes about a sheet's song lie: `sheet.notes.json` beside `sheet.toml`.
#[must_use]
pub fn path_of(sheet: &Path) -> PathBuf {
    sheet.with_extension("notes.json")
}

/// Where the collection before the last change lies.
#[must_use]
pub fn previous_of(sheet: &Path) -> PathBuf {
    sheet.with_extension("notes.previous.json")
}

/// The notes about a sheet's song; none yet if there is no file.
///
/// # Errors
/// The file is there and cannot be read.
pub fn load(sheet: &Path, title: &str) -> Result<Notes, Fault> {
    let path = path_of(sheet);
    if path.try_exists().is_ok_and(|there| !there) {
        return Ok(Notes::of(title));
    }
    read(&path)
}

/// Changes the notes about a sheet's song and writes them. Nobody else changes them meanwhile: who comes second waits, and
/// finds what the first has written. Returns what the change returns, and the notes as they are then.
///
/// # Errors
/// Those of the change, of [`load`] and of [`save`].
pub fn change<T>(
    sheet: &Path,
    title: &str,
    change: impl FnOnce(&mut Notes) -> Result<T, Fault>,
) -> Result<(T, Notes), Fault> {
    let _held = hold(&path_of(sheet))?;
    let mut notes = load(sheet, title)?;
    let returned = change(&mut notes)?;
    save(sheet, &notes)?;
    Ok((returned, notes))
}

/// Keeps where the song starts in each revision, as it was learnt for a collection that has been read.
///
/// # Errors
/// Those of [`change`].
pub fn keep_starts(sheet: &Path, learnt: &Notes) -> Result<(), Fault> {
    change(sheet, &learnt.title, |notes| {
        notes.starts.extend(learnt.starts.clone());
        Ok(())
    })
    .map(|_| ())
}

/// Writes the notes about a sheet's song. What was there before stays as the previous version.
///
/// # Errors
/// The collection has become larger than what is read again, or the folder cannot be written; the collection that was
/// there is untouched then.
pub fn save(sheet: &Path, notes: &Notes) -> Result<(), Fault> {
    let path = path_of(sheet);
    let text = serde_json::to_string_pretty(notes).unwrap_or_else(|_| "{}".to_owned()) + "\n";
    read::parse(text.as_bytes()).map_err(|reason| {
        let name = path.display().to_string();
        let message = format!("{name} stays as it is: with these notes it could not be read again, for {reason}.");
        Fault::input("not-notes", &name, message, "Take fewer notes in.".to_owned())
    })?;
    let write = || -> io::Result<()> {
        if let Ok(before) = fs::read(&path) {
            if before == text.as_bytes() {
                return Ok(());
            }
            put(&previous_of(sheet), &before)?;
        }
        put(&path, text.as_bytes())
    };
    write().map_err(|error| prints::disk_fault(&path, &error))
}
