//! The `bext` chunk: EBU Tech 3285 version 2 (2011).

use crate::{Bext, Loudness};

/// Bytes before the coding history.
const FIXED_BYTES: usize = 602;

/// What stands in a loudness field that is not used.
const UNUSED: i16 = 0x7fff;

/// Place of the five loudness fields in the chunk.
pub(super) const LOUDNESS_AT: usize = 412;

/// Reads the chunk. Shorter chunks than the standard's are read as far as they go.
pub(super) fn parse(bytes: &[u8]) -> Bext {
    let text = |from: usize, length: usize| text_of(bytes.get(from..).map_or(&[][..], |b| &b[..length.min(b.len())]));
    let word = |at: usize| bytes.get(at..at + 2).map_or(0, |b| u16::from_le_bytes([b[0], b[1]]));
    let version = word(346);
    let time_reference = (0..4).rev().fold(0, |sum, i| sum << 16 | u64::from(word(338 + 2 * i)));
    let figure = |index: usize| {
        let value = word(LOUDNESS_AT + 2 * index).cast_signed();
        (version >= 2 && bytes.len() >= FIXED_BYTES && value != UNUSED).then(|| f64::from(value) / 100.0)
    };
    Bext {
        version,
        description: text(0, 256),
        originator: text(256, 32),
        originator_reference: text(288, 32),
        date: text(320, 10),
        time: text(330, 8),
        time_reference,
        loudness: Loudness {
            integrated_lufs: figure(0),
            range_lu: figure(1),
            true_peak_dbtp: figure(2),
            max_momentary_lufs: figure(3),
            max_short_term_lufs: figure(4),
        },
        coding_history: text(FIXED_BYTES, bytes.len()),
    }
}

/// The chunk's content for a description, version 2.
pub(super) fn build(bext: &Bext) -> Vec<u8> {
    let mut bytes = vec![0; FIXED_BYTES];
    for (text, at, length) in [
        (&bext.description, 0, 256),
        (&bext.originator, 256, 32),
        (&bext.originator_reference, 288, 32),
        (&bext.date, 320, 10),
        (&bext.time, 330, 8),
    ] {
        let ascii = ascii_of(text, length);
        bytes[at..at + ascii.len()].copy_from_slice(&ascii);
    }
    bytes[338..346].copy_from_slice(&bext.time_reference.to_le_bytes());
    bytes[346..348].copy_from_slice(&2u16.to_le_bytes());
    bytes[LOUDNESS_AT..LOUDNESS_AT + 10].copy_from_slice(&loudness_bytes(&bext.loudness));
    bytes.extend(ascii_of(&bext.coding_history, usize::MAX));
    bytes
}

/// The five loudness fields: hundredths, rounded to the nearest.
pub(super) fn loudness_bytes(loudness: &Loudness) -> [u8; 10] {
    let figures = [
        loudness.integrated_lufs,
        loudness.range_lu,
        loudness.true_peak_dbtp,
        loudness.max_momentary_lufs,
        loudness.max_short_term_lufs,
    ];
    let mut bytes = [0; 10];
    for (place, figure) in bytes.as_chunks_mut::<2>().0.iter_mut().zip(figures) {
        let value = figure.filter(|x| x.is_finite()).map_or(UNUSED, |x| (100.0 * x).round() as i16);
        *place = value.to_le_bytes();
    }
    bytes
}

/// Text up to its first zero byte. The standard asks for ASCII; other bytes are read as UTF-8 where they are that.
pub(super) fn text_of(bytes: &[u8]) -> String {
    let end = bytes.iter().position(|b| *b == 0).unwrap_or(bytes.len());
    String::from_utf8_lossy(&bytes[..end]).trim_end().to_owned()
}

/// Text as ASCII, other characters as question marks, at most `most` bytes.
fn ascii_of(text: &str, most: usize) -> Vec<u8> {
    text.chars().take(most).map(|c| if c.is_ascii() { c as u8 } else { b'?' }).collect()
}
