//! Finding the files, and looking at one.

use std::fs;
use std::path::Path;

use engine::Fault;
use measure::StemMeter;
use units::{Problem, Severity};

use super::Incoming;

/// Endings of files that are taken for audio.
const ENDINGS: [&str; 14] =
    ["wav", "wave", "bwf", "rf64", "w64", "aif", "aiff", "aifc", "caf", "flac", "m4a", "mp3", "ogg", "aac"];

/// Folders within folders are looked into this far.
const DEEPEST: usize = 5;

/// What lies below a folder.
#[derive(Default)]
pub struct Found {
    /// Audio files, as paths from the folder, in order.
    pub files: Vec<String>,
    /// What cannot be looked at.
    pub problems: Vec<Problem>,
}

/// Folders that are written beside a sheet.
const OWN: [&str; 3] = ["prints", "handover", "listening"];

/// The audio files below a folder. Hidden files are left out, and what was written beside a sheet.
///
/// # Errors
/// The folder cannot be read.
pub fn audio_files(folder: &Path) -> Result<Found, Fault> {
    let mut found = Found::default();
    gather(folder, "", DEEPEST, &mut found).map_err(|error| {
        let at = folder.display().to_string();
        let remedy = "Name a folder that can be read.".to_owned();
        Fault::input("cannot-read", &at, format!("{at} cannot be read: {error}."), remedy)
    })?;
    found.files.sort_by_key(|file| file.to_lowercase());
    found.problems.sort_by(|a, b| a.at.cmp(&b.at));
    Ok(found)
}

fn gather(folder: &Path, inside: &str, deeper: usize, found: &mut Found) -> std::io::Result<()> {
    let has_sheet = folder.join("sheet.toml").exists();
    let is_own = |name: &str| name == OWN[0] || (has_sheet && OWN.contains(&name));
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') {
            continue;
        }
        let file = format!("{inside}{name}");
        let kind = entry.file_type()?;
        if kind.is_dir() && deeper > 0 && !is_own(&name) {
            if let Err(error) = gather(&entry.path(), &format!("{file}/"), deeper - 1, found) {
                let remedy = "Give yourself the right to read this folder, or move it away.";
                found.problems.push(unreadable(&file, format!("The folder cannot be read: {error}."), remedy));
            }
        } else if !kind.is_dir() && is_audio(Path::new(&name)) {
            if entry.file_name().to_str().is_some() {
                found.files.push(file);
            } else {
                let message = "Its name holds characters that no sheet can hold.".to_owned();
                found.problems.push(unreadable(&file, message, "Give it another name."));
            }
        }
    }
    Ok(())
}

fn unreadable(file: &str, message: String, remedy: &str) -> Problem {
    Problem::new(Severity::Fail, "cannot-read", file, message, remedy.to_owned())
}

/// Whether a file's name ends like that of an audio file.
pub(crate) fn is_audio(name: &Path) -> bool {
    let ending = name.extension().and_then(|ending| ending.to_str()).unwrap_or("").to_lowercase();
    ENDINGS.contains(&ending.as_str())
}

/// Reads a file from end to end.
pub(super) fn look_at(folder: &Path, file: &str) -> Result<Incoming, Box<Problem>> {
    let not_read = |error: media::MediaError| Box::new(unreadable(file, format!("{}.", error.reason), error.remedy()));
    let mut reader = media::Reader::open(&folder.join(file)).map_err(not_read)?;
    let info = reader.info().clone();
    let mut meter = StemMeter::new(f64::from(info.rate_hz));
    let mut block = vec![units::SILENCE; 1 << 14];
    loop {
        match reader.read(&mut block).map_err(not_read)? {
            0 => break,
            read => meter.push(&block[..read]),
        }
    }
    let name = Path::new(file).file_stem().unwrap_or_default().to_string_lossy().into_owned();
    Ok(Incoming { file: file.to_owned(), name, info, facts: meter.finish() })
}
