//! Audio files in and out: decoding, encoding, metadata, rate conversion, and the round trip through a lossy codec.
//!
//! - [`Reader`] reads a file as stereo frames; [`open_at`] reads it at another rate. Files are only ever opened for
//!   reading.
//! - [`read_channels`] reads an impulse response with 1, 2 or 4 channels.
//! - [`create`] starts a [`Writer`]: WAV, AIFF, FLAC, MP3, Opus or Vorbis, written beside its final name and renamed in one step.
//! - [`RateConverter`] converts a rate with zero delay and the same samples on every machine.
//! - [`codec`] sends a mix through a lossy codec and hands back what a listener would hear, aligned.
//!
//! Everything streams: memory does not grow with the length of a song. Every error names its file, its reason and a
//! remedy ([`MediaError`]).
//!
//! Determinism: uncompressed and losslessly compressed sources, rate conversion and WAV, AIFF and FLAC files are the same
//! bytes on every machine. Lossy decoders and encoders compute their tables with the machine's mathematics
//! library, so their last bits may differ from one machine to the next.

mod aiff;
mod caf;
pub mod codec;
mod decode;
mod error;
mod flac;
mod id3;
mod info;
mod metadata;
mod mp3;
mod mp4;
mod ogg_kbps;
mod opus;
mod reader;
mod resample;
mod sample;
mod source;
mod vorbis;
mod wav;
mod writer;

pub use error::{MediaError, Reason};
pub use info::{Bext, Format, Info, Loudness};
pub use metadata::Metadata;
pub use mp3::Kbps;
pub use ogg_kbps::OggKbps;
pub use reader::{Reader, read_all, read_channels};
pub use resample::{RateConverter, ResampledReader};
pub use source::{Source, open_at};
pub use writer::{FileFormat, IntegerBits, WavSample, Writer, Written, create, write_all};
