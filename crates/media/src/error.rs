//! What can go wrong with a file: where, why, and what to do about it.

use std::io;
use std::path::{Path, PathBuf};

/// A failure to read or write an audio file. Names the file, the reason and a remedy.
#[derive(Debug, thiserror::Error)]
#[error("{}: {reason}", path.display())]
pub struct MediaError {
    /// The file.
    pub path: PathBuf,
    /// The reason.
    #[source]
    pub reason: Reason,
}

/// Why a file could not be read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Reason {
    /// The system refused an operation.
    #[error("{0}")]
    System(io::Error),
    /// A folder, pipe or device was named where a file is needed.
    #[error("this is {0}, not a file")]
    NotAFile(&'static str),
    /// Nothing in the file is audio that can be read.
    #[error("the format is not known: {0}")]
    UnknownFormat(String),
    /// The format is known, but not this kind of sample or codec.
    #[error("the file holds {0}, which cannot be read")]
    UnsupportedEncoding(String),
    /// The header contradicts itself or the format's rules.
    #[error("the header is faulty: {0}")]
    FaultyHeader(String),
    /// The header promises more audio than the file holds.
    #[error("the file is cut short: {declared} samples are promised, {present} are there")]
    CutShort {
        /// Frames that the header promises.
        declared: u64,
        /// Frames that are there.
        present: u64,
    },
    /// The recorder never wrote the final sizes.
    #[error("the file was never finished: its header says no audio, but {bytes} bytes follow")]
    Unfinished {
        /// Bytes after the empty audio chunk.
        bytes: u64,
    },
    /// Compressed audio that cannot be decoded.
    #[error("the audio is damaged near sample {frame}: {detail}")]
    Damaged {
        /// Frame up to which it was decoded.
        frame: u64,
        /// The decoder's words.
        detail: String,
    },
    /// More than two channels.
    #[error("the file has {0} channels; only mono and stereo can be read")]
    TooManyChannels(u16),
    /// An impulse response with a number of channels that stands for nothing.
    #[error(
        "the file has {0} channels; an impulse response has 1 (mono), 2 (left, right) or 4 (true stereo: LL, LR, RL, RR)"
    )]
    NotAResponse(u16),
    /// A seek to a frame past the end.
    #[error("sample {frame} lies past the end, sample {frames}")]
    PastTheEnd {
        /// The frame asked for.
        frame: u64,
        /// Frames in the file.
        frames: u64,
    },
    /// The final name is taken.
    #[error("a file of this name exists already and is never overwritten")]
    Exists,
    /// A sample that no file may hold.
    #[error("sample {frame} is not a number")]
    NotFinite {
        /// Where.
        frame: u64,
    },
    /// A rate that the format cannot hold.
    #[error("{format} cannot hold a rate of {rate_hz} Hz")]
    RateNotPossible {
        /// The format.
        format: &'static str,
        /// The rate.
        rate_hz: u32,
    },
    /// More audio than the format's sizes can state.
    #[error("{format} cannot hold more than 4 GiB")]
    TooLong {
        /// The format.
        format: &'static str,
    },
    /// Two rates without a common measure that is large enough.
    #[error("cannot convert {from_hz} Hz to {to_hz} Hz: their ratio is too fine")]
    RatioTooFine {
        /// Rate of the source.
        from_hz: u32,
        /// Rate asked for.
        to_hz: u32,
    },
    /// An encoder gave up.
    #[error("the {encoder} encoder failed: {detail}")]
    Encoder {
        /// Which one.
        encoder: &'static str,
        /// Its words.
        detail: String,
    },
}

impl MediaError {
    pub(crate) fn new(path: &Path, reason: Reason) -> Self {
        Self { path: path.to_owned(), reason }
    }

    pub(crate) fn system(path: &Path, error: io::Error) -> Self {
        Self::new(path, Reason::System(error))
    }

    /// What the person can do about it: one sentence.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match &self.reason {
            Reason::System(error) => system_remedy(error),
            Reason::NotAFile(_) => "Name an audio file.",
            Reason::UnknownFormat(_) => "Export it as WAV, AIFF, FLAC or another common audio file.",
            Reason::UnsupportedEncoding(_) => "Export it as WAV with 16, 24 or 32 bits.",
            Reason::FaultyHeader(_) | Reason::Damaged { .. } => "Export or copy the file again.",
            Reason::CutShort { .. } => {
                "Copy the file again from where it came; the transfer or the disk stopped early."
            }
            Reason::Unfinished { .. } => {
                "Open it in the program that recorded it, let it repair the file, and export it."
            }
            Reason::TooManyChannels(_) => "Export it as stereo, or as separate mono files.",
            Reason::NotAResponse(_) => "Export it with 1, 2 or 4 channels.",
            Reason::PastTheEnd { .. } => "Choose a time inside the file.",
            Reason::Exists => "Choose another name or move the old file away.",
            Reason::NotFinite { .. } => "Find the source or setting that makes it; nothing was written.",
            Reason::RateNotPossible { .. } => "Choose 44100 or 48000 Hz for this file.",
            Reason::TooLong { .. } => "Write WAV or FLAC, which can.",
            Reason::RatioTooFine { .. } => "Export the file at 44100, 48000, 88200, 96000, 176400 or 192000 Hz.",
            Reason::Encoder { .. } => "Choose another format for this file.",
        }
    }

    /// Whether the machine is at fault (disk, memory, device) rather than the file or the call.
    #[must_use]
    pub fn is_machine_fault(&self) -> bool {
        use io::ErrorKind as Kind;
        match &self.reason {
            Reason::System(error) => !matches!(
                error.kind(),
                Kind::NotFound
                    | Kind::PermissionDenied
                    | Kind::InvalidInput
                    | Kind::InvalidFilename
                    | Kind::NotADirectory
                    | Kind::IsADirectory
            ),
            _ => false,
        }
    }
}

fn system_remedy(error: &io::Error) -> &'static str {
    match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory | io::ErrorKind::InvalidFilename => {
            "Check the name and the folder."
        }
        io::ErrorKind::PermissionDenied => "Give yourself the right to use this file and its folder.",
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => "Make room on the disk and start again.",
        io::ErrorKind::FileTooLarge => "This disk's format cannot hold so large a file: use another disk.",
        io::ErrorKind::ReadOnlyFilesystem => "Choose a folder that can be written.",
        _ => "Check that the disk is still connected, then start again.",
    }
}

/// Attaches a file's name to results.
pub(crate) trait Named<T> {
    /// Names the file of a failed operation.
    fn named(self, path: &Path) -> Result<T, MediaError>;
}

impl<T> Named<T> for io::Result<T> {
    fn named(self, path: &Path) -> Result<T, MediaError> {
        self.map_err(|error| MediaError::system(path, error))
    }
}

impl<T> Named<T> for Result<T, Reason> {
    fn named(self, path: &Path) -> Result<T, MediaError> {
        self.map_err(|reason| MediaError::new(path, reason))
    }
}

impl From<io::Error> for Reason {
    fn from(error: io::Error) -> Self {
        Self::System(error)
    }
}
