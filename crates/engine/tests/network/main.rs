//! The network as a whole: sums, sends, rides, alignment, lanes, cutting, threads.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod songs;

mod ahead;
mod alignment;
mod apart;
mod colour;
mod cutting;
mod lanes;
mod live;
mod paths;
mod responses;

/// The start of every sheet here.
const HEAD: &str = r#"
fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
tempo_bpm = 92
"#;

/// The print of every sheet here.
const PRINT: &str = r#"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 32 }]
"#;

/// A sheet around the nodes that a test is about.
fn sheet(nodes: &str) -> String {
    format!("{HEAD}{nodes}{PRINT}")
}
