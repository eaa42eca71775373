//! What a file says about itself.

use std::fmt;

/// A container and the codec in it, as far as a person cares.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    /// Microsoft/IBM wave file.
    Wav,
    /// Wave file past 4 GiB: EBU Tech 3306.
    Rf64,
    /// Wave file past 4 GiB: ITU-R BS.2088.
    Bw64,
    /// Audio interchange file, plain or compressed variant with uncompressed samples.
    Aiff,
    /// Core audio file.
    Caf,
    /// MPEG-4 file with uncompressed samples.
    Mpeg4,
    /// Free lossless audio codec.
    Flac,
    /// Lossless codec in an MPEG-4 or Core audio file.
    Alac,
    /// MPEG-1/2 audio layer III.
    Mp3,
    /// MPEG-2/4 advanced audio coding.
    Aac,
    /// Vorbis in an Ogg stream.
    Vorbis,
    /// Opus in an Ogg stream.
    Opus,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Wav => "WAV",
            Self::Rf64 => "RF64",
            Self::Bw64 => "BW64",
            Self::Aiff => "AIFF",
            Self::Caf => "CAF",
            Self::Mpeg4 => "MPEG-4",
            Self::Flac => "FLAC",
            Self::Alac => "ALAC",
            Self::Mp3 => "MP3",
            Self::Aac => "AAC",
            Self::Vorbis => "Ogg Vorbis",
            Self::Opus => "Ogg Opus",
        })
    }
}

/// What a file is and says about itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Info {
    /// Format.
    pub format: Format,
    /// Frames a second.
    pub rate_hz: u32,
    /// Channels in the file: 1 or 2. Frames are read as stereo all the same.
    pub channels: u16,
    /// Length in frames, exact.
    pub frames: u64,
    /// Bits of a sample where that means anything.
    pub bits: Option<u16>,
    /// Whether samples are floating-point numbers.
    pub float: bool,
    /// Whether the codec loses anything.
    pub lossy: bool,
    /// Broadcast extension, where the file has one.
    pub bwf: Option<Bext>,
    /// Names of the tracks by the production metadata (iXML), in order.
    pub track_names: Vec<String>,
    /// Other things the file says, by key: `title`, `artist`, `comment`, ...
    pub tags: Vec<(String, String)>,
}

impl Info {
    /// Length in seconds.
    #[must_use]
    pub fn secs(&self) -> f64 {
        self.frames as f64 / f64::from(self.rate_hz)
    }

    /// The first tag of this key.
    #[must_use]
    pub fn tag(&self, key: &str) -> Option<&str> {
        self.tags.iter().find(|(name, _)| name == key).map(|(_, value)| value.as_str())
    }
}

/// The broadcast extension of a wave file: EBU Tech 3285, version 0 to 2.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bext {
    /// Version of the extension.
    pub version: u16,
    /// Free description, at most 256 characters.
    pub description: String,
    /// Who made the file, at most 32 characters.
    pub originator: String,
    /// Their reference, at most 32 characters.
    pub originator_reference: String,
    /// Date of origin, `yyyy-mm-dd`.
    pub date: String,
    /// Time of origin, `hh:mm:ss`.
    pub time: String,
    /// First frame's place in frames since midnight.
    pub time_reference: u64,
    /// Loudness figures (version 2).
    pub loudness: Loudness,
    /// One line for each process the signal went through.
    pub coding_history: String,
}

/// Loudness figures of a broadcast extension, version 2. None means: not given.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Loudness {
    /// Integrated loudness in LUFS.
    pub integrated_lufs: Option<f64>,
    /// Loudness range in LU.
    pub range_lu: Option<f64>,
    /// Largest true peak in dBTP.
    pub true_peak_dbtp: Option<f64>,
    /// Largest momentary loudness in LUFS.
    pub max_momentary_lufs: Option<f64>,
    /// Largest short-term loudness in LUFS.
    pub max_short_term_lufs: Option<f64>,
}
