//! Rounding to the grid of a file outside of a stream.

use dsp::Processor;
use sheet::Dither;
use units::{Block, Frame, Value};

use crate::compile::dither_settings;
use crate::fault::Fault;

/// Puts frames on the grid of an integer file. Noise 0 is that of the files of prints, so that it gives their samples to
/// the bit; every other number is a noise of its own.
pub struct Grid {
    processor: Box<dyn Processor>,
}

impl Grid {
    /// A grid of `bits`.
    ///
    /// # Errors
    /// The dither cannot be built for this rate.
    pub fn new(bits: u32, dither: Dither, noise: u32, rate_hz: f64) -> Result<Self, Fault> {
        let mut settings = dither_settings(bits, dither)?;
        if let Some((param, _)) = settings.spec().param("seed")
            && let Value::Number(first) = settings.values()[param]
        {
            settings.set(units::At { row: None, param }, Value::Number(first + f64::from(noise)));
        }
        let built = crate::step::build(&settings, &dsp::Context::plain(rate_hz, 1));
        let faulty = |error: dsp::BuildError| Fault::input("cannot-build", "dither", error.message, error.remedy);
        Ok(Self { processor: built.map_err(faulty)? })
    }

    /// Puts the next frames on the grid.
    pub fn put(&mut self, frames: &mut [Frame]) {
        self.processor.process(&mut Block::key_only(frames), None);
    }
}
