//! Opens a file and reads its frames.

use std::fs::{self, File, FileType};
use std::io::Read;
use std::path::{Path, PathBuf};

use units::{Frame, SILENCE};

use crate::decode::Decoded;
use crate::error::Named;
use crate::source::{Source, open_at};
use crate::wav::WavReader;
use crate::{Info, MediaError, Reason};

/// An audio file, opened for reading only. Mono is read into both sides.
pub struct Reader {
    path: PathBuf,
    audio: Box<dyn Audio>,
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
        // Looked at before it is opened: opening a pipe would wait for its writer.
        refuse_other_than_file(fs::metadata(path).named(path)?.file_type()).named(path)?;
        let mut file = File::open(path).named(path)?;
        refuse_other_than_file(file.metadata().named(path)?.file_type()).named(path)?;
        let mut head = [0; 12];
        let audio: Box<dyn Audio> = if read_head(&mut file, &mut head).named(path)? && WavReader::recognises(&head) {
            Box::new(WavReader::open(file).named(path)?)
        } else {
            let ending = path.extension().and_then(|ending| ending.to_str());
            Box::new(Decoded::open(file, ending).named(path)?)
        };
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
    let mut source: Box<dyn Source> = match rate_hz {
        Some(rate_hz) => open_at(path, rate_hz)?,
        None => Box::new(Reader::open(path)?),
    };
    let mut frames = Vec::new();
    loop {
        let start = frames.len();
        frames.resize(start + units::MAX_BLOCK_FRAMES, SILENCE);
        let count = source.read(&mut frames[start..])?;
        frames.truncate(start + count);
        if count == 0 {
            return Ok((source.info().clone(), frames));
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

fn refuse_other_than_file(kind: FileType) -> Result<(), Reason> {
    if kind.is_file() {
        return Ok(());
    }
    Err(Reason::NotAFile(if kind.is_dir() { "a folder" } else { "a pipe or a device" }))
}
