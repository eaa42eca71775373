//! What a recall sheet says about prints, their alternates and their stems.

use units::Place;

use super::{Link, Name};

/// One print: a chain behind a bus, a loudness, and the files it is written to.
#[derive(Clone, Debug, PartialEq)]
pub struct Print {
    /// Name.
    pub name: Name,
    /// What it is for, in one word: `mastering`, `approval`, or another.
    pub kind: Option<String>,
    /// The bus it draws from.
    pub from: Name,
    /// Processors of this print alone.
    pub chain: Vec<Link>,
    /// Loudness to be reached by the gain ahead of the limiter.
    pub loudness: Option<Loudness>,
    /// Codecs after whose round trip the ceiling must still hold.
    pub survive: Vec<CodecChoice>,
    /// Files to write.
    pub files: Vec<FileSpec>,
    /// Pattern of the file names, where it is not the usual one.
    pub pattern: Option<String>,
}

/// Another version of a print, by what is different.
#[derive(Clone, Debug, PartialEq)]
pub struct Alternate {
    /// Name.
    pub name: Name,
    /// The print.
    pub of: Name,
    /// Stems and buses that are taken away.
    pub mute: Vec<Name>,
    /// Stems and buses that alone are kept; all, if there are none here.
    pub only: Vec<Name>,
    /// Stems and buses that are moved in level, in decibels.
    pub offsets: Vec<(Name, f64)>,
    /// Processors of the print's chain that are left out, by their place in it.
    pub without: Vec<usize>,
    /// Whether dynamics keep the gains of the full mix, or react to what remains.
    pub dynamics: Dynamics,
    /// Files to write, where they are not the print's.
    pub files: Option<Vec<FileSpec>>,
    /// Pattern of the file names, where it is not the print's.
    pub pattern: Option<String>,
}

/// What the gains of an alternate follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dynamics {
    /// The full mix.
    Held,
    /// What remains.
    Free,
}

/// A print in parts that sum to it.
#[derive(Clone, Debug, PartialEq)]
pub struct StemPrint {
    /// Name.
    pub name: Name,
    /// The print.
    pub of: Name,
    /// The parts; every stem by itself, if there are none here.
    pub groups: Vec<StemGroup>,
    /// Files to write of each part.
    pub files: Vec<FileSpec>,
    /// Pattern of the file names, where it is not the print's.
    pub pattern: Option<String>,
}

/// What goes into one stem file.
#[derive(Clone, Debug, PartialEq)]
pub struct StemGroup {
    /// Name.
    pub name: Name,
    /// Stems and buses.
    pub from: Vec<Name>,
}

/// A loudness to reach.
#[derive(Clone, Debug, PartialEq)]
pub enum Loudness {
    /// That of a reference, by its name.
    Match(Name),
    /// A figure in LUFS, integrated (ITU-R BS.1770).
    Lufs(f64),
}

/// A lossy codec at a rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CodecChoice {
    /// Name: `mp3`.
    pub codec: &'static str,
    /// Kilobits a second.
    pub kbps: u32,
    /// Where it is written.
    pub place: Place,
}

/// One file of a print.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FileSpec {
    /// Format and resolution.
    pub format: FileFormat,
    /// Sample rate, where it is not the song's.
    pub rate_hz: Option<u32>,
    /// Where it is written.
    pub place: Place,
}

/// Format and resolution of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileFormat {
    /// WAVE: 16 or 24 bits of integer, or 32 of float.
    Wav {
        /// Bits.
        bits: u32,
        /// Dither ahead of rounding to integers.
        dither: Dither,
    },
    /// AIFF: 16 or 24 bits.
    Aiff {
        /// Bits.
        bits: u32,
        /// Dither ahead of rounding to integers.
        dither: Dither,
    },
    /// FLAC: 16 or 24 bits.
    Flac {
        /// Bits.
        bits: u32,
        /// Dither ahead of rounding to integers.
        dither: Dither,
    },
    /// MP3, constant rate.
    Mp3 {
        /// Kilobits a second.
        kbps: u32,
    },
    /// Opus in an Ogg stream, at a variable rate.
    Opus {
        /// Kilobits a second, on average.
        kbps: u32,
    },
    /// Vorbis in an Ogg stream, at a variable rate.
    Vorbis {
        /// Kilobits a second, on average.
        kbps: u32,
    },
}

impl FileFormat {
    /// Bits that samples are rounded to, and the dither ahead of that; none for floating point and for lossy codecs.
    #[must_use]
    pub const fn rounding(self) -> Option<(u32, Dither)> {
        match self {
            Self::Wav { bits: 32, .. } | Self::Mp3 { .. } | Self::Opus { .. } | Self::Vorbis { .. } => None,
            Self::Wav { bits, dither } | Self::Aiff { bits, dither } | Self::Flac { bits, dither } => {
                Some((bits, dither))
            }
        }
    }

    /// The lossy codec, as one of [`crate::keys::CODECS`], and its kilobits a second.
    #[must_use]
    pub const fn codec(self) -> Option<(&'static str, u32)> {
        match self {
            Self::Wav { .. } | Self::Aiff { .. } | Self::Flac { .. } => None,
            Self::Mp3 { kbps } => Some(("mp3", kbps)),
            Self::Opus { kbps } => Some(("opus", kbps)),
            Self::Vorbis { kbps } => Some(("vorbis", kbps)),
        }
    }
}

/// Dither ahead of rounding to integers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dither {
    /// None.
    None,
    /// Triangular probability density, two steps wide.
    Tpdf,
    /// The same with its noise moved to where the ear is weaker.
    Shaped,
}

/// Songs that make a record.
#[derive(Clone, Debug, PartialEq)]
pub struct Album {
    /// Its title.
    pub title: String,
    /// Who performs it; empty if nobody is named.
    pub artist: String,
    /// The print of each song that stands on it.
    pub print: String,
    /// The sheets of its songs, in order, from the folder of the album.
    pub songs: Vec<Name>,
}
