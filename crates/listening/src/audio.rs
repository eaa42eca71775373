//! The audio of a page: each version in pieces of ten seconds, each piece a file of its own.
//!
//! A page decodes only the pieces around the moment that is heard, so that its memory does not grow with the song. A piece
//! carries a little of what comes before and after it: a lossy decoder has settled where the piece begins, and two pieces
//! are faded into each other over [`FADE_FRAMES`] where they meet. All versions are cut at the same frames and encoded
//! alike, so a browser that does not cut away the encoder's delay is late by the same amount in all of them: versions
//! stay together to the sample.

use std::path::Path;

use engine::Fault;
use media::{FileFormat, IntegerBits, Kbps, Metadata, OggKbps, Source};
use units::{Frame, SILENCE};

/// Length of a piece.
pub(crate) const PIECE_SECS: u32 = 10;
/// Frames ahead of a piece for a lossy decoder to settle: four frames of MP3 (ISO/IEC 11172-3: 1152 samples, and
/// `main_data_begin` reaches back less than four at this rate), and more than the 80 ms that RFC 7845 asks for in Opus.
const SETTLE_FRAMES: u32 = 4 * 1152;
/// Frames after a piece: two frames of MP3, whose transform overlaps into the next.
const FOLLOW_FRAMES: u32 = 2 * 1152;
/// Frames over which one piece gives way to the next.
pub(crate) const FADE_FRAMES: u32 = 512;

/// How the audio of a page is stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Audio {
    /// MP3 at 256 kbit/s: every browser that has the Web Audio interface decodes it, on phones too, from disk too, and
    /// a page stays small enough to send. The default.
    #[default]
    Mp3,
    /// Opus at 160 kbit/s: smaller at the same quality, but some browsers on phones decode it only since 2025 (from
    /// memory).
    Opus,
    /// FLAC of 24 bits: nothing is lost, and a page is five to seven times as large.
    Flac,
}

/// MP3 of approval copies: the usual rate. Common practice, no source.
const MP3_KBPS: u32 = 256;
/// Opus beyond which no one tells it from its source. Common practice, no source.
const OPUS_KBPS: u32 = 160;

impl Audio {
    /// All, by the names that are typed.
    pub const ALL: [(&str, Self); 3] = [("mp3", Self::Mp3), ("opus", Self::Opus), ("flac", Self::Flac)];

    fn format(self) -> FileFormat {
        let known = "a rate of the encoder's list";
        match self {
            Self::Mp3 => FileFormat::Mp3(Kbps::new(MP3_KBPS).expect(known)),
            Self::Opus => FileFormat::Opus(OggKbps::new(OPUS_KBPS).expect(known)),
            Self::Flac => FileFormat::Flac(IntegerBits::TwentyFour),
        }
    }

    /// In words, for the page.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Mp3 => format!("MP3 at {MP3_KBPS} kbit/s"),
            Self::Opus => format!("Opus at {OPUS_KBPS} kbit/s"),
            Self::Flac => "FLAC, without loss".to_owned(),
        }
    }

    /// The rate of the page's audio for a song of this rate.
    pub(crate) fn rate_for(self, rate_hz: u32) -> u32 {
        self.format().rate_for(rate_hz)
    }

    /// Frames before and after a piece. Nothing has to settle where nothing is lost, but the fades need their frames.
    pub(crate) fn margins(self) -> [u32; 2] {
        match self {
            Self::Flac => [FADE_FRAMES, FADE_FRAMES],
            Self::Mp3 | Self::Opus => [SETTLE_FRAMES, FOLLOW_FRAMES],
        }
    }
}

/// Where pieces begin and end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Cut {
    /// Rate of the page's audio.
    pub rate_hz: u32,
    /// Length of every version.
    pub frames: u64,
}

impl Cut {
    pub fn piece_frames(self) -> u64 {
        u64::from(PIECE_SECS) * u64::from(self.rate_hz)
    }

    pub fn pieces(self) -> u64 {
        self.frames.div_ceil(self.piece_frames())
    }
}

/// Encodes one version: hands each piece's bytes, in order, to `take`. `delay` is how many frames its song lies behind
/// that of the others, which is made up for.
pub(crate) fn encode(
    path: &Path,
    delay: i64,
    cut: Cut,
    audio: Audio,
    mut take: impl FnMut(u64, &[u8]) -> Result<(), Fault>,
) -> Result<(), Fault> {
    let told = |error: &media::MediaError| prints::media_fault(error);
    let mut source = media::open_at(path, cut.rate_hz).map_err(|error| told(&error))?;
    let work = tempfile::tempdir().map_err(|error| prints::disk_fault(&std::env::temp_dir(), &error))?;
    let format = audio.format();
    let [before, after] = audio.margins().map(i64::from);
    for piece in 0..cut.pieces() {
        let from = (piece * cut.piece_frames()).cast_signed();
        let to = (from + cut.piece_frames().cast_signed()).min(cut.frames.cast_signed());
        let frames = stretch(&mut *source, from - before + delay, to + after + delay).map_err(|error| told(&error))?;
        let file = work.path().join(format!("{piece}.{}", format.extension()));
        media::write_all(&file, &format, cut.rate_hz, &frames, &Metadata::default()).map_err(|error| told(&error))?;
        let bytes = std::fs::read(&file).map_err(|error| prints::disk_fault(&file, &error))?;
        std::fs::remove_file(&file).map_err(|error| prints::disk_fault(&file, &error))?;
        take(piece, &bytes)?;
    }
    Ok(())
}

/// The frames from `from` to `to` of a source; silence where it has none.
fn stretch(source: &mut dyn Source, from: i64, to: i64) -> Result<Vec<Frame>, media::MediaError> {
    let mut frames = vec![SILENCE; usize::try_from(to - from).unwrap_or(0)];
    let first = from.clamp(0, source.frames().cast_signed());
    source.seek(first.unsigned_abs())?;
    let mut at = usize::try_from(first - from).unwrap_or(0).min(frames.len());
    while at < frames.len() {
        match source.read(&mut frames[at..])? {
            0 => break,
            count => at += count,
        }
    }
    Ok(frames)
}
