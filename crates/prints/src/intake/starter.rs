//! The sheet to start from.

use std::collections::BTreeMap;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};
use std::path::Path;

use engine::Fault;
use sheet::{StarterGroup, StarterSong};

use super::{Group, Incoming, Intake};
use crate::revision::machine;

/// Files by group, references first.
#[must_use]
pub fn by_group(taken: &Intake) -> BTreeMap<Option<Group>, Vec<&Incoming>> {
    let mut groups: BTreeMap<Option<Group>, Vec<&Incoming>> = BTreeMap::new();
    for file in &taken.files {
        groups.entry(file.group()).or_default().push(file);
    }
    groups
}

/// The text of a sheet for what came in, with files named from the folder.
#[must_use]
pub fn starter_text(taken: &Intake) -> String {
    let groups = by_group(taken);
    let rough_mix = groups.get(&None).and_then(|references| references.first()).map(|file| file.file.clone());
    let folder = taken.folder.canonicalize().unwrap_or_else(|_| taken.folder.clone());
    let of_folder = || folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let song = StarterSong {
        title: on_all_labels(taken, "title").map_or_else(of_folder, str::to_owned),
        artist: on_all_labels(taken, "artist").unwrap_or_default().to_owned(),
        rate_hz: taken.rate_hz,
        tempo_bpm: on_all_labels(taken, "tempo_bpm").and_then(|tempo| tempo.parse().ok()),
        rough_mix,
    };
    let stems = groups.iter().filter_map(|(group, files)| Some(((*group)?, files)));
    let groups: Vec<StarterGroup> = stems
        .map(|(group, files)| StarterGroup {
            bus: group.bus().to_owned(),
            voice: group.is_voice(),
            stems: files.iter().map(|file| (file.name.clone(), file.file.clone())).collect(),
        })
        .collect();
    sheet::starter(&song, &groups)
}

/// What the labels of two stems or more say alike: that is the song's, and no stem's own.
fn on_all_labels<'a>(taken: &'a Intake, key: &str) -> Option<&'a str> {
    let stems = taken.files.iter().filter(|file| file.group().is_some());
    let said: Vec<Option<&str>> = stems.map(|file| file.info.tag(key)).collect();
    let first = (*said.first()?)?;
    (said.len() > 1 && said.iter().all(|other| *other == Some(first))).then_some(first)
}

/// Writes the sheet, unless there is one already. Tells whether it was written.
///
/// # Errors
/// The folder cannot be written, or the sheet is to lie where its files cannot be named from.
pub fn write_starter(taken: &Intake, path: &Path) -> Result<bool, Fault> {
    let home = |path: &Path| path.canonicalize().ok();
    let beside = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    if home(beside) != home(&taken.folder) {
        let at = path.display().to_string();
        let message = "A sheet names its files from its own folder, which is not the folder of these stems.".to_owned();
        let remedy = format!("Write it into {}.", taken.folder.display());
        return Err(Fault::input("sheet-elsewhere", &at, message, remedy));
    }
    match OpenOptions::new().write(true).create_new(true).open(path) {
        Ok(mut file) => {
            file.write_all(starter_text(taken).as_bytes()).map_err(|error| machine(path, &error))?;
            Ok(true)
        }
        Err(error) if error.kind() == ErrorKind::AlreadyExists => Ok(false),
        Err(error) => Err(machine(path, &error)),
    }
}
