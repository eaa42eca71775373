//! Reads wave files.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use units::Frame;

use super::chunks::{self, Chunk, Chunks};
use super::{bext, tags};
use crate::reader::{Audio, Purpose};
use crate::sample::Encoding;
use crate::{Format, Info, Reason};

/// Bytes read at once.
const BUFFER_BYTES: usize = 1 << 16;

/// Most chunks of metadata that are read.
const MOST_DESCRIPTIONS: usize = 16;

/// The tail of every sub-format identifier of an extensible header that stands for a plain format tag.
const SUB_FORMAT_TAIL: [u8; 14] = [0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xaa, 0x00, 0x38, 0x9b, 0x71];

/// Audio of a wave file, from a file that only this reader moves.
pub(crate) struct WavReader {
    file: File,
    encoding: Encoding,
    frame_bytes: usize,
    first_channel: usize,
    start: u64,
    next: u64,
    info: Info,
    buffer: Vec<u8>,
}

/// The `fmt ` chunk.
struct Layout {
    encoding: Encoding,
    bits: u16,
    channels: u16,
    rate_hz: u32,
}

impl WavReader {
    /// Whether a file that starts with these bytes is ours to read.
    pub(crate) fn recognises(head: &[u8; 12]) -> bool {
        chunks::format_of(head).is_some()
    }

    pub(crate) fn open(mut file: File, purpose: Purpose) -> Result<Self, Reason> {
        file.seek(SeekFrom::Start(0))?;
        let mut head = [0; 12];
        file.read_exact(&mut head)?;
        let format = chunks::format_of(&head).ok_or_else(|| Reason::UnknownFormat("no wave header".to_owned()))?;
        let chunks = chunks::walk(&mut file, format)?;
        let fmt = chunks.first(b"fmt ").ok_or_else(|| Reason::FaultyHeader("no `fmt ` chunk".to_owned()))?;
        let layout = Layout::parse(&chunks::content(&mut file, fmt)?, purpose)?;
        let frame_bytes = layout.encoding.bytes() * usize::from(layout.channels);
        let data = chunks.first(b"data").ok_or_else(|| Reason::FaultyHeader("no `data` chunk".to_owned()))?;
        let frames = frames_of(data, &chunks, frame_bytes as u64)?;
        let (start, encoding) = (data.at, layout.encoding);
        let info = describe(&mut file, &chunks, &layout, frames)?;
        file.seek(SeekFrom::Start(start))?;
        let first_channel = purpose.first_channel();
        Ok(Self { file, encoding, frame_bytes, first_channel, start, next: 0, info, buffer: Vec::new() })
    }
}

impl Audio for WavReader {
    fn info(&self) -> &Info {
        &self.info
    }

    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Reason> {
        let wanted = out.len().min(usize::try_from(self.info.frames - self.next).unwrap_or(usize::MAX));
        for part in out[..wanted].chunks_mut(BUFFER_BYTES / self.frame_bytes) {
            self.buffer.resize(part.len() * self.frame_bytes, 0);
            let read = self.file.read_exact(&mut self.buffer);
            read.map_err(|error| cut_short(error, self.info.frames, self.next))?;
            self.encoding.decode(&self.buffer, usize::from(self.info.channels), self.first_channel, part);
            self.next += part.len() as u64;
        }
        Ok(wanted)
    }

    fn seek(&mut self, frame: u64) -> Result<(), Reason> {
        self.file.seek(SeekFrom::Start(self.start + frame * self.frame_bytes as u64))?;
        self.next = frame;
        Ok(())
    }
}

impl Layout {
    fn parse(bytes: &[u8], purpose: Purpose) -> Result<Self, Reason> {
        let faulty = |detail: String| Reason::FaultyHeader(detail);
        let word = |at: usize| bytes.get(at..at + 2).map_or(0, |b| u16::from_le_bytes([b[0], b[1]]));
        if bytes.len() < 16 {
            return Err(faulty(format!("a `fmt ` chunk of {} bytes; 16 are the least", bytes.len())));
        }
        let (channels, rate_hz) = (word(2), u32::from(word(4)) | u32::from(word(6)) << 16);
        let (frame_bytes, bits) = (word(12), word(14));
        let tag = match word(0) {
            0xfffe if bytes.get(26..40) == Some(&SUB_FORMAT_TAIL) => word(24),
            other => other,
        };
        purpose.check(channels)?;
        if rate_hz == 0 {
            return Err(faulty("a rate of 0 Hz".to_owned()));
        }
        let encoding = encoding_of(tag, bits.div_ceil(8))?;
        if usize::from(frame_bytes) != encoding.bytes() * usize::from(channels) {
            return Err(faulty(format!("{frame_bytes} bytes a frame do not fit {channels} channels of {bits} bits")));
        }
        Ok(Self { encoding, bits, channels, rate_hz })
    }
}

/// The encoding by format tag and bytes of a sample. Samples of in-between sizes are left-justified in whole bytes.
fn encoding_of(tag: u16, bytes: u16) -> Result<Encoding, Reason> {
    Ok(match (tag, bytes) {
        (1, 1) => Encoding::Unsigned8,
        (1, 2) => Encoding::Signed16,
        (1, 3) => Encoding::Signed24,
        (1, 4) => Encoding::Signed32,
        (3, 4) => Encoding::Float32,
        (3, 8) => Encoding::Float64,
        (1, _) => return Err(Reason::UnsupportedEncoding(format!("integers of {bytes} bytes"))),
        (3, _) => return Err(Reason::UnsupportedEncoding(format!("floats of {bytes} bytes"))),
        (2 | 0x11, _) => return Err(Reason::UnsupportedEncoding("ADPCM".to_owned())),
        (6, _) => return Err(Reason::UnsupportedEncoding("A-law".to_owned())),
        (7, _) => return Err(Reason::UnsupportedEncoding("mu-law".to_owned())),
        (0x55, _) => return Err(Reason::UnsupportedEncoding("MP3 in a wave file".to_owned())),
        (tag, _) => return Err(Reason::UnsupportedEncoding(format!("the codec with tag {tag:#06x}"))),
    })
}

/// Frames in the audio chunk, or what is wrong with its size.
fn frames_of(data: &Chunk, chunks: &Chunks, frame_bytes: u64) -> Result<u64, Reason> {
    let present = data.size / frame_bytes;
    let Some(declared) = data.declared else {
        // A stream that was written without going back: the audio runs to the end of the file.
        return Ok(present);
    };
    if declared > data.size {
        return Err(Reason::CutShort { declared: declared / frame_bytes, present });
    }
    // What follows an empty audio chunk without a readable name is audio, whose size was never written.
    let follower = chunks.list.iter().find(|c| c.at > data.at);
    if declared == 0 && follower.is_some_and(|c| !c.id.iter().all(|byte| (b' '..=b'~').contains(byte))) {
        return Err(Reason::Unfinished { bytes: chunks.file_bytes - data.at });
    }
    Ok(present)
}

/// The file was long enough when it was opened: somebody has cut it since.
fn cut_short(error: io::Error, declared: u64, present: u64) -> Reason {
    if error.kind() == io::ErrorKind::UnexpectedEof { Reason::CutShort { declared, present } } else { error.into() }
}

fn describe(file: &mut File, chunks: &Chunks, layout: &Layout, frames: u64) -> Result<Info, Reason> {
    let mut info = Info {
        format: chunks.format,
        rate_hz: layout.rate_hz,
        channels: layout.channels,
        frames,
        bits: Some(layout.bits),
        float: layout.encoding.is_float(),
        lossy: false,
        bwf: None,
        track_names: Vec::new(),
        tags: Vec::new(),
    };
    // Only the first few of a kind are looked at: an honest file has one of each.
    let mut looked_at = 0;
    for chunk in chunks.list.iter().filter(|chunk| matches!(&chunk.id, b"bext" | b"LIST" | b"iXML")) {
        looked_at += 1;
        if looked_at > MOST_DESCRIPTIONS {
            break;
        }
        match &chunk.id {
            b"bext" => info.bwf = Some(bext::parse(&chunks::content(file, chunk)?)),
            b"LIST" => info.tags.extend(tags::parse_list(&chunks::content(file, chunk)?)),
            b"iXML" => {
                let production = tags::parse_ixml(&chunks::content(file, chunk)?);
                info.tags.extend(production.tags);
                info.track_names.extend(production.track_names);
            }
            _ => {}
        }
    }
    debug_assert!(matches!(info.format, Format::Wav | Format::Rf64 | Format::Bw64));
    Ok(info)
}
