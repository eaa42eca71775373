//! Folders that appear whole or not at all: revisions, handovers, listening pages.
//!
//! The work is done in a hidden folder beside the final name, under a lock on a file in it; the last act is one rename. A
//! killed run leaves only such a folder, whose lock nobody holds any more: the next run clears it away.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use same_file::Handle;

use crate::load::folder_of;

const LOCK_NAME: &str = ".held";
const ENDING: &str = ".part";

/// Age from which a folder without a lock file counts as left behind.
const OLD_SECS: u64 = 60;

/// A folder in the making. Dropped before it got its name, it leaves nothing behind.
pub struct Part {
    folder: PathBuf,
    held: Option<File>,
}

impl Part {
    /// The hidden name of what will be called `name`.
    pub(crate) fn name_for(name: &str) -> String {
        format!(".{name}{ENDING}")
    }

    /// Begins what will be called `to`, beside it, after clearing away what killed runs have left of it.
    ///
    /// # Errors
    /// The folder around it cannot be made or written.
    pub fn beside(to: &Path) -> io::Result<Self> {
        let parent = folder_of(to);
        fs::create_dir_all(parent)?;
        let name = to.file_name().unwrap_or_default().to_string_lossy();
        clear_abandoned(parent, &format!(".{name}."))?;
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let own = format!("{name}.{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        let hidden = parent.join(Self::name_for(&own));
        Self::claim(hidden)?.ok_or_else(|| io::ErrorKind::AlreadyExists.into())
    }

    /// Makes a folder and holds it; none if somebody works there already.
    pub(crate) fn claim(folder: PathBuf) -> io::Result<Option<Self>> {
        loop {
            match fs::create_dir(&folder) {
                Ok(()) => {}
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => return Ok(None),
                Err(error) => return Err(error),
            }
            // Whoever clears away what was left behind may come between the folder and its lock, and another run may be there
            // then: what was locked is no lock of this folder, or the folder has one already.
            let lock = folder.join(LOCK_NAME);
            match File::create_new(&lock).and_then(|held| held.lock().map(|()| held)) {
                Ok(held) if is_at(&held, &lock) => return Ok(Some(Self { folder, held: Some(held) })),
                Ok(_) => {}
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => return Ok(None),
                Err(error) => {
                    let _ = fs::remove_dir_all(&folder);
                    return Err(error);
                }
            }
        }
    }

    /// Where to work.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Gives the folder its final name, in one step.
    pub(crate) fn publish(mut self, to: &Path) -> io::Result<()> {
        fs::remove_file(self.folder.join(LOCK_NAME))?;
        fs::rename(&self.folder, to)?;
        self.held = None;
        Ok(())
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if self.held.is_some() {
            // Nothing to tell anyone: what cannot be removed now is cleared away by the next run.
            let _ = fs::remove_dir_all(&self.folder);
        }
    }
}

/// Removes what killed runs have left in a folder: hidden folders, of names that begin so, whose lock nobody holds.
pub(crate) fn clear_abandoned(within: &Path, beginning: &str) -> io::Result<()> {
    for entry in fs::read_dir(within)? {
        let entry = entry?;
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if !(name.starts_with(beginning) && name.ends_with(ENDING)) {
            continue;
        }
        match File::open(entry.path().join(LOCK_NAME)) {
            // Held while it is removed, so that nobody who has just made the folder takes it for their own. It may be
            // another's already, if the run whose lock this was has just come to its end.
            Ok(file) if !matches!(file.try_lock(), Err(TryLockError::WouldBlock)) => {
                if is_at(&file, &entry.path().join(LOCK_NAME)) {
                    gone(&entry.path())?;
                }
            }
            Ok(_) => {}
            // Just made, or about to be published: not abandoned for certain.
            Err(_) if is_old(&entry.path()) => gone(&entry.path())?,
            Err(_) => {}
        }
    }
    Ok(())
}

/// Whether a file is the one that has a name now: a lock on one that was removed, or replaced, holds nothing.
#[must_use]
pub fn is_at(file: &File, path: &Path) -> bool {
    let own = file.try_clone().and_then(Handle::from_file);
    own.is_ok_and(|own| Handle::from_path(path).is_ok_and(|there| own == there))
}

/// Removes a folder; another run may have been faster.
fn gone(folder: &Path) -> io::Result<()> {
    match fs::remove_dir_all(folder) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

/// What was made long after now is as old as what was made long before: the clock was set back meanwhile.
fn is_old(path: &Path) -> bool {
    let made = fs::metadata(path).and_then(|facts| facts.modified());
    let age = made.map(|made| made.elapsed().unwrap_or_else(|ahead| ahead.duration()));
    age.is_ok_and(|age| age.as_secs() > OLD_SECS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dropped_one_leaves_nothing_and_one_at_work_is_left_alone() {
        let within = tempfile::tempdir().expect("a folder");
        let folder = within.path().join(Part::name_for("set"));
        let part = Part::claim(folder.clone()).expect("writable").expect("free");
        assert!(Part::claim(folder.clone()).expect("writable").is_none(), "one at a time");
        clear_abandoned(within.path(), ".set").expect("readable");
        assert!(folder.is_dir());
        drop(part);
        assert_eq!(fs::read_dir(within.path()).expect("readable").count(), 0);
    }

    #[test]
    fn a_file_that_was_removed_or_replaced_is_not_where_it_was() {
        let within = tempfile::tempdir().expect("a folder");
        let path = within.path().join(LOCK_NAME);
        let file = File::create(&path).expect("writable");
        assert!(is_at(&file, &path));
        fs::remove_file(&path).expect("removed");
        assert!(!is_at(&file, &path));
        fs::write(&path, "").expect("writable");
        assert!(!is_at(&file, &path));
    }

    #[test]
    fn however_many_want_a_folder_and_clear_it_away_one_has_it() {
        let within = tempfile::tempdir().expect("a folder");
        let folder = within.path().join(Part::name_for("set"));
        let (holders, had) = (AtomicU64::new(0), AtomicU64::new(0));
        let want = || {
            while had.load(Ordering::SeqCst) < 2000 {
                clear_abandoned(within.path(), ".set").expect("readable");
                let Some(part) = Part::claim(folder.clone()).expect("writable") else { continue };
                assert_eq!(holders.fetch_add(1, Ordering::SeqCst), 0, "somebody has it already");
                fs::write(folder.join("work"), "").expect("it is still there");
                holders.fetch_sub(1, Ordering::SeqCst);
                had.fetch_add(1, Ordering::SeqCst);
                drop(part);
            }
        };
        std::thread::scope(|scope| (0..4).for_each(|_| drop(scope.spawn(want))));
    }

    #[test]
    fn what_a_killed_run_left_is_cleared_away_and_foreign_things_are_not() {
        let within = tempfile::tempdir().expect("a folder");
        for name in [".set.part", ".other.part", ".set.kept"] {
            fs::create_dir(within.path().join(name)).expect("a folder");
            fs::write(within.path().join(name).join(LOCK_NAME), "").expect("written");
        }
        clear_abandoned(within.path(), ".set").expect("readable");
        let mut left: Vec<_> =
            fs::read_dir(within.path()).expect("readable").map(|entry| entry.expect("an entry").file_name()).collect();
        left.sort();
        assert_eq!(left, [".other.part", ".set.kept"]);
    }

    #[test]
    fn many_at_once_never_take_each_others_folders() {
        let within = tempfile::tempdir().expect("a folder");
        std::thread::scope(|scope| {
            for thread in 0..4 {
                let within = within.path();
                scope.spawn(move || {
                    for round in 0..200 {
                        clear_abandoned(within, ".r").expect("readable");
                        let name = within.join(Part::name_for(&format!("r{thread}")));
                        let part = Part::claim(name).expect("writable").expect("free");
                        let to = within.join(format!("done {thread} {round}"));
                        part.publish(&to).expect("it is still there");
                    }
                });
            }
        });
        assert_eq!(fs::read_dir(within.path()).expect("readable").count(), 800);
    }
}
