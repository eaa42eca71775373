//! Writes ID3v2.4 tags (the informal standard of id3.org, version 2.4.0, structure and native frames).

use crate::Metadata;

/// Text encoding 3: UTF-8.
const UTF8: u8 = 3;

/// The tag; empty when there is nothing to say.
pub(crate) fn build(metadata: &Metadata) -> Vec<u8> {
    let mut frames = Vec::new();
    for (id, value) in [
        (b"TIT2", &metadata.title),
        (b"TPE1", &metadata.artist),
        (b"TALB", &metadata.album),
        (b"TIT3", &metadata.version),
        (b"TSRC", &metadata.isrc),
        (b"TDRC", &metadata.date),
        (b"TENC", &metadata.originator),
    ] {
        if let Some(value) = value {
            push_frame(&mut frames, id, &[value.as_bytes()]);
        }
    }
    if let Some(bpm) = metadata.tempo_bpm {
        // The standard asks for a whole number.
        push_frame(&mut frames, b"TBPM", &[bpm.round().to_string().as_bytes()]);
    }
    match metadata.key.as_deref() {
        // The standard allows three characters: note, accidental, minor.
        Some(key) if key.len() <= 3 => push_frame(&mut frames, b"TKEY", &[key.as_bytes()]),
        Some(key) => push_frame(&mut frames, b"TXXX", &[b"key", &[0], key.as_bytes()]),
        None => {}
    }
    if let Some(comment) = &metadata.comment {
        push_frame(&mut frames, b"COMM", &[b"eng", &[0], comment.as_bytes()]);
    }
    if !metadata.credits.is_empty() {
        let people: Vec<&str> = metadata.credits.iter().flat_map(|(role, name)| [&**role, &**name]).collect();
        push_frame(&mut frames, b"TIPL", &[people.join("\0").as_bytes()]);
    }
    if frames.is_empty() {
        return frames;
    }
    let mut tag = b"ID3\x04\x00\x00".to_vec();
    tag.extend(synchsafe(frames.len()));
    tag.extend(frames);
    tag
}

fn push_frame(frames: &mut Vec<u8>, id: &[u8; 4], parts: &[&[u8]]) {
    let length = 1 + parts.iter().map(|part| part.len()).sum::<usize>();
    frames.extend_from_slice(id);
    frames.extend(synchsafe(length));
    frames.extend([0, 0, UTF8]);
    frames.extend(parts.concat());
}

/// A size in four bytes of seven bits.
fn synchsafe(size: usize) -> [u8; 4] {
    [21, 14, 7, 0].map(|shift| (size >> shift & 0x7f) as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tag_is_laid_out_as_the_standard_says() {
        let metadata = Metadata { title: Some("Lantern Weather".to_owned()), ..Metadata::default() };
        let expected =
            [b"ID3\x04\x00\x00\x00\x00\x00\x1a".as_slice(), b"TIT2\x00\x00\x00\x10\x00\x00\x03Lantern Weather"];
        assert_eq!(build(&metadata), expected.concat());
        assert_eq!(build(&Metadata::default()), []);
    }

    #[test]
    fn sizes_have_seven_bits_a_byte() {
        // ID3v2.4.0 structure, 6.2: 255 is written %00000001 %01111111.
        assert_eq!(synchsafe(255), [0, 0, 1, 0x7f]);
    }
}
