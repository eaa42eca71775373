//! The listening page that an artist opens, and the notes that come back.
//!
//! - [`write`] makes the page of a revision: a folder, or one file with the audio inside, that opens from disk in a browser,
//!   without a server and without a network. All versions play in time to the frame and at the same loudness.
//! - [`notes`] reads what listeners send back, adds it to the collection beside the sheet, and finds where a moment of one
//!   revision lies in another.
//! - [`ballot`] counts blind ballots: the exact binomial probability, and whether a preference outlives matched loudness.
//! - [`blind`] says what a blind test of two sounds shows, and keeps it beside the sheet.

mod audio;
pub mod ballot;
pub mod blind;
mod hold;
mod html;
pub mod notes;
mod revision;
mod song;
mod versions;
mod write;

pub use audio::Audio;
pub use revision::{Heard, Version};
pub use write::{Order, Written, write};

/// Date and time of now in universal time, as notes carry it.
#[must_use]
pub fn now() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}
