//! One at a time: who changes a file beside a sheet holds a lock, so that of two changes at once none is lost.

use std::fs::{File, OpenOptions};
use std::path::Path;

use engine::Fault;

/// Waits until nobody else changes the file, and keeps others waiting until the returned one is dropped. A killed program
/// holds nothing.
///
/// The lock is a hidden empty file of its own, because the file itself is replaced whenever it is written. It stays: a
/// lock that is removed can be held by two.
///
/// # Errors
/// The folder cannot be written.
pub(crate) fn hold(path: &Path) -> Result<File, Fault> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let lock = path.with_file_name(format!(".{name}.lock"));
    let held = OpenOptions::new().create(true).truncate(false).write(true).open(lock);
    held.and_then(|held| held.lock().map(|()| held)).map_err(|error| prints::disk_fault(path, &error))
}
