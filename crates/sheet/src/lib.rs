//! The recall sheet: text in, a typed network and problems with places out.

mod model;

pub use model::{
    Accepted, CodecChoice, Dither, FileFormat, FileSpec, Link, Loudness, Name, Node, NodeKind, Print, Reference, Ride,
    Section, Send, Sheet, Song, Tap, Target,
};
