//! Where an input lies as a file.

use std::path::PathBuf;

/// A file of this process alone, in memory where the system has a place for that.
pub fn of(ending: &str) -> PathBuf {
    let memory = PathBuf::from("/dev/shm");
    let folder = if memory.is_dir() { memory } else { std::env::temp_dir() };
    folder.join(format!("fairprint-fuzz-{}.{ending}", std::process::id()))
}
