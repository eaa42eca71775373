//! Networks that nobody drew: random ones, enormous ones, and what must be true of all of them.
//!
//! The counts are small enough for every day; `sh bench/soak` asks for the full ones by `FAIRPRINT_SHEETS`.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

#[path = "../network/songs.rs"]
mod songs;

mod enormous;
mod printed;
mod properties;
mod sheets;

/// The start of every sheet here.
const HEAD: &str = "fairprint = 1\n[song]\ntitle = \"Lantern Weather\"\nartist = \"The Tin Orchard\"\n\
    rate_hz = 48000\ntempo_bpm = 92\n";

/// How many cases are tried: a few, or as many as the environment asks for.
fn cases(few: u64) -> u64 {
    std::env::var("FAIRPRINT_SHEETS").ok().and_then(|count| count.parse().ok()).unwrap_or(few)
}
