//! Writes MP3 files at a constant rate, with gapless information and ID3 tags.

use std::fs::File;
use std::io::{BufWriter, IntoInnerError, Seek, SeekFrom, Write};

use mp3lame_encoder::{Bitrate, Builder, Encoder, FlushGap, InterleavedPcm, Mode, Quality, VbrMode};
use units::Frame;

use crate::writer::Encode;
use crate::{Loudness, Metadata, Reason, id3};

/// Rates of MPEG-1: ISO/IEC 11172-3.
pub(crate) const RATES_HZ: [u32; 3] = [32_000, 44_100, 48_000];

/// Frames that the encoder is handed at once.
const FRAMES_AT_ONCE: usize = 4096;

/// Room for the last frames: the encoder asks for 7200 bytes, and may hold two.
const FLUSH_BYTES: usize = 14_400;

/// A rate of an MP3 file in kilobits a second.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Kbps(u16);

impl Kbps {
    /// The rates that can be written.
    pub const ALL: [Self; 10] =
        [Self(64), Self(80), Self(96), Self(112), Self(128), Self(160), Self(192), Self(224), Self(256), Self(320)];

    /// The rate, if it is one of [`Self::ALL`].
    #[must_use]
    pub fn new(kbps: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|known| u32::from(known.0) == kbps)
    }

    /// Kilobits a second.
    #[must_use]
    pub const fn get(self) -> u16 {
        self.0
    }

    fn bitrate(self) -> Bitrate {
        match self.0 {
            64 => Bitrate::Kbps64,
            80 => Bitrate::Kbps80,
            96 => Bitrate::Kbps96,
            112 => Bitrate::Kbps112,
            128 => Bitrate::Kbps128,
            160 => Bitrate::Kbps160,
            192 => Bitrate::Kbps192,
            224 => Bitrate::Kbps224,
            256 => Bitrate::Kbps256,
            _ => Bitrate::Kbps320,
        }
    }
}

/// An MP3 file being written.
pub(crate) struct Mp3Writer {
    out: BufWriter<File>,
    encoder: Encoder,
    tag_bytes: u64,
    bytes: Vec<u8>,
}

impl Mp3Writer {
    pub(crate) fn new(file: File, kbps: Kbps, rate_hz: u32, metadata: &Metadata) -> Result<Self, Reason> {
        if !RATES_HZ.contains(&rate_hz) {
            return Err(Reason::RateNotPossible { format: "MP3", rate_hz });
        }
        let encoder = build(kbps, rate_hz)?;
        let tag = id3::build(metadata);
        let mut out = BufWriter::with_capacity(1 << 16, file);
        out.write_all(&tag)?;
        Ok(Self { out, encoder, tag_bytes: tag.len() as u64, bytes: Vec::new() })
    }
}

fn build(kbps: Kbps, rate_hz: u32) -> Result<Encoder, Reason> {
    let failed = |error: mp3lame_encoder::BuildError| encoder_failed(&error);
    Builder::new()
        .ok_or_else(|| encoder_failed(&"out of memory"))?
        .with_num_channels(2)
        .and_then(|b| b.with_sample_rate(rate_hz))
        // Left alone, the encoder lowers the rate of narrow files by its own converter.
        .and_then(|b| b.with_output_sample_rate(std::num::NonZeroU32::new(rate_hz)))
        .and_then(|b| b.with_vbr_mode(VbrMode::Off))
        .and_then(|b| b.with_brate(kbps.bitrate()))
        .and_then(|b| b.with_mode(Mode::JointStereo))
        .and_then(|b| b.with_quality(Quality::NearBest))
        .and_then(|b| b.with_to_write_vbr_tag(true))
        .and_then(Builder::build)
        .map_err(failed)
}

fn encoder_failed(detail: &dyn std::fmt::Display) -> Reason {
    Reason::Encoder { encoder: "MP3", detail: detail.to_string() }
}

impl Encode for Mp3Writer {
    fn write(&mut self, frames: &[Frame]) -> Result<(), Reason> {
        for part in frames.chunks(FRAMES_AT_ONCE) {
            self.bytes.clear();
            self.bytes.reserve(mp3lame_encoder::max_required_buffer_size(part.len()));
            let pcm = InterleavedPcm(part.as_flattened());
            self.encoder.encode_to_vec(pcm, &mut self.bytes).map_err(|e| encoder_failed(&e))?;
            self.out.write_all(&self.bytes)?;
        }
        Ok(())
    }

    /// The flush pads the last frame with silence (the other kind of flush loses the last frames), then the first
    /// frame, which the encoder left empty, takes the delay and padding, so that a decoder can cut both away.
    fn finish(mut self: Box<Self>, _: &Loudness) -> Result<(File, u64), Reason> {
        self.bytes.clear();
        self.bytes.reserve(FLUSH_BYTES);
        self.encoder.flush_to_vec::<FlushGap>(&mut self.bytes).map_err(|e| encoder_failed(&e))?;
        self.out.write_all(&self.bytes)?;
        self.bytes.clear();
        self.bytes.reserve(self.encoder.lame_tag_size());
        self.encoder.lame_tag_encode_to_vec(&mut self.bytes).ok_or_else(|| encoder_failed(&"no gapless frame"))?;
        self.out.seek(SeekFrom::Start(self.tag_bytes))?;
        self.out.write_all(&self.bytes)?;
        let file = self.out.into_inner().map_err(IntoInnerError::into_error)?;
        Ok((file, 0))
    }
}
