//! Writes audio interchange files (Audio Interchange File Format, version 1.3, 1989): `COMM`, `NAME`, `AUTH`, `ID3 `,
//! `SSND`, all numbers big-endian.
//!
//! The format's own texts are ASCII and few. Everything is therefore said once more in an ID3 tag, in a chunk of that
//! name: common practice, no source.

use std::fs::File;
use std::io::{BufWriter, IntoInnerError, Seek, SeekFrom, Write};

use units::Frame;

use crate::sample::quantize;
use crate::writer::Encode;
use crate::{IntegerBits, Loudness, Metadata, Reason, id3};

/// Channels that are written.
const CHANNELS: u16 = 2;

/// Where the size of the whole form is, which counts from the byte after it.
const FORM_SIZE_AT: u64 = 4;

/// Where the number of frames is: after the form's header, that of `COMM`, and the channels.
const FRAMES_AT: u64 = 12 + 8 + 2;

/// Offset and block size ahead of the samples in `SSND`; both are 0 for samples that are not aligned to blocks.
const SOUND_HEADER: [u8; 8] = [0; 8];

/// An audio interchange file being written. All sizes are settled by `finish`.
pub(crate) struct AiffWriter {
    out: BufWriter<File>,
    bits: u32,
    /// Where the samples start.
    sound_at: u64,
    frames: u64,
    clamped: u64,
    bytes: Vec<u8>,
}

impl AiffWriter {
    pub(crate) fn new(file: File, bits: IntegerBits, rate_hz: u32, metadata: &Metadata) -> Result<Self, Reason> {
        let mut header = b"FORM\0\0\0\0AIFF".to_vec();
        push_chunk(&mut header, b"COMM", &common_chunk(bits.get(), rate_hz));
        for (id, text) in [(b"NAME", &metadata.title), (b"AUTH", &metadata.artist)] {
            if let Some(text) = text.as_ref().filter(|text| text.is_ascii()) {
                push_chunk(&mut header, id, text.as_bytes());
            }
        }
        let tag = id3::build(metadata);
        if !tag.is_empty() {
            push_chunk(&mut header, b"ID3 ", &tag);
        }
        push_chunk(&mut header, b"SSND", &SOUND_HEADER);
        let mut out = BufWriter::with_capacity(1 << 18, file);
        out.write_all(&header)?;
        let (bits, sound_at) = (u32::from(bits.get()), header.len() as u64);
        Ok(Self { out, bits, sound_at, frames: 0, clamped: 0, bytes: Vec::new() })
    }

    fn sound_bytes(&self) -> u64 {
        self.frames * u64::from(CHANNELS) * u64::from(self.bits / 8)
    }

    fn patch(&mut self, at: u64, number: u32) -> Result<(), Reason> {
        self.out.seek(SeekFrom::Start(at))?;
        Ok(self.out.write_all(&number.to_be_bytes())?)
    }
}

impl Encode for AiffWriter {
    fn write(&mut self, frames: &[Frame]) -> Result<(), Reason> {
        self.frames += frames.len() as u64;
        if u32::try_from(self.sound_at + self.sound_bytes()).is_err() {
            return Err(Reason::TooLong { format: "AIFF" });
        }
        self.bytes.clear();
        let unused = 4 - self.bits as usize / 8;
        for x in frames.as_flattened() {
            let level = quantize(*x, self.bits, &mut self.clamped);
            self.bytes.extend_from_slice(&level.to_be_bytes()[unused..]);
        }
        Ok(self.out.write_all(&self.bytes)?)
    }

    fn finish(mut self: Box<Self>, _: &Loudness) -> Result<(File, u64), Reason> {
        // Frames of two channels are of even size: there is no pad byte. `write` has seen to it that the sizes fit.
        let (sound_at, sound) = (self.sound_at, self.sound_bytes() as u32);
        let header = sound_at as u32;
        self.patch(FORM_SIZE_AT, header - 8 + sound)?;
        self.patch(FRAMES_AT, self.frames as u32)?;
        self.patch(sound_at - SOUND_HEADER.len() as u64 - 4, SOUND_HEADER.len() as u32 + sound)?;
        let file = self.out.into_inner().map_err(IntoInnerError::into_error)?;
        Ok((file, self.clamped))
    }
}

/// Appends a chunk, padded to an even size.
fn push_chunk(header: &mut Vec<u8>, id: &[u8; 4], content: &[u8]) {
    header.extend_from_slice(id);
    header.extend((content.len() as u32).to_be_bytes());
    header.extend_from_slice(content);
    if content.len() % 2 == 1 {
        header.push(0);
    }
}

/// The `COMM` chunk: channels, frames (settled later), bits, rate.
fn common_chunk(bits: u16, rate_hz: u32) -> Vec<u8> {
    let mut bytes = CHANNELS.to_be_bytes().to_vec();
    bytes.extend([0; 4]);
    bytes.extend(bits.to_be_bytes());
    bytes.extend(extended(rate_hz));
    bytes
}

/// A whole number as an 80-bit float (IEEE 754 double extended): 15 bits of exponent, biased by 16383, under the sign,
/// and 64 of mantissa whose first is the 1 ahead of the point.
fn extended(number: u32) -> [u8; 10] {
    const BIAS: u32 = 16_383;
    let mut bytes = [0; 10];
    if number > 0 {
        let above = u64::from(number).leading_zeros();
        bytes[..2].copy_from_slice(&((BIAS + 63 - above) as u16).to_be_bytes());
        bytes[2..].copy_from_slice(&(u64::from(number) << above).to_be_bytes());
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_laid_out_as_the_specification_says() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.aiff");
        let metadata =
            Metadata { title: Some("Odd".to_owned()), artist: Some("für".to_owned()), ..Metadata::default() };
        let file = File::create(&path).expect("a file");
        let mut writer = AiffWriter::new(file, IntegerBits::TwentyFour, 44_100, &metadata).expect("a header");
        writer.write(&[[0.5, -1.0], [1.5, -1.0 / 8_388_608.0]]).expect("samples");
        let (_, clamped) = Box::new(writer).finish(&Loudness::default()).expect("sizes");
        let bytes = std::fs::read(&path).expect("it reads");
        let sizes = [4..8, 22..26].map(|at| u32::from_be_bytes(bytes[at].try_into().expect("four bytes")));
        assert_eq!((sizes, clamped), ([bytes.len() as u32 - 8, 2], 1));
        // 44100 = 0xac44 * 2^0: exponent 16383 + 15, mantissa 0xac44 at the top.
        assert_eq!(bytes[8..22], *b"AIFFCOMM\0\0\0\x12\0\x02");
        assert_eq!(bytes[26..38], [0, 24, 0x40, 0x0e, 0xac, 0x44, 0, 0, 0, 0, 0, 0]);
        // A name of odd length is padded; a text that is not ASCII is left to the ID3 tag.
        assert_eq!(bytes[38..54], *b"NAME\0\0\0\x03Odd\0ID3 ");
        let sound = [0x40, 0, 0, 0x80, 0, 0, 0x7f, 0xff, 0xff, 0xff, 0xff, 0xff];
        assert_eq!(bytes[bytes.len() - 28..], [b"SSND\0\0\0\x14\0\0\0\0\0\0\0\0".as_slice(), &sound].concat());
    }

    #[test]
    fn a_file_past_4_gib_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = File::create(folder.path().join("long.aiff")).expect("a file");
        let mut writer = AiffWriter::new(file, IntegerBits::Sixteen, 96_000, &Metadata::default()).expect("a header");
        writer.frames = u64::from(u32::MAX / 4) - 20;
        assert!(matches!(writer.write(&[units::SILENCE; 32]), Err(Reason::TooLong { .. })));
    }
}
