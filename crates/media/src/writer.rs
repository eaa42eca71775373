//! Writes audio files: beside their final name, renamed in one step.

use std::fs::{self, File, OpenOptions};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use units::Frame;

use crate::aiff::AiffWriter;
use crate::error::Named;
use crate::flac::FlacWriter;
use crate::mp3::Mp3Writer;
use crate::opus::OpusWriter;
use crate::vorbis::VorbisWriter;
use crate::wav::WavWriter;
use crate::{Kbps, Loudness, MediaError, Metadata, OggKbps, Reason};

pub use crate::sample::WavSample;

/// Word length of a file of integers: AIFF or FLAC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum IntegerBits {
    /// 16 bits.
    Sixteen,
    /// 24 bits.
    TwentyFour,
}

impl IntegerBits {
    /// Bits.
    #[must_use]
    pub const fn get(self) -> u16 {
        match self {
            Self::Sixteen => 16,
            Self::TwentyFour => 24,
        }
    }
}

/// The format of a file to write.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FileFormat {
    /// Wave file with a broadcast extension.
    Wav(WavSample),
    /// Audio interchange file.
    Aiff(IntegerBits),
    /// Free lossless audio codec.
    Flac(IntegerBits),
    /// MPEG-1 layer III at a constant rate.
    Mp3(Kbps),
    /// Opus in an Ogg stream, at a variable rate around this one.
    Opus(OggKbps),
    /// Vorbis in an Ogg stream, at a variable rate around this one.
    Vorbis(OggKbps),
}

impl FileFormat {
    /// The usual ending of a file name.
    #[must_use]
    pub const fn extension(self) -> &'static str {
        match self {
            Self::Wav(_) => "wav",
            Self::Aiff(_) => "aiff",
            Self::Flac(_) => "flac",
            Self::Mp3(_) => "mp3",
            Self::Opus(_) => "opus",
            Self::Vorbis(_) => "ogg",
        }
    }

    /// Bits of an integer sample: what dither ahead of the file must aim at. None for floats and lossy files.
    #[must_use]
    pub const fn integer_bits(self) -> Option<u16> {
        match self {
            Self::Wav(WavSample::Int16) => Some(16),
            Self::Wav(WavSample::Int24) => Some(24),
            Self::Aiff(bits) | Self::Flac(bits) => Some(bits.get()),
            Self::Wav(_) | Self::Mp3(_) | Self::Opus(_) | Self::Vorbis(_) => None,
        }
    }

    /// The rate nearest in kind that this format can hold: a song at 96 kHz becomes an MP3 file at 48 kHz.
    #[must_use]
    pub fn rate_for(self, rate_hz: u32) -> u32 {
        let rates_hz: &[u32] = match self {
            Self::Wav(_) | Self::Aiff(_) | Self::Flac(_) => return rate_hz,
            Self::Mp3(_) => &crate::mp3::RATES_HZ,
            Self::Opus(_) => return crate::opus::RATE_HZ,
            Self::Vorbis(_) => &crate::vorbis::RATES_HZ,
        };
        match rates_hz.contains(&rate_hz) {
            true => rate_hz,
            false if rate_hz.is_multiple_of(11_025) => 44_100,
            false => 48_000,
        }
    }
}

/// What was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Written {
    /// Length.
    pub frames: u64,
    /// Samples that lay outside the range of an integer file and were held at its edge.
    pub clamped_samples: u64,
    /// Size of the file.
    pub bytes: u64,
}

/// An encoder that writes into a file.
pub(crate) trait Encode: Send {
    fn write(&mut self, frames: &[Frame]) -> Result<(), Reason>;
    /// Settles the file; returns it with the number of clamped samples.
    fn finish(self: Box<Self>, loudness: &Loudness) -> Result<(File, u64), Reason>;
}

/// A file being written. Dropped before [`Self::finish`], it leaves nothing behind.
pub struct Writer {
    // In this order: the encoder lets go of the file before the file is removed.
    encoder: Box<dyn Encode>,
    partial: PartialFile,
    largest: f64,
    frames: u64,
    loudness: Loudness,
}

impl std::fmt::Debug for Writer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Writer").field("path", &self.partial.final_path).field("frames", &self.frames).finish()
    }
}

/// Starts a file. `frames_hint` is the length if it is known, by which seek points are spread; it need
/// not be right.
///
/// # Errors
/// If the name is taken, the folder cannot be written, or the format cannot hold the rate.
pub fn create(
    path: &Path,
    format: &FileFormat,
    rate_hz: u32,
    frames_hint: Option<u64>,
    metadata: &Metadata,
) -> Result<Writer, MediaError> {
    let (partial, file) = PartialFile::create(path)?;
    let encoder: Box<dyn Encode> = match *format {
        FileFormat::Wav(sample) => Box::new(WavWriter::new(file, sample, rate_hz, metadata).named(path)?),
        FileFormat::Aiff(bits) => Box::new(AiffWriter::new(file, bits, rate_hz, metadata).named(path)?),
        FileFormat::Flac(bits) => Box::new(FlacWriter::new(file, bits, rate_hz, frames_hint, metadata).named(path)?),
        FileFormat::Mp3(kbps) => Box::new(Mp3Writer::new(file, kbps, rate_hz, metadata).named(path)?),
        FileFormat::Opus(kbps) => Box::new(OpusWriter::new(file, kbps, rate_hz, metadata).named(path)?),
        FileFormat::Vorbis(kbps) => Box::new(VorbisWriter::new(file, kbps, rate_hz, metadata).named(path)?),
    };
    let largest = if *format == FileFormat::Wav(WavSample::Float32) { f64::from(f32::MAX) } else { f64::MAX };
    Ok(Writer { encoder, partial, largest, frames: 0, loudness: Loudness::default() })
}

/// Writes a whole file in one call, without waiting for the disk: for files that can be made again.
///
/// # Errors
/// As for [`create`], [`Writer::write`] and [`Writer::finish`].
pub fn write_all(
    path: &Path,
    format: &FileFormat,
    rate_hz: u32,
    frames: &[Frame],
    metadata: &Metadata,
) -> Result<Written, MediaError> {
    let mut writer = create(path, format, rate_hz, Some(frames.len() as u64), metadata)?;
    writer.write(frames)?;
    writer.finish_without_sync()
}

impl Writer {
    /// Appends frames. Integer files expect values that lie on their grid already (dithered).
    ///
    /// # Errors
    /// If the disk is full or gone, or a value is not finite.
    pub fn write(&mut self, frames: &[Frame]) -> Result<(), MediaError> {
        if !all_within(frames, self.largest) {
            // Not a number fails the comparison too.
            let fits = |[l, r]: &Frame| l.abs() <= self.largest && r.abs() <= self.largest;
            let at = frames.iter().position(|frame| !fits(frame)).unwrap_or(0);
            let reason = Reason::NotFinite { frame: self.frames + at as u64 };
            return Err(MediaError::new(&self.partial.final_path, reason));
        }
        self.encoder.write(frames).named(&self.partial.final_path)?;
        self.frames += frames.len() as u64;
        Ok(())
    }

    /// States loudness figures, for formats that have a place for them. They may be known only at the end.
    pub fn set_loudness(&mut self, loudness: Loudness) {
        self.loudness = loudness;
    }

    /// Completes the file, waits until the disk has it, and gives it its name.
    ///
    /// # Errors
    /// If the disk is full or gone, or the name was taken meanwhile. Nothing is left under the final name then.
    pub fn finish(self) -> Result<Written, MediaError> {
        self.complete(true)
    }

    /// Completes a file that can be made again, without waiting for the disk.
    ///
    /// # Errors
    /// As for [`Self::finish`].
    pub fn finish_without_sync(self) -> Result<Written, MediaError> {
        self.complete(false)
    }

    fn complete(self, wait_for_disk: bool) -> Result<Written, MediaError> {
        let Self { encoder, partial, frames, loudness, .. } = self;
        let path = partial.final_path.clone();
        let (file, clamped_samples) = encoder.finish(&loudness).named(&path)?;
        if wait_for_disk {
            file.sync_all().named(&path)?;
        }
        let bytes = file.metadata().named(&path)?.len();
        drop(file);
        partial.take_final_name()?;
        Ok(Written { frames, clamped_samples, bytes })
    }
}

/// Whether no magnitude is above `largest`, or no number. In lanes, so that it is vector code.
fn all_within(frames: &[Frame], largest: f64) -> bool {
    let (eights, rest) = frames.as_flattened().as_chunks::<8>();
    let mut within = [true; 8];
    for eight in eights {
        for (within, x) in within.iter_mut().zip(eight) {
            *within &= x.abs() <= largest;
        }
    }
    within == [true; 8] && rest.iter().all(|x| x.abs() <= largest)
}

/// A file beside its final name. Removed when dropped.
struct PartialFile {
    final_path: PathBuf,
    path: PathBuf,
}

impl PartialFile {
    fn create(final_path: &Path) -> Result<(Self, File), MediaError> {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let Some(name) = final_path.file_name() else {
            return Err(MediaError::new(final_path, Reason::NotAFile("a folder")));
        };
        if final_path.symlink_metadata().is_ok() {
            return Err(MediaError::new(final_path, Reason::Exists));
        }
        let mut partial_name = std::ffi::OsString::from(".");
        partial_name.push(name);
        partial_name.push(format!(".{}-{}.part", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed)));
        let path = final_path.with_file_name(partial_name);
        let file = OpenOptions::new().write(true).create_new(true).open(&path).named(final_path)?;
        Ok((Self { final_path: final_path.to_owned(), path }, file))
    }

    /// A hard link refuses a name that is taken, in one step; where the disk's format has no links, the name is
    /// checked and the file renamed.
    fn take_final_name(self) -> Result<(), MediaError> {
        match fs::hard_link(&self.path, &self.final_path) {
            Ok(()) => Ok(()),
            Err(_) if self.final_path.symlink_metadata().is_ok() => {
                Err(MediaError::new(&self.final_path, Reason::Exists))
            }
            Err(_) => fs::rename(&self.path, &self.final_path).named(&self.final_path),
        }
    }
}

impl Drop for PartialFile {
    fn drop(&mut self) {
        // Nothing more can be done if the disk is gone.
        let _ = fs::remove_file(&self.path);
    }
}
