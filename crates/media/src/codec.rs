//! The round trip through a lossy codec: what a listener will hear of a print, aligned with it.
//!
//! The audio is really encoded into a file and really decoded. Delay and padding are cut away, so that frame `n` of the
//! result belongs to frame `n` of the print. A codec that cannot hold the print's rate gets it converted, there and back.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::atomic::{AtomicU64, Ordering};

use units::Frame;

use crate::error::Named;
use crate::{
    FileFormat, Info, Kbps, MediaError, Metadata, OggKbps, RateConverter, Reason, Source, Writer, create, open_at,
};

/// A lossy codec and its setting, as a sheet names it: `mp3 192`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CodecChoice {
    /// MPEG-1 layer III at a constant rate.
    Mp3(Kbps),
    /// Opus at a variable rate around this one.
    Opus(OggKbps),
    /// Vorbis at a variable rate around this one.
    Vorbis(OggKbps),
}

impl CodecChoice {
    /// The encoder that is used: codecs are judged with an encoder, never in general.
    #[must_use]
    pub fn encoder(self) -> String {
        match self {
            Self::Mp3(_) => format!("LAME {}", mp3lame_encoder::mp3lame_version()),
            Self::Opus(_) => "opus-pure 0.2".to_owned(),
            Self::Vorbis(_) => "libvorbis, aoTuV and Lancer".to_owned(),
        }
    }

    /// As people write it: `MP3 at 192 kbit/s`.
    #[must_use]
    pub fn in_words(self) -> String {
        let (title, kbps) = match self {
            Self::Mp3(kbps) => ("MP3", kbps.get()),
            Self::Opus(kbps) => ("Opus", kbps.get()),
            Self::Vorbis(kbps) => ("Vorbis", kbps.get()),
        };
        format!("{title} at {kbps} kbit/s")
    }

    fn format(self) -> FileFormat {
        match self {
            Self::Mp3(kbps) => FileFormat::Mp3(kbps),
            Self::Opus(kbps) => FileFormat::Opus(kbps),
            Self::Vorbis(kbps) => FileFormat::Vorbis(kbps),
        }
    }
}

impl fmt::Display for CodecChoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Mp3(kbps) => write!(f, "mp3 {}", kbps.get()),
            Self::Opus(kbps) => write!(f, "opus {}", kbps.get()),
            Self::Vorbis(kbps) => write!(f, "vorbis {}", kbps.get()),
        }
    }
}

/// No codec of this name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no codec is called `{0}`; `mp3`, `opus` and `vorbis` with a rate are known, for instance `mp3 192`")]
pub struct UnknownCodec(pub String);

impl FromStr for CodecChoice {
    type Err = UnknownCodec;

    fn from_str(name: &str) -> Result<Self, UnknownCodec> {
        let known = name.split_once(' ').and_then(|(codec, kbps)| {
            let kbps = kbps.trim().parse().ok()?;
            match codec {
                "mp3" => Kbps::new(kbps).map(Self::Mp3),
                "opus" => OggKbps::new(kbps).map(Self::Opus),
                "vorbis" => OggKbps::new(kbps).map(Self::Vorbis),
                _ => None,
            }
        });
        known.ok_or_else(|| UnknownCodec(name.to_owned()))
    }
}

/// The way there: takes the print, block by block.
#[derive(Debug)]
pub struct Encoding {
    writer: Writer,
    scratch: ScratchFile,
    converter: Option<RateConverter>,
    converted: Vec<Frame>,
    rate_hz: u32,
    frames: u64,
}

/// A file that is removed when dropped.
#[derive(Debug)]
struct ScratchFile(PathBuf);

impl Drop for ScratchFile {
    fn drop(&mut self) {
        // It may never have come to be; and a folder that is gone needs no tidying.
        let _ = std::fs::remove_file(&self.0);
    }
}

impl Encoding {
    /// Starts a round trip at a rate. The encoded file lives in `folder` until the result is dropped.
    ///
    /// # Errors
    /// If the folder cannot be written.
    pub fn start(folder: &Path, rate_hz: u32, choice: CodecChoice) -> Result<Self, MediaError> {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let format = choice.format();
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = folder.join(format!("codec-{}-{number}.{}", std::process::id(), format.extension()));
        let codec_rate_hz = format.rate_for(rate_hz);
        let writer = create(&path, &format, codec_rate_hz, None, &Metadata::default())?;
        let converter = (codec_rate_hz != rate_hz).then(|| RateConverter::new(rate_hz, codec_rate_hz));
        let converter = converter.transpose().named(&path)?;
        Ok(Self { writer, scratch: ScratchFile(path), converter, converted: Vec::new(), rate_hz, frames: 0 })
    }

    /// Appends frames of the print.
    ///
    /// # Errors
    /// If the disk is full or gone, or a value is not finite.
    pub fn write(&mut self, frames: &[Frame]) -> Result<(), MediaError> {
        self.frames += frames.len() as u64;
        let Some(converter) = &mut self.converter else { return self.writer.write(frames) };
        self.converted.clear();
        converter.convert(frames, &mut self.converted);
        self.writer.write(&self.converted)
    }

    /// Ends the way there and opens the way back: the decoded audio, of the print's rate and length.
    ///
    /// # Errors
    /// If the disk is full or gone.
    pub fn finish(mut self) -> Result<Heard, MediaError> {
        if let Some(converter) = &mut self.converter {
            self.converted.clear();
            converter.finish(&mut self.converted);
            self.writer.write(&self.converted)?;
        }
        self.writer.finish_without_sync()?;
        let source = open_at(&self.scratch.0, self.rate_hz)?;
        Ok(Heard { source, frames: self.frames, next: 0, _scratch: self.scratch })
    }
}

/// What comes back from a round trip.
pub struct Heard {
    // In this order: the file is closed before it is removed.
    source: Box<dyn Source>,
    frames: u64,
    next: u64,
    _scratch: ScratchFile,
}

impl Source for Heard {
    fn rate_hz(&self) -> u32 {
        self.source.rate_hz()
    }

    fn frames(&self) -> u64 {
        self.frames
    }

    fn read(&mut self, out: &mut [Frame]) -> Result<usize, MediaError> {
        // There and back by another rate, a frame may be added at the end.
        let wanted = out.len().min(usize::try_from(self.frames - self.next).unwrap_or(usize::MAX));
        let count = self.source.read(&mut out[..wanted])?;
        self.next += count as u64;
        Ok(count)
    }

    fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        if frame > self.frames {
            let reason = Reason::PastTheEnd { frame, frames: self.frames };
            return Err(MediaError::new(self.path(), reason));
        }
        self.source.seek(frame)?;
        self.next = frame;
        Ok(())
    }

    fn info(&self) -> &Info {
        self.source.info()
    }

    fn path(&self) -> &Path {
        self.source.path()
    }
}

/// The round trip of a short stretch in memory, by way of a file in `folder`.
///
/// # Errors
/// If the folder cannot be written.
pub fn round_trip(
    frames: &[Frame],
    rate_hz: u32,
    choice: CodecChoice,
    folder: &Path,
) -> Result<Vec<Frame>, MediaError> {
    let mut there = Encoding::start(folder, rate_hz, choice)?;
    there.write(frames)?;
    let mut back = there.finish()?;
    let mut heard = vec![units::SILENCE; frames.len()];
    let mut done = 0;
    while done < heard.len() {
        match back.read(&mut heard[done..])? {
            0 => break,
            count => done += count,
        }
    }
    heard.truncate(done);
    Ok(heard)
}
