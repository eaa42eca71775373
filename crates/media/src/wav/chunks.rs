//! The chunk walk: finds every chunk of a wave file and judges sizes against the file.

use std::io::{self, Read, Seek, SeekFrom};

use crate::{Format, Reason};

/// A size field that says: see the `ds64` chunk (EBU Tech 3306), or, without one, not known.
const SIZE_ELSEWHERE: u32 = 0xffff_ffff;

/// Most chunks looked at before a file counts as faulty.
const MOST_CHUNKS: usize = 10_000;

/// A chunk's place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chunk {
    pub(super) id: [u8; 4],
    /// Offset of its content.
    pub(super) at: u64,
    /// Size of its content as far as the file goes.
    pub(super) size: u64,
    /// Size by the header; none where the header does not know.
    pub(super) declared: Option<u64>,
}

/// The chunks of a file, in order.
#[derive(Debug)]
pub(super) struct Chunks {
    pub(super) format: Format,
    pub(super) list: Vec<Chunk>,
    pub(super) file_bytes: u64,
}

/// The 64-bit sizes of a `ds64` chunk.
struct LongSizes {
    data: u64,
    table: Vec<([u8; 4], u64)>,
}

impl LongSizes {
    fn parse(bytes: &[u8]) -> Self {
        let long =
            |at: usize| bytes.get(at..at + 8).map_or(0, |b| u64::from_le_bytes(b.try_into().unwrap_or_default()));
        let entries = bytes.get(28..).unwrap_or_default().as_chunks::<12>().0;
        let table = entries.iter().map(|e| {
            let [a, b, c, d, size @ ..] = *e;
            ([a, b, c, d], u64::from_le_bytes(size))
        });
        Self { data: long(8), table: table.collect() }
    }

    fn of(&self, id: [u8; 4]) -> Option<u64> {
        if &id == b"data" { Some(self.data) } else { self.table.iter().find(|(i, _)| *i == id).map(|(_, size)| *size) }
    }
}

/// The format of a file that starts with these twelve bytes, if it is a wave file.
pub(super) fn format_of(head: &[u8; 12]) -> Option<Format> {
    if &head[8..] != b"WAVE" {
        return None;
    }
    match &head[..4] {
        b"RIFF" => Some(Format::Wav),
        b"RF64" => Some(Format::Rf64),
        b"BW64" => Some(Format::Bw64),
        _ => None,
    }
}

/// Lists the chunks. Chunks are word aligned; a pad byte is not counted in a size.
pub(super) fn walk<R: Read + Seek>(file: &mut R, format: Format) -> Result<Chunks, Reason> {
    let file_bytes = file.seek(SeekFrom::End(0))?;
    let (mut at, mut list, mut long_sizes) = (12_u64, Vec::new(), None);
    while at.saturating_add(8) <= file_bytes && list.len() < MOST_CHUNKS {
        let head: [u8; 8] = read_array(file, at)?;
        let [a, b, c, d, short @ ..] = head;
        let (id, short) = ([a, b, c, d], u32::from_le_bytes(short));
        let declared = declared_size(id, short, long_sizes.as_ref());
        let present = file_bytes - (at + 8);
        let chunk = Chunk { id, at: at + 8, size: declared.unwrap_or(present).min(present), declared };
        if &id == b"ds64" && long_sizes.is_none() && format != Format::Wav {
            long_sizes = Some(LongSizes::parse(&content(file, &chunk)?));
        }
        list.push(chunk);
        at = chunk.at.saturating_add(declared.unwrap_or(present)).saturating_add(declared.unwrap_or(0) % 2);
    }
    Ok(Chunks { format, list, file_bytes })
}

fn declared_size(id: [u8; 4], short: u32, long: Option<&LongSizes>) -> Option<u64> {
    if short != SIZE_ELSEWHERE {
        return Some(u64::from(short));
    }
    long.and_then(|sizes| sizes.of(id))
}

impl Chunks {
    pub(super) fn first(&self, id: &[u8; 4]) -> Option<&Chunk> {
        self.list.iter().find(|c| &c.id == id)
    }
}

/// Most bytes of a chunk's content that are read at once.
const MOST_CONTENT_BYTES: u64 = 1 << 22;

/// The content of a chunk that is not audio.
pub(super) fn content<R: Read + Seek>(file: &mut R, chunk: &Chunk) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(chunk.at))?;
    let mut bytes = Vec::new();
    file.by_ref().take(chunk.size.min(MOST_CONTENT_BYTES)).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn read_array<R: Read + Seek, const N: usize>(file: &mut R, at: u64) -> io::Result<[u8; N]> {
    file.seek(SeekFrom::Start(at))?;
    let mut bytes = [0; N];
    file.read_exact(&mut bytes)?;
    Ok(bytes)
}
