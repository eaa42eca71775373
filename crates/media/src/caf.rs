//! The chunks of a core audio file, put right where the library does not take what the format allows.
//!
//! Some writers add a pad byte after a last chunk of odd size, as other formats ask for; the library takes it for a
//! chunk that is cut short, so it is kept from it. Audio whose size is minus one runs to the end of the file; the library
//! looks for more chunks there, so it is told the size. And it makes room for a chunk before it looks whether the file
//! is that long, so a chunk that is longer than the file is refused here.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use symphonia::core::io::MediaSource;

use crate::Reason;

/// Bytes of the file's head, and of a chunk's name and size: Apple, Core Audio Format Specification 1.0.
const FILE_HEAD_BYTES: u64 = 8;
const HEAD_BYTES: u64 = 12;

/// Most chunks that are looked at.
const MOST_CHUNKS: usize = 10_000;

/// A file up to a certain length.
pub(crate) struct Bounded {
    file: File,
    at: u64,
    end: u64,
    /// The size of the audio, and where the file states it as minus one.
    size: Option<(u64, [u8; 8])>,
}

impl Bounded {
    /// The file from its start, without what follows its last chunk if it is a core audio file.
    pub(crate) fn new(mut file: File) -> Result<Self, Reason> {
        let end = file.seek(SeekFrom::End(0))?;
        let mut bounded = Self { file, at: 0, end, size: None };
        bounded.walk(end)?;
        bounded.seek(SeekFrom::Start(0))?;
        Ok(bounded)
    }

    fn walk(&mut self, file_end: u64) -> Result<(), Reason> {
        let mut head = [0; HEAD_BYTES as usize];
        self.file.seek(SeekFrom::Start(0))?;
        if file_end < HEAD_BYTES {
            return Ok(());
        }
        self.file.read_exact(&mut head)?;
        if !head.starts_with(b"caff") {
            return Ok(());
        }
        let (mut at, mut seen) = (FILE_HEAD_BYTES, 0);
        while at + HEAD_BYTES <= file_end {
            self.file.seek(SeekFrom::Start(at))?;
            self.file.read_exact(&mut head)?;
            at += HEAD_BYTES;
            let [a, b, c, d, size @ ..] = head;
            let left = file_end - at;
            let size = match (&[a, b, c, d], i64::from_be_bytes(size)) {
                (b"data", -1) => {
                    self.size = Some((at - 8, left.to_be_bytes()));
                    left
                }
                (id, size) => u64::try_from(size).ok().filter(|size| *size <= left).ok_or_else(|| longer(id))?,
            };
            at += size;
            seen += 1;
            if seen == MOST_CHUNKS {
                return Err(Reason::FaultyHeader(format!("more than {MOST_CHUNKS} chunks")));
            }
        }
        self.end = at.min(file_end);
        Ok(())
    }
}

fn longer(id: &[u8; 4]) -> Reason {
    Reason::FaultyHeader(format!("its chunk `{}` is longer than the file", id.escape_ascii()))
}

impl Read for Bounded {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let left = usize::try_from(self.end.saturating_sub(self.at)).unwrap_or(usize::MAX);
        let wanted = out.len().min(left);
        let count = self.file.read(&mut out[..wanted])?;
        if let Some((from, size)) = self.size {
            for (byte, place) in size.iter().zip(from..) {
                let index = place.checked_sub(self.at).and_then(|index| usize::try_from(index).ok());
                if let Some(index) = index.filter(|index| *index < count) {
                    out[index] = *byte;
                }
            }
        }
        self.at += count as u64;
        Ok(count)
    }
}

impl Seek for Bounded {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let to = match to {
            SeekFrom::End(offset) => {
                let at = self.end.checked_add_signed(offset);
                SeekFrom::Start(at.ok_or_else(|| io::Error::from(io::ErrorKind::InvalidInput))?)
            }
            other => other,
        };
        self.at = self.file.seek(to)?;
        Ok(self.at)
    }
}

impl MediaSource for Bounded {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.end)
    }
}
