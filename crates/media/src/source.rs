//! Anything that frames can be read from.

use std::path::Path;

use units::Frame;

use crate::error::Named;
use crate::{Info, MediaError, Reader, ResampledReader};

/// A stream of stereo frames of known length.
pub trait Source: Send {
    /// Frames a second, as delivered.
    fn rate_hz(&self) -> u32;

    /// Length in frames, at [`Self::rate_hz`].
    fn frames(&self) -> u64;

    /// Reads the next frames. Returns how many were read: 0 at the end only.
    ///
    /// # Errors
    /// If the file can no longer be read or is damaged.
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, MediaError>;

    /// Moves to a frame; the next read starts there, with the same samples that reading up to it would have met.
    ///
    /// # Errors
    /// If the frame lies past the end, or the file can no longer be read.
    fn seek(&mut self, frame: u64) -> Result<(), MediaError>;

    /// What the file under this stream says about itself: its rate and length are the file's own.
    fn info(&self) -> &Info;

    /// Where the file under this stream is.
    fn path(&self) -> &Path;
}

/// Opens a file to be read at a rate.
///
/// # Errors
/// If the file cannot be read, or its rate has no workable ratio to this one.
pub fn open_at(path: &Path, rate_hz: u32) -> Result<Box<dyn Source>, MediaError> {
    at_rate(Reader::open(path)?, Some(rate_hz))
}

/// A reader as it is, or at another rate.
pub(crate) fn at_rate(reader: Reader, rate_hz: Option<u32>) -> Result<Box<dyn Source>, MediaError> {
    match rate_hz {
        Some(rate_hz) if rate_hz != reader.info().rate_hz => {
            let path = reader.path().to_owned();
            Ok(Box::new(ResampledReader::new(reader, rate_hz).named(&path)?))
        }
        _ => Ok(Box::new(reader)),
    }
}
