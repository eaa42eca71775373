//! The recall sheet: text in, a typed network and problems with places out.
//!
//! [`read`] turns a text into a [`Sheet`]; it knows processors only as data (a list of [`units::Spec`]). All that can be
//! wrong is reported at once, each problem with its place and a remedy.
//!
//! - `keys`: every key of the sheet that is not a processor's, written once;
//! - `tree`: the text as values with the bytes they stand in;
//! - `reader`: tree to sheet;
//! - `network`: what is odd about the routing;
//! - `edit`: changes of the text that leave the rest of it alone;
//! - `sentences`: what stems, buses and sends do, in words;
//! - `difference`: what changed between two sheets, in words;
//! - `schema`, `reference`: the keys as JSON Schema and as a document;
//! - `starter`: the sheet to start from;
//! - `starts`: complete chains for tasks, to start from.

mod difference;
mod edit;
pub mod keys;
mod lines;
mod model;
mod nearest;
mod network;
mod reader;
mod reference;
mod schema;
mod sentences;
mod starter;
mod starts;
mod tree;

pub use difference::{Change, difference, plain_name};
pub use edit::{Edit, Plain, Step, set_value};
pub use model::{
    Accepted, Album, Alternate, CodecChoice, Dither, Dynamics, FileFormat, FileSpec, Link, Loudness, Name, Node,
    NodeKind, Print, Reference, Ride, Section, Send, Sheet, Song, StemGroup, StemPrint, Tap, Target,
};
pub use network::{accept, network_findings};
pub use reader::{read, read_album};
pub use reference::{parameters, reference};
pub use schema::schema;
pub use sentences::{node_blank, node_sentence, send_blank, send_sentence};
pub use starter::{StarterGroup, StarterSong, starter};
pub use starts::{Spot, Start, start, starts};
