//! Sheet to plan to stream.
//!
//! [`compile`] turns a sheet into a [`Plan`]: steps in order, gains, and the delays that bring all paths into line. A
//! [`Stream`] pulls blocks through a plan; it is the only thing that moves samples, for prints and for the desk alike.

pub mod alignment;
mod apart;
mod compile;
mod curve;
mod delay_line;
mod fault;
mod folder;
mod grid;
mod hearing;
mod impulse;
mod live;
mod plan;
mod read_ahead;
mod step;
mod stream;
mod variant;
mod workers;

/// Every processor that a sheet may name.
#[must_use]
pub fn specs() -> Vec<&'static units::Spec> {
    dsp::CATALOGUE.iter().map(|entry| entry.spec).collect()
}

pub use apart::{Apart, LinkPlace};
pub use compile::{Facts, compile};
pub use curve::{Curve, GainLaw, Level};
pub use fault::Fault;
pub use folder::{Beside, Folder};
pub use grid::Grid;
pub use impulse::one_sided_responses;
pub use live::Live;
pub use plan::{Feed, Input, Plan, PlanLink, Port, Role, Step};
pub use read_ahead::ReadAhead;
pub use step::{NotNumbers, Playback};
pub use stream::{RunFacts, Setup, Sink, Sources, Stream, Taken};
pub use variant::Changes;
