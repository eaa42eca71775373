//! The processors: pure arithmetic on stereo blocks. No input, no output, no allocation while processing.
//!
//! One file holds one processor: its parameters, its state, `process`, and its tests against outside figures. The
//! [`CATALOGUE`] lists them all; the sheet's parser, the engine, the schema and the documents know processors only
//! through it. To add one, write its file and its line in the catalogue.

use std::sync::Arc;

use units::{At, Block, Frame, Settings, Spec};

pub mod biquad;
mod catalogue;
pub mod compressor;
pub mod console;
pub mod convolution;
mod decibel_fast;
pub mod delay;
pub mod dither;
pub mod drive;
pub mod elementary;
pub mod eq;
mod guard;
pub mod lag;
pub mod limiter;
pub mod oversample;
mod partitioned;
pub mod ramp;
pub mod room;
pub mod section;
mod space;
pub mod spread;
pub mod symmetric;
pub mod tape;
#[cfg(test)]
mod testing;
pub mod transient;
pub mod trim;
pub mod width;

pub use catalogue::CATALOGUE;

/// What every processor does.
///
/// - `process` may be handed any number of frames up to [`units::MAX_BLOCK_FRAMES`] at a time; what comes out does not
///   depend on how the song was cut.
/// - Lane 0 is the key, further lanes are followers (see [`units::Block`]): a linear processor treats every lane alike,
///   a gain processor derives its gain from the key and applies it to every lane, a memoryless shaper does so sample by
///   sample in the oversampled domain, and what cannot be split goes to the residue. Key = sum of the others, always.
/// - What comes out is finite, silence in gives silence out (once tails have ended), and nothing slows down on
///   denormals. What is no sound (NaN, infinity, absurd levels) does not reach `process`: [`Entry::build`] sees to that.
/// - Results are the same on every machine: transcendentals come from `libm`, transforms from the scalar planner.
pub trait Processor: Send {
    /// Processes one block in place. `outside_key` is the signal of another bus that a dynamics processor listens to
    /// instead of its own input, already aligned with it and as long as the block.
    fn process(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>);

    /// Moves a number to a new value, from the next frame on and without a click. The engine calls this at most every
    /// [`ramp::RAMP_FRAMES`] frames while a ride or a hand moves the parameter, in steps fine enough that filters may
    /// take them at once; gains glide over [`ramp::RAMP_FRAMES`] frames. Values go through [`Settings::set`], which brings
    /// them into their range and tells how they fit. Never allocates.
    fn set(&mut self, at: At, value: f64);

    /// Back to the state after building: all memory silent, all glides finished.
    fn reset(&mut self);

    /// Frames by which the output lags the input. Constant for the life of the processor.
    fn latency_frames(&self) -> usize {
        0
    }

    /// Frames for which output goes on after the input has ended (latency left out): sound above -120 dB of what went
    /// in, and what lies below hearing (an offset that follows the mean of the song) above -60 dB.
    fn tail_frames(&self) -> usize {
        0
    }

    /// The strongest gain reduction of the last block in dB (0 or negative), for dynamics processors.
    fn gain_reduction_db(&self) -> Option<f64> {
        None
    }
}

/// What a processor is built for.
pub struct Context<'a> {
    /// Sample rate.
    pub rate_hz: f64,
    /// Lanes: 1, or 1 + followers + residue.
    pub lanes: usize,
    /// Tempo, for note values.
    pub tempo_bpm: f64,
    /// The frame of the song that comes first. What moves by a clock of its own starts where it would have come to by then.
    pub first_frame: u64,
    /// Audio files that the settings name (impulse responses), at `rate_hz`, or why one cannot be had.
    pub audio: &'a dyn Fn(&str) -> Result<Channels, BuildError>,
}

/// The channels of a whole audio file, each a list of samples, all of one length.
pub type Channels = Arc<[Vec<f64>]>;

impl Context<'_> {
    /// A context without files, for code and tests.
    #[must_use]
    pub fn plain(rate_hz: f64, lanes: usize) -> Self {
        let audio = &|name: &str| {
            Err(BuildError {
                message: format!("There is no file “{name}” here."),
                remedy: "Name a file that is there.".to_owned(),
            })
        };
        Self { rate_hz, lanes, tempo_bpm: 120.0, first_frame: 0, audio }
    }
}

/// Why a processor cannot be built: what is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BuildError {
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

/// Makes a processor from its settings. This is where it allocates.
type Make = fn(&Settings, &Context<'_>) -> Result<Box<dyn Processor>, BuildError>;

/// One processor of the catalogue.
pub struct Entry {
    /// Its description.
    pub spec: &'static Spec,
    make: Make,
}

impl Entry {
    /// Builds the processor, with a guard before it: a frame that is no sound in any lane (not a number, infinite, or
    /// 180 dB over full scale) goes in as silence in all of them, so that no memory is ever spoilt.
    ///
    /// # Errors
    /// The settings cannot be had; see the processor.
    pub fn build(&self, settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
        Ok(Box::new(guard::Guard::before((self.make)(settings, context)?)))
    }
}

/// The entry of a processor by its name in the sheet.
#[must_use]
pub fn entry(name: &str) -> Option<&'static Entry> {
    CATALOGUE.iter().find(|entry| entry.spec.name == name)
}
