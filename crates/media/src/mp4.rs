//! Encoder delay and padding of AAC in MPEG-4 files: the edit list (ISO/IEC 14496-12, 8.6.6), or the gapless comment of
//! the metadata list (common practice, no source).

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

/// Most bytes of a box that is read into memory.
const MOST_BYTES: u64 = 1 << 24;

/// Most boxes that are looked at.
const MOST_BOXES: u32 = 10_000;

/// Boxes that hold other boxes on the way to what is looked for, and bytes before the first of them.
const PARENTS: [(&[u8; 4], u64); 6] =
    [(b"moov", 0), (b"trak", 0), (b"edts", 0), (b"mdia", 0), (b"udta", 0), (b"meta", 4)];

/// What an MPEG-4 file says about where its audio starts and how long it is. Empty for other files.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Trim {
    /// Ticks a second of the edit's length.
    movie_rate: u32,
    /// Ticks a second of the edit's start.
    media_rate: u32,
    /// Length and start of the only edit that shows media.
    edit: Option<(u64, u64)>,
    /// Delay and length in frames by the gapless comment.
    comment: Option<(u64, u64)>,
}

impl Trim {
    /// Frames to skip and frames to keep of a track that decodes to `total` frames.
    pub(crate) fn apply(&self, total: u64, rate_hz: u32) -> (u64, u64) {
        if let Some((delay, frames)) = self.comment.filter(|(delay, frames)| delay.saturating_add(*frames) <= total) {
            return (delay, frames);
        }
        let Some((length, start)) = self.edit else { return (0, total) };
        let in_frames = |ticks: u64, ticks_a_second: u32| {
            let frames = u128::from(ticks) * u128::from(rate_hz) / u128::from(ticks_a_second.max(1));
            u64::try_from(frames).unwrap_or(u64::MAX)
        };
        let lead = in_frames(start, self.media_rate).min(total);
        let kept = total - lead;
        // The length is often in milliseconds: it says nothing about less than one of its own ticks.
        let tick = in_frames(1, self.movie_rate) + 1;
        let length = in_frames(length, self.movie_rate);
        (lead, if length > 0 && length.saturating_add(tick) < kept { length } else { kept })
    }
}

/// Looks for delay and padding. A file that is no MPEG-4 file has none.
pub(crate) fn trim_of(file: &mut File) -> io::Result<Trim> {
    let size = file.seek(SeekFrom::End(0))?;
    let mut head = [0; 8];
    file.seek(SeekFrom::Start(0))?;
    let mut trim = Trim::default();
    if size >= 8 {
        file.read_exact(&mut head)?;
    }
    if &head[4..] == b"ftyp" {
        walk(file, (0, size), 0, &mut 0, &mut trim)?;
    }
    Ok(trim)
}

/// Walks the boxes from `at` to `end`. Whatever does not fit its parent ends the walk, and so do more boxes than any file has.
fn walk(file: &mut File, (mut at, end): (u64, u64), depth: u32, seen: &mut u32, trim: &mut Trim) -> io::Result<()> {
    while at + 8 <= end && depth < 8 && *seen < MOST_BOXES {
        *seen += 1;
        let (id, content, next) = match header(file, at, end)? {
            Some(found) => found,
            None => return Ok(()),
        };
        if let Some((_, skip)) = PARENTS.iter().find(|(parent, _)| **parent == id) {
            walk(file, (content + skip, next), depth + 1, seen, trim)?;
        } else if matches!(&id, b"mvhd" | b"mdhd" | b"elst" | b"ilst") {
            let mut bytes = Vec::new();
            file.seek(SeekFrom::Start(content))?;
            file.by_ref().take((next - content).min(MOST_BYTES)).read_to_end(&mut bytes)?;
            trim.take(&id, &bytes);
        }
        at = next;
    }
    Ok(())
}

/// A box's name, where its content starts and where the next box starts; none if its size cannot be.
fn header(file: &mut File, at: u64, end: u64) -> io::Result<Option<([u8; 4], u64, u64)>> {
    let mut head = [0; 16];
    let length = (end - at).min(16) as usize;
    file.seek(SeekFrom::Start(at))?;
    file.read_exact(&mut head[..length])?;
    let [a, b, c, d, id @ .., _, _, _, _, _, _, _, _] = head;
    let (size, content) = match u32::from_be_bytes([a, b, c, d]) {
        0 => (end - at, at + 8),
        1 if length == 16 => (big_endian(&head[8..]), at + 16),
        short => (u64::from(short), at + 8),
    };
    let next = at.checked_add(size).filter(|next| *next >= content && *next <= end);
    Ok(next.map(|next| (id, content, next)))
}

fn big_endian(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0, |sum, byte| sum << 8 | u64::from(*byte))
}

impl Trim {
    fn take(&mut self, id: &[u8; 4], bytes: &[u8]) {
        let field = |at: usize, length: usize| bytes.get(at..at + length).map(big_endian);
        // Version 1 has times of 64 bits.
        let long = bytes.first() == Some(&1);
        match id {
            b"mvhd" | b"mdhd" => {
                let rate = field(if long { 20 } else { 12 }, 4).unwrap_or(0) as u32;
                let place = if id == b"mvhd" { &mut self.movie_rate } else { &mut self.media_rate };
                if *place == 0 {
                    *place = rate;
                }
            }
            b"elst" if self.edit.is_none() => {
                let width = if long { 8 } else { 4 };
                let entry = 2 * width + 4;
                // A start of all ones is an empty edit, which only delays; no more than a few are ever there.
                let empty = if long { u64::MAX } else { u64::from(u32::MAX) };
                let mut edits = (0..field(4, 4).unwrap_or(0).min(16) as usize)
                    .filter_map(|i| Some((field(8 + i * entry, width)?, field(8 + i * entry + width, width)?)));
                self.edit = edits.find(|(_, start)| *start != empty);
            }
            b"ilst" => self.comment = gapless_comment(bytes),
            _ => {}
        }
    }
}

/// The gapless comment: after its name and a data header, hexadecimal words: zero, delay, padding, length.
fn gapless_comment(list: &[u8]) -> Option<(u64, u64)> {
    const NAME: &[u8] = b"iTunSMPB";
    let name = list.windows(NAME.len()).position(|window| window == NAME)?;
    // Size, `data`, type and locale: 16 bytes.
    let text = list.get(name + NAME.len() + 16..)?;
    let text: String = text.iter().take(120).map(|byte| char::from(*byte)).collect();
    let mut words = text.split_whitespace().map(|word| u64::from_str_radix(word, 16));
    let (delay, _padding, length) = (words.nth(1)?.ok()?, words.next()?.ok()?, words.next()?.ok()?);
    Some((delay, length))
}
