//! What the machine does to a run: kills, full disks, folders that nobody may write, two runs at once.
//!
//! Few of each here; `sh bench/faults` asks for a hundred kills by `FAIRPRINT_KILLS`.

#![cfg(target_os = "linux")]
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]
#![expect(clippy::print_stdout, reason = "counts are worth reading")]

mod short_song;

#[path = "faults/disk.rs"]
mod disk;
#[path = "faults/kills.rs"]
mod kills;
#[path = "faults/song.rs"]
mod song;
#[path = "faults/together.rs"]
mod together;
