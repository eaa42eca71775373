//! Revisions: each print run is a folder `r001`, `r002`, … that appears only when it is complete.
//!
//! A run works in `.r003.part` beside the finished revisions and holds a lock on a file in it; the last act is one
//! rename. A killed run leaves only such a folder, which nobody holds any more: the next run clears it away.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use engine::Fault;

const LOCK_NAME: &str = ".held";

/// A revision in the making. Dropped before [`Self::publish`], it leaves nothing behind.
pub struct Revision {
    out: PathBuf,
    number: u32,
    part: PathBuf,
    held: Option<File>,
}

impl Revision {
    /// Takes the next free number below `out`.
    ///
    /// # Errors
    /// The folder cannot be made or written.
    pub fn begin(out: &Path) -> Result<Self, Fault> {
        let faulty = |error: io::Error| machine(out, &error);
        fs::create_dir_all(out).map_err(faulty)?;
        clear_abandoned(out).map_err(faulty)?;
        let mut number = 1 + highest(out).map_err(faulty)?;
        loop {
            let part = out.join(format!(".{}.part", name_of(number)));
            match fs::create_dir(&part) {
                Ok(()) => {
                    let held = hold(&part).map_err(faulty)?;
                    return Ok(Self { out: out.to_owned(), number, part, held: Some(held) });
                }
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => number += 1,
                Err(error) => return Err(faulty(error)),
            }
        }
    }

    /// A finished one once more, beside it: to be looked at and dropped, not published.
    ///
    /// # Errors
    /// The folder cannot be made or written.
    pub fn again(out: &Path, number: u32) -> Result<Self, Fault> {
        let faulty = |error: io::Error| machine(out, &error);
        clear_abandoned(out).map_err(faulty)?;
        let part = out.join(format!(".{}.again-{}.part", name_of(number), std::process::id()));
        fs::create_dir(&part).map_err(faulty)?;
        let held = hold(&part).map_err(faulty)?;
        Ok(Self { out: out.to_owned(), number, part, held: Some(held) })
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
        &self.part
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
    pub fn publish(mut self) -> Result<PathBuf, Fault> {
        let path = self.final_folder();
        let faulty = |error: io::Error| machine(&path, &error);
        fs::remove_file(self.part.join(LOCK_NAME)).map_err(faulty)?;
        drop(self.held.take());
        fs::rename(&self.part, &path).map_err(faulty)?;
        Ok(path)
    }
}

impl Drop for Revision {
    fn drop(&mut self) {
        if self.held.is_some() {
            // Nothing to tell anyone: what cannot be removed now is cleared away by the next run.
            let _ = fs::remove_dir_all(&self.part);
        }
    }
}

fn name_of(number: u32) -> String {
    format!("r{number:03}")
}

fn hold(part: &Path) -> io::Result<File> {
    let file = File::create(part.join(LOCK_NAME))?;
    file.lock()?;
    Ok(file)
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

/// Removes what killed runs have left: folders of runs whose lock nobody holds.
fn clear_abandoned(out: &Path) -> io::Result<()> {
    for entry in fs::read_dir(out)? {
        let entry = entry?;
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if !(name.starts_with(".r") && name.ends_with(".part")) {
            continue;
        }
        let free = match File::open(entry.path().join(LOCK_NAME)) {
            Ok(file) => !matches!(file.try_lock(), Err(TryLockError::WouldBlock)),
            // Just made, or about to be published: not abandoned for certain.
            Err(_) => is_old(&entry.path()),
        };
        if free {
            fs::remove_dir_all(entry.path())?;
        }
    }
    Ok(())
}

fn is_old(path: &Path) -> bool {
    let age = fs::metadata(path).and_then(|facts| facts.modified()).ok().and_then(|time| time.elapsed().ok());
    age.is_some_and(|age| age.as_secs() > 60)
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
        fs::write(out.path().join(".r001.part").join(LOCK_NAME), "").unwrap();
        let next = Revision::begin(out.path()).unwrap();
        assert_eq!(next.name(), "r001");
    }
}
