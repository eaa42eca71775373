//! Where the chunks of a core audio file end. Some writers add a pad byte after a last chunk of odd size, as other
//! formats ask for; the library takes it for a chunk that is cut short, so it is kept from it.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use symphonia::core::io::MediaSource;

/// Bytes of a chunk's name and size: Apple, Core Audio Format Specification 1.0.
const HEAD_BYTES: u64 = 12;

/// A file up to a certain length.
pub(crate) struct Bounded {
    file: File,
    at: u64,
    end: u64,
}

impl Bounded {
    /// The file from its start, without what follows its last chunk if it is a core audio file.
    pub(crate) fn new(mut file: File) -> io::Result<Self> {
        let end = end_of_chunks(&mut file)?;
        file.seek(SeekFrom::Start(0))?;
        Ok(Self { file, at: 0, end })
    }
}

fn end_of_chunks(file: &mut File) -> io::Result<u64> {
    let file_end = file.seek(SeekFrom::End(0))?;
    let (mut head, mut at) = ([0; HEAD_BYTES as usize], 8);
    file.seek(SeekFrom::Start(0))?;
    if file_end < HEAD_BYTES {
        return Ok(file_end);
    }
    file.read_exact(&mut head)?;
    if !head.starts_with(b"caff") {
        return Ok(file_end);
    }
    while at + HEAD_BYTES <= file_end {
        file.seek(SeekFrom::Start(at))?;
        file.read_exact(&mut head)?;
        let [_, _, _, _, size @ ..] = head;
        // A size of minus one: to the end of the file.
        let size = u64::try_from(i64::from_be_bytes(size)).unwrap_or(file_end);
        at = at.saturating_add(HEAD_BYTES).saturating_add(size);
    }
    Ok(at.min(file_end))
}

impl Read for Bounded {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let left = usize::try_from(self.end.saturating_sub(self.at)).unwrap_or(usize::MAX);
        let wanted = out.len().min(left);
        let count = self.file.read(&mut out[..wanted])?;
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
