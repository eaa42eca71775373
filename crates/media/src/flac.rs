//! Writes FLAC files (RFC 9639) with Vorbis comments.

use std::fs::File;
use std::io::BufWriter;

use flac_codec::encode::{FlacSampleWriter, Options};
use units::Frame;

use crate::sample::quantize;
use crate::writer::Encode;
use crate::{IntegerBits, Loudness, Metadata, Reason};

/// A FLAC file being written.
pub(crate) struct FlacWriter {
    encoder: FlacSampleWriter<BufWriter<File>>,
    /// A second handle: the encoder does not hand back the one it was given.
    file: File,
    bits: u32,
    clamped: u64,
    samples: Vec<i32>,
}

impl FlacWriter {
    pub(crate) fn new(
        file: File,
        bits: IntegerBits,
        rate_hz: u32,
        frames_hint: Option<u64>,
        metadata: &Metadata,
    ) -> Result<Self, Reason> {
        let bits = u32::from(bits.get());
        let mut options = Options::best().seektable_seconds(seek_point_secs(frames_hint, rate_hz));
        for (field, value) in comments(metadata) {
            options = options.tag(&field, value);
        }
        let out = BufWriter::with_capacity(1 << 18, file.try_clone()?);
        let encoder = FlacSampleWriter::new(out, options, rate_hz, bits, 2, None).map_err(failed)?;
        Ok(Self { encoder, file, bits, clamped: 0, samples: Vec::new() })
    }
}

impl Encode for FlacWriter {
    fn write(&mut self, frames: &[Frame]) -> Result<(), Reason> {
        self.samples.clear();
        let (bits, clamped) = (self.bits, &mut self.clamped);
        self.samples.extend(frames.as_flattened().iter().map(|x| quantize(*x, bits, clamped)));
        self.encoder.write(&self.samples).map_err(failed)
    }

    fn finish(self: Box<Self>, _: &Loudness) -> Result<(File, u64), Reason> {
        self.encoder.finalize().map_err(failed)?;
        Ok((self.file, self.clamped))
    }
}

/// Seconds between seek points, so that they fill the place that is kept for them: about 200 of 18 bytes.
fn seek_point_secs(frames_hint: Option<u64>, rate_hz: u32) -> u8 {
    const SEEK_POINTS: u64 = 200;
    let secs = frames_hint.map_or(10, |frames| frames / u64::from(rate_hz.max(1)) / SEEK_POINTS);
    u8::try_from(secs.max(1)).unwrap_or(u8::MAX)
}

fn failed(error: flac_codec::Error) -> Reason {
    match error {
        flac_codec::Error::Io(error) => Reason::System(error),
        other => Reason::Encoder { encoder: "FLAC", detail: other.to_string() },
    }
}

/// Field names of the Vorbis comment specification, and common practice where it has none (tempo, key, roles).
pub(crate) fn comments(metadata: &Metadata) -> Vec<(String, String)> {
    let plain = [
        ("TITLE", &metadata.title),
        ("ARTIST", &metadata.artist),
        ("ALBUM", &metadata.album),
        ("VERSION", &metadata.version),
        ("ISRC", &metadata.isrc),
        ("DATE", &metadata.date),
        ("DESCRIPTION", &metadata.comment),
        ("INITIALKEY", &metadata.key),
        ("ENCODED-BY", &metadata.originator),
    ];
    let mut list: Vec<(String, String)> =
        plain.into_iter().filter_map(|(name, value)| Some((name.to_owned(), value.clone()?))).collect();
    list.extend(metadata.tempo_bpm.map(|bpm| ("BPM".to_owned(), bpm.to_string())));
    let field_of = |role: &str| role.to_uppercase().chars().filter(|c| (' '..='}').contains(c) && *c != '=').collect();
    list.extend(metadata.credits.iter().map(|(role, name)| (field_of(role), name.clone())));
    list
}
