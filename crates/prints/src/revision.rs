//! Revisions: each print run is a folder `r001`, `r002`, … that appears only when it is complete.
//!
//! A run works in `.r003.part` beside the finished revisions (see [`crate::part`]).

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use engine::Fault;

use crate::part::{Part, clear_abandoned};

/// What the hidden folders of all runs begin with.
const BEGINNING: &str = ".r";

/// A revision in the making. Dropped before [`Self::publish`], it leaves nothing behind.
pub struct Revision {
    out: PathBuf,
    number: u32,
    part: Part,
}

impl Revision {
    /// Takes the next free number below `out`.
    ///
    /// # Errors
    /// The folder cannot be made or written.
    pub fn begin(out: &Path) -> Result<Self, Fault> {
        let faulty = |error: io::Error| machine(out, &error);
        fs::create_dir_all(out).map_err(faulty)?;
        clear_abandoned(out, BEGINNING).map_err(faulty)?;
        for number in 1 + highest(out).map_err(faulty)?.. {
            let part = Part::claim(out.join(Part::name_for(&name_of(number)))).map_err(faulty)?;
            // Another run may have taken the number and come to its end meanwhile.
            let free = part.filter(|_| !out.join(name_of(number)).exists());
            if let Some(part) = free {
                return Ok(Self { out: out.to_owned(), number, part });
            }
        }
        unreachable!("numbers do not end")
    }

    /// A finished one once more, beside it: to be looked at and dropped, not published.
    ///
    /// # Errors
    /// The folder cannot be made or written.
    pub fn again(out: &Path, number: u32) -> Result<Self, Fault> {
        let faulty = |error: io::Error| machine(out, &error);
        clear_abandoned(out, BEGINNING).map_err(faulty)?;
        let name = format!("{}.again-{}", name_of(number), std::process::id());
        let part = Part::claim(out.join(Part::name_for(&name))).map_err(faulty)?;
        let part = part.ok_or_else(|| faulty(io::ErrorKind::AlreadyExists.into()))?;
        Ok(Self { out: out.to_owned(), number, part })
    }

    /// Its name: `r003`.
    #[must_use]
    pub fn name(&self) -> String {
        name_of(self.number)
    }

    /// Its number.
    #[must_use]
    pub fn number(&self) -> u32 {
        self.number
    }

    /// Where to work until it is published.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.part.folder()
    }

    /// Where it will be.
    #[must_use]
    pub fn final_folder(&self) -> PathBuf {
        self.out.join(self.name())
    }

    /// Gives the folder its final name, in one step.
    ///
    /// # Errors
    /// The folder cannot be renamed.
    pub fn publish(self) -> Result<PathBuf, Fault> {
        let path = self.final_folder();
        self.part.publish(&path).map_err(|error| machine(&path, &error))?;
        Ok(path)
    }
}

fn name_of(number: u32) -> String {
    format!("r{number:03}")
}

/// The highest number that is taken, by a revision or by a run under way.
fn highest(out: &Path) -> io::Result<u32> {
    let mut highest = 0;
    for entry in fs::read_dir(out)? {
        let name = entry?.file_name();
        let name = name.to_string_lossy();
        let name = name.trim_start_matches('.').trim_end_matches(".part");
        let number = name.strip_prefix('r').and_then(|digits| digits.parse().ok());
        highest = highest.max(number.unwrap_or(0));
    }
    Ok(highest)
}

/// The fault of a disk or folder.
#[must_use]
pub fn machine(path: &Path, error: &io::Error) -> Fault {
    let at = path.display().to_string();
    let remedy = match error.kind() {
        io::ErrorKind::StorageFull => "Make room on the disk, or name another folder with --out.",
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "Name a folder that you may write to with --out."
        }
        _ => "Check that the disk is there and can be written, or name another folder with --out.",
    };
    Fault::machine("cannot-write", &at, format!("{at}: {error}"), remedy.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn revisions_are_numbered_and_appear_whole() {
        let out = tempfile::tempdir().unwrap();
        let first = Revision::begin(out.path()).unwrap();
        fs::write(first.folder().join("a.txt"), "a").unwrap();
        assert!(!out.path().join("r001").exists());
        let second = Revision::begin(out.path()).unwrap();
        assert_eq!((first.name(), second.name()), ("r001".to_owned(), "r002".to_owned()));
        let path = second.publish().unwrap();
        assert!(path.ends_with("r002") && fs::read_dir(&path).unwrap().count() == 0);
        first.publish().unwrap();
        assert_eq!(fs::read_to_string(out.path().join("r001/a.txt")).unwrap(), "a");
    }

    #[test]
    fn a_dropped_run_leaves_nothing_and_a_killed_one_is_cleared_away() {
        let out = tempfile::tempdir().unwrap();
        drop(Revision::begin(out.path()).unwrap());
        assert_eq!(fs::read_dir(out.path()).unwrap().count(), 0);
        // What a killed run leaves: the folder and a lock file that nobody holds.
        fs::create_dir(out.path().join(".r001.part")).unwrap();
        fs::write(out.path().join(".r001.part").join(".held"), "").unwrap();
        let next = Revision::begin(out.path()).unwrap();
        assert_eq!(next.name(), "r001");
    }
}
