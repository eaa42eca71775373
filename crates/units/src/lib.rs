//! The words every other crate speaks: levels, times, the stereo block, parameters, problems with places, and
//! random numbers that are the same on every machine.
//!
//! Nothing here moves samples or touches a file. A processor is described by a [`Spec`]: the sheet's parser, the JSON
//! Schema, the sentences of reports and pages, and the reference documents all derive from it, so that a unit, a range
//! or a default is written once.

mod block;
mod level;
mod param;
mod problem;
pub mod random;
mod sentence;
mod settings;
mod time;

pub use block::{Block, Frame, MAX_BLOCK_FRAMES, SILENCE, all_finite};
pub use level::{db_from_gain, db_from_power, gain_from_db};
pub use param::{Kind, Param, Rows, Spec, Unit};
pub use problem::{Place, Problem, Severity};
pub use sentence::{Phrase, Piece, counted, in_words, number_in_words, phrases, render, typeset};
pub use settings::{At, Fit, Settings, Value};
pub use time::{format_time, frames_from_ms, frames_from_secs, secs_from_frames};
