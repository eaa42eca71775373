//! The desk: a page on the loopback address on which the song is heard through the engine that prints it.
//!
//! - `protocol`: what the page and the desk say to each other;
//! - `card`: a sheet as sentences with controls in them;
//! - `session`: the sheet under the hands: edits, undo, saving, what is heard of it;
//! - `held`: one desk at a time for a sheet;
//! - `earlier`: what was printed before and versions, to be heard beside it;
//! - `player`: the thread that computes what is heard;
//! - `behind`: what gives way to that thread;
//! - `blind`, `pair`, `passage`: two sounds in memory, compared without knowing which is which;
//! - `through`, `decoded`: what it is heard through;
//! - `guard`: what stands between the player and the ears;
//! - `meters`, `octaves`: what the map shows of every node, and the meters of what is heard;
//! - `exposure`: how much the ears have had;
//! - `versions`: what was kept of the sheet under a name;
//! - `surveyor`, `weigher`, `renderer`, `adviser`: what is heard behind the scenes, of the whole song, of one part, of
//!   versions, and on ask of every path;
//! - `server`: who may come in, and what they get.

mod adviser;
mod behind;
mod blind;
pub mod card;
mod decoded;
mod device;
mod earlier;
mod exposure;
mod guard;
mod held;
mod helper;
mod listeners;
mod meters;
mod octaves;
mod pair;
mod passage;
mod past;
mod player;
pub mod protocol;
mod renderer;
mod server;
mod session;
mod surveyor;
mod take;
#[cfg(test)]
mod testing;
mod through;
mod versions;
mod weigher;
mod wish;

pub use server::{Closed, Desk, Setup, open};
