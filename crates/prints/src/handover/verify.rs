//! The check of a handover that has arrived, as a folder or in one file, against its own list of checksums.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use engine::Fault;
use units::{Problem, Severity};

use super::SUMS;
use super::archive::Archive;
use crate::files::sha256_of;

/// Largest list of checksums that is read out of an archive: room for a hundred thousand files.
const MOST_LIST_BYTES: u64 = 32 << 20;

/// Checks what has arrived; tells how many files its list names, and what is wrong with them.
///
/// # Errors
/// There is no list of checksums, or it cannot be read.
pub fn verify(path: &Path) -> Result<(usize, Vec<Problem>), Fault> {
    let unreadable = |error: io::Error| {
        let at = path.display().to_string();
        let remedy = "Name the folder that holds SHA256SUMS, or the ZIP file of one.".to_owned();
        Fault::input("cannot-read", &at, format!("{at} cannot be read as a handover: {error}."), remedy)
    };
    let mut arrived = Arrived::open(path).map_err(unreadable)?;
    let text = arrived.list().map_err(unreadable)?;
    let mut problems = Vec::new();
    let mut named = vec![SUMS.to_owned()];
    for line in text.lines().filter(|line| !line.trim().is_empty()) {
        let entry = line.split_once("  ").filter(|(sum, name)| sum.len() == 64 && stays_inside(name));
        let Some((sum, name)) = entry else {
            let message = format!("“{line}” is no line of a list of checksums.");
            problems.push(fail("checksum", SUMS, message, "Ask for the list again."));
            continue;
        };
        named.push(name.to_owned());
        match arrived.sha256_of(name) {
            Ok(found) if found.eq_ignore_ascii_case(sum) => {}
            Ok(_) => {
                let message = format!("{name} is not the file that was sent.");
                problems.push(fail("checksum", name, message, "Ask for it again."));
            }
            Err(error) => {
                problems.push(fail("checksum", name, format!("{name} cannot be read: {error}."), "Ask for it again."));
            }
        }
    }
    let unknown = arrived.names().into_iter().filter(|name| !named.contains(name));
    problems.extend(unknown.map(|name| {
        let message = format!("{name} is not on the list.");
        Problem::new(Severity::Note, "checksum", &name, message, "Ask whether it belongs here.".to_owned())
    }));
    Ok((named.len() - 1, problems))
}

/// What has arrived.
enum Arrived {
    Folder(PathBuf),
    Archive(Archive),
}

impl Arrived {
    fn open(path: &Path) -> io::Result<Self> {
        if path.is_file() { Archive::open(path).map(Self::Archive) } else { Ok(Self::Folder(path.to_owned())) }
    }

    fn list(&mut self) -> io::Result<String> {
        match self {
            Self::Folder(folder) => fs::read_to_string(folder.join(SUMS)),
            Self::Archive(archive) => archive.text(SUMS, MOST_LIST_BYTES),
        }
    }

    fn sha256_of(&mut self, name: &str) -> io::Result<String> {
        match self {
            Self::Folder(folder) => sha256_of(&folder.join(name)),
            Self::Archive(archive) => archive.sha256_of(name),
        }
    }

    fn names(&self) -> Vec<String> {
        match self {
            Self::Folder(folder) => files_in(folder, Path::new("")),
            Self::Archive(archive) => archive.names.clone(),
        }
    }
}

fn fail(code: &'static str, at: &str, message: String, remedy: &str) -> Problem {
    Problem::new(Severity::Fail, code, at, message, remedy.to_owned())
}

/// Whether a path leads to a place inside the folder.
fn stays_inside(name: &str) -> bool {
    Path::new(name).components().all(|part| matches!(part, std::path::Component::Normal(_)))
}

/// All files below a folder, with `/` between names.
fn files_in(folder: &Path, under: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder.join(under)).into_iter().flatten().flatten() {
        let path = under.join(entry.file_name());
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => found.extend(files_in(folder, &path)),
            _ => found
                .push(path.components().map(|part| part.as_os_str().to_string_lossy()).collect::<Vec<_>>().join("/")),
        }
    }
    found.sort();
    found
}
