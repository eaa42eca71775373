//! One desk at a time for a sheet: two would put their texts over each other.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use engine::Fault;
use prints::part::is_at;

use crate::session::beside;

/// A sheet that is held by this desk, by a lock on a hidden file beside it. A killed desk holds nothing any more.
pub struct Held {
    path: PathBuf,
    _lock: File,
}

impl Held {
    /// Holds a sheet; nothing where the folder cannot be written, since no desk can save there.
    ///
    /// # Errors
    /// Another desk holds it.
    pub fn claim(sheet: &Path) -> Result<Option<Self>, Fault> {
        let path = beside(sheet, "desk");
        loop {
            let Ok(lock) = File::create(&path) else { return Ok(None) };
            match lock.try_lock() {
                Ok(()) if is_at(&lock, &path) => return Ok(Some(Self { path, _lock: lock })),
                // The desk that went came between the file and its lock: then once more.
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => return Err(elsewhere(sheet)),
                Err(TryLockError::Error(_)) => return Ok(None),
            }
        }
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        // What stays behind is held by nobody: the next desk takes it.
        let _ = fs::remove_file(&self.path);
    }
}

fn elsewhere(sheet: &Path) -> Fault {
    let at = sheet.display().to_string();
    let message = format!("{at} lies on another desk already.");
    Fault::input("on-a-desk", &at, message, "Go to the page of that desk, or end it with Ctrl+C.".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_lies_on_one_desk_and_what_a_killed_one_left_keeps_nobody_out() {
        let folder = tempfile::tempdir().expect("a folder");
        let sheet = folder.path().join("sheet.toml");
        let first = Held::claim(&sheet).expect("it is free");
        let refused = Held::claim(&sheet).err().expect("it is held");
        assert_eq!(refused.problem().code, "on-a-desk");
        drop(first);
        assert_eq!(fs::read_dir(folder.path()).expect("readable").count(), 0);
        fs::write(folder.path().join(".sheet.toml.desk"), "").expect("written");
        assert!(Held::claim(&sheet).expect("nobody holds it").is_some());
        assert!(Held::claim(&folder.path().join("gone/sheet.toml")).expect("nothing to hold").is_none());
    }
}
