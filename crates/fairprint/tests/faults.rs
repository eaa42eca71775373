//! What the machine does to a run: kills, full disks, rights that are lost, clocks that go back, two runs at once, readers
//! that do not read.
//!
//! Few of each here; `sh bench/faults` asks for 200 kills by `FAIRPRINT_KILLS`, and a minute of siege by `FAIRPRINT_SIEGE_SECS`.

#![cfg(target_os = "linux")]
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]
#![expect(clippy::print_stdout, reason = "counts are worth reading")]

mod short_song;

#[path = "faults/desk.rs"]
mod desk;
#[path = "faults/disk.rs"]
mod disk;
#[path = "faults/kills.rs"]
mod kills;
#[path = "faults/page.rs"]
mod page;
#[path = "faults/rights.rs"]
mod rights;
#[path = "faults/song.rs"]
mod song;
#[path = "faults/together.rs"]
mod together;
