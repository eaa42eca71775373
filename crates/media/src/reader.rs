//! Opens a file and reads its frames.

use std::fs::{self, File, FileType};
use std::io::Read;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use units::{Frame, SILENCE};

use crate::decode::Decoded;
use crate::error::Named;
use crate::opus::OpusReader;
use crate::source::{Source, at_rate};
use crate::wav::WavReader;
use crate::{Info, MediaError, Reason};

/// An audio file, opened for reading only. Mono is read into both sides.
pub struct Reader {
    path: PathBuf,
    audio: Box<dyn Audio>,
}

/// Rates that are taken for real. What lies outside is a damaged header; meters and filters are never asked to work there.
const RATES_HZ: RangeInclusive<u32> = 1000..=768_000;

/// What a file is read for, which decides how many channels it may have and which of them are delivered.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Purpose {
    /// Mono or stereo.
    Song,
    /// An impulse response: mono, stereo, or of four channels the first or the second two.
    Response { second: bool },
}

impl Purpose {
    pub(crate) fn check(self, channels: u16) -> Result<(), Reason> {
        match (self, channels) {
            (_, 0) => Err(Reason::FaultyHeader("no channels".to_owned())),
            (_, 1 | 2) | (Self::Response { .. }, 4) => Ok(()),
            (Self::Song, more) => Err(Reason::TooManyChannels(more)),
            (Self::Response { .. }, other) => Err(Reason::NotAResponse(other)),
        }
    }

    /// The first channel that is delivered.
    pub(crate) fn first_channel(self) -> usize {
        if matches!(self, Self::Response { second: true }) { 2 } else { 0 }
    }
}

/// Who reads the samples.
pub(crate) trait Audio: Send {
    fn info(&self) -> &Info;
    /// Fills `out` up to the end of the file.
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Reason>;
    /// Moves to a frame that lies in the file or at its end.
    fn seek(&mut self, frame: u64) -> Result<(), Reason>;
}

impl std::fmt::Debug for Reader {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Reader").field("path", &self.path).field("info", self.info()).finish()
    }
}

impl Reader {
    /// Opens a file.
    ///
    /// # Errors
    /// If it is not a file, cannot be opened, or is not audio that can be read.
    pub fn open(path: &Path) -> Result<Self, MediaError> {
        Self::open_for(path, Purpose::Song)
    }

    fn open_for(path: &Path, purpose: Purpose) -> Result<Self, MediaError> {
        // Looked at before it is opened: opening a pipe would wait for its writer.
        refuse_other_than_file(follow(path).named(path)?.file_type()).named(path)?;
        let mut file = File::open(path).named(path)?;
        refuse_other_than_file(file.metadata().named(path)?.file_type()).named(path)?;
        let mut head = [0; 12];
        let audio: Box<dyn Audio> = if read_head(&mut file, &mut head).named(path)? && WavReader::recognises(&head) {
            Box::new(WavReader::open(file, purpose).named(path)?)
        } else if OpusReader::recognises(&mut file).named(path)? {
            Box::new(OpusReader::open(file, purpose).named(path)?)
        } else {
            let ending = path.extension().and_then(|ending| ending.to_str());
            Box::new(Decoded::open(file, ending, purpose).named(path)?)
        };
        if !RATES_HZ.contains(&audio.info().rate_hz) {
            let detail = format!("a rate of {} Hz", audio.info().rate_hz);
            return Err(MediaError::new(path, Reason::FaultyHeader(detail)));
        }
        Ok(Self { path: path.to_owned(), audio })
    }

    /// What the file says about itself.
    #[must_use]
    pub fn info(&self) -> &Info {
        self.audio.info()
    }

    /// Where the file is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads the next frames as stereo. Returns how many were read: 0 at the end only.
    ///
    /// # Errors
    /// If the file can no longer be read or is damaged.
    pub fn read(&mut self, out: &mut [Frame]) -> Result<usize, MediaError> {
        self.audio.read(out).named(&self.path)
    }

    /// Moves to a frame; the next read starts there.
    ///
    /// # Errors
    /// If the frame lies past the end, or the file can no longer be read.
    pub fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        let frames = self.info().frames;
        if frame > frames {
            return Err(MediaError::new(&self.path, Reason::PastTheEnd { frame, frames }));
        }
        self.audio.seek(frame).named(&self.path)
    }
}

impl Source for Reader {
    fn rate_hz(&self) -> u32 {
        self.info().rate_hz
    }

    fn frames(&self) -> u64 {
        self.info().frames
    }

    fn read(&mut self, out: &mut [Frame]) -> Result<usize, MediaError> {
        Self::read(self, out)
    }

    fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        Self::seek(self, frame)
    }

    fn info(&self) -> &Info {
        Self::info(self)
    }

    fn path(&self) -> &Path {
        Self::path(self)
    }
}

/// Reads a whole file into memory, at its own rate or another. For short files: impulse responses, one-shots, tests.
///
/// # Errors
/// If the file cannot be read.
pub fn read_all(path: &Path, rate_hz: Option<u32>) -> Result<(Info, Vec<Frame>), MediaError> {
    let mut source = at_rate(Reader::open(path)?, rate_hz)?;
    let frames = read_to_end(&mut *source)?;
    Ok((source.info().clone(), frames))
}

/// Reads an impulse response, at its own rate or another: a list of samples for each of its 1, 2 or 4 channels, in the
/// order of the file.
///
/// # Errors
/// If the file cannot be read or has another number of channels.
pub fn read_channels(path: &Path, rate_hz: Option<u32>) -> Result<Vec<Vec<f64>>, MediaError> {
    let mut channels = Vec::new();
    for second in [false, true] {
        let reader = Reader::open_for(path, Purpose::Response { second })?;
        let count = usize::from(reader.info().channels);
        let frames = read_to_end(&mut *at_rate(reader, rate_hz)?)?;
        let delivered = (count - channels.len()).min(2);
        channels.extend((0..delivered).map(|c| frames.iter().map(|frame| frame[c]).collect::<Vec<f64>>()));
        if channels.len() == count {
            break;
        }
    }
    Ok(channels)
}

fn read_to_end(source: &mut dyn Source) -> Result<Vec<Frame>, MediaError> {
    let mut frames = Vec::new();
    loop {
        let start = frames.len();
        frames.resize(start + units::MAX_BLOCK_FRAMES, SILENCE);
        let count = source.read(&mut frames[start..])?;
        frames.truncate(start + count);
        if count == 0 {
            return Ok(frames);
        }
    }
}

/// Reads the first bytes; false if the file is shorter.
fn read_head(file: &mut File, head: &mut [u8; 12]) -> std::io::Result<bool> {
    match file.read_exact(head) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => Ok(false),
        Err(error) => Err(error),
    }
}

/// What a path leads to.
fn follow(path: &Path) -> Result<fs::Metadata, Reason> {
    fs::metadata(path).map_err(|error| {
        let is_link = fs::symlink_metadata(path).is_ok_and(|facts| facts.is_symlink());
        let lost = is_link && error.kind() != std::io::ErrorKind::PermissionDenied;
        if lost { Reason::NotAFile("a link that leads nowhere") } else { Reason::System(error) }
    })
}

fn refuse_other_than_file(kind: FileType) -> Result<(), Reason> {
    if kind.is_file() {
        return Ok(());
    }
    Err(Reason::NotAFile(if kind.is_dir() { "a folder" } else { "a pipe or a device" }))
}
