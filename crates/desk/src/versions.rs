//! Versions of a sheet that were kept under a name: plain sheets in a folder beside it, `NAME.versions` for `NAME.toml`.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use units::{Problem, Severity};

use crate::protocol::Version;

/// Characters that some system does not take in a file's name.
const NOT_IN_NAMES: &[char] = &['/', '\\', ':', '*', '?', '"', '<', '>', '|'];
const LONGEST_NAME: usize = 60;
const ENDING: &str = "toml";

/// The versions of a sheet, the newest first. A folder that cannot be read holds none.
pub fn of(sheet: &Path) -> Vec<Version> {
    let Ok(entries) = fs::read_dir(folder(sheet)) else { return Vec::new() };
    let version = |entry: fs::DirEntry| {
        let path = entry.path();
        let name = path.file_stem()?.to_str()?.to_owned();
        let is_version = path.extension().is_some_and(|ending| ending == ENDING) && !name.starts_with('.');
        let kept = entry.metadata().ok()?.modified().ok()?;
        let kept_s = kept.duration_since(UNIX_EPOCH).map_or(0.0, |since| since.as_secs() as f64);
        is_version.then_some(Version { name, kept_s })
    };
    let mut found: Vec<Version> = entries.filter_map(|entry| version(entry.ok()?)).collect();
    found.sort_by(|a, b| b.kept_s.total_cmp(&a.kept_s).then_with(|| a.name.cmp(&b.name)));
    found
}

/// Keeps a text under a name, whole or not at all. What is kept is never overwritten.
///
/// # Errors
/// The name cannot be a file's, is taken, or the folder cannot be written.
pub fn keep(sheet: &Path, name: &str, text: &str) -> Result<(), Box<Problem>> {
    let path = path_of(sheet, name)?;
    if path.exists() {
        return Err(refused(name, format!("A version “{name}” is kept already."), "Give this one another name."));
    }
    let kept = fs::create_dir_all(folder(sheet)).and_then(|()| prints::load::put(&path, text.as_bytes()));
    kept.map_err(|error| {
        let message = format!("The version cannot be kept: {error}.");
        refused(name, message, "See that the sheet's folder can be written.")
    })
}

/// The text of a version.
///
/// # Errors
/// There is no such version, or it cannot be read.
pub fn text_of(sheet: &Path, name: &str) -> Result<String, Box<Problem>> {
    fs::read_to_string(path_of(sheet, name)?)
        .map_err(|error| refused(name, format!("The version “{name}” cannot be read: {error}."), "Take another one."))
}

fn folder(sheet: &Path) -> PathBuf {
    sheet.with_extension("versions")
}

fn path_of(sheet: &Path, name: &str) -> Result<PathBuf, Box<Problem>> {
    let is_sound = !name.is_empty()
        && name.trim() == name
        && name.chars().count() <= LONGEST_NAME
        && !name.starts_with('.')
        && !name.ends_with('.')
        && !name.chars().any(|each| each.is_control() || NOT_IN_NAMES.contains(&each));
    if !is_sound {
        let message = format!("“{name}” cannot be the name of a version: it names a file.");
        return Err(refused(name, message, "Take up to 60 letters, figures and spaces."));
    }
    Ok(folder(sheet).join(format!("{name}.{ENDING}")))
}

fn refused(name: &str, message: String, remedy: &str) -> Box<Problem> {
    Box::new(Problem::new(Severity::Fail, "version", &format!("version {name}"), message, remedy.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn versions_are_plain_files_that_nothing_overwrites() {
        let folder = tempfile::tempdir().expect("a folder");
        let sheet = folder.path().join("sheet.toml");
        assert!(of(&sheet).is_empty());
        keep(&sheet, "dry voice", "one").expect("it is kept");
        keep(&sheet, "Röhre 2.1", "two").expect("it is kept");
        assert!(keep(&sheet, "dry voice", "three").expect_err("it is taken").message.contains("already"));
        assert_eq!(fs::read_to_string(folder.path().join("sheet.versions/dry voice.toml")).expect("a file"), "one");
        let mut names: Vec<String> = of(&sheet).into_iter().map(|version| version.name).collect();
        names.sort();
        assert_eq!(names, ["Röhre 2.1", "dry voice"]);
        assert_eq!(text_of(&sheet, "Röhre 2.1").expect("it is there"), "two");
        assert!(text_of(&sheet, "wet voice").is_err());
    }

    #[test]
    fn no_name_leads_out_of_the_folder() {
        let folder = tempfile::tempdir().expect("a folder");
        let sheet = folder.path().join("sheet.toml");
        fs::write(folder.path().join("other.toml"), "secret").expect("written");
        for name in ["", " ", "../other", "..", ".", "a/b", "a\\b", "c:", ".hidden", "a\nb", &"x".repeat(61)] {
            assert!(keep(&sheet, name, "text").is_err() && text_of(&sheet, name).is_err(), "{name:?}");
        }
        assert!(!sheet.with_extension("versions").exists());
    }
}
