//! The folder of kept pieces: each a file named by its key, ending in a checksum of key and content.
//!
//! A piece is used only after its checksum was found right, and read on through the file that was checked: what is damaged
//! counts as not there, and what is deleted meanwhile is still read. New pieces are written in a hidden folder that the
//! run holds locked ([`crate::part`]) and get their names at its end, each in one step. A piece that
//! is not right is made anew, one that cannot be written is not kept; a print is stopped only by a disk that fails while it is read.

use std::fs::{self, File};
use std::io::{self, BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use engine::{Fault, Playback, Sink, Taken};
use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};
use units::Frame;

use super::FRAME_BYTES;
use super::keys::Key;
use crate::part::Part;

const SUM_BYTES: u64 = 32;
/// What is read or hashed at once.
const BLOCK_BYTES: usize = 1 << 16;

pub(super) struct Store {
    folder: PathBuf,
    most_bytes: u64,
    /// Where new pieces are written.
    work: Part,
}

impl Store {
    /// Opens the folder, which is made if need be.
    pub fn open(folder: &Path, most_bytes: u64) -> io::Result<Self> {
        fs::create_dir_all(folder)?;
        let work = Part::beside(&folder.join("new"))?;
        Ok(Self { folder: folder.to_owned(), most_bytes, work })
    }

    /// A sound of at least so many frames, from its first frame on.
    pub fn sound(&self, key: &Key, frames: u64) -> Option<Sound> {
        let (file, bytes) = self.checked(key)?;
        (bytes >= frames * FRAME_BYTES).then(|| Sound { file, left: bytes / FRAME_BYTES, bytes: Vec::new() })
    }

    /// A note.
    pub fn note<T: DeserializeOwned>(&self, key: &Key) -> Option<T> {
        let (file, bytes) = self.checked(key)?;
        let mut text = Vec::new();
        file.take(bytes).read_to_end(&mut text).ok()?;
        serde_json::from_slice(&text).ok()
    }

    /// A piece whose checksum is right, at its start, and the length of its content.
    fn checked(&self, key: &Key) -> Option<(File, u64)> {
        let mut file = File::open(self.folder.join(key.to_string())).ok()?;
        let bytes = file.metadata().ok()?.len().checked_sub(SUM_BYTES)?;
        let (mut sum, mut left, mut block) = (begun(key), bytes, vec![0; BLOCK_BYTES]);
        while left > 0 {
            let most = left.min(BLOCK_BYTES as u64) as usize;
            file.read_exact(&mut block[..most]).ok()?;
            sum.update(&block[..most]);
            left -= most as u64;
        }
        let mut expected = [0; SUM_BYTES as usize];
        file.read_exact(&mut expected).ok()?;
        if sum.finalize().as_slice() != expected {
            return None;
        }
        file.rewind().ok()?;
        // Pieces go by when they were last of use; one that may not be touched goes earlier.
        let _ = file.set_modified(SystemTime::now());
        Some((file, bytes))
    }

    /// Begins to keep a sound.
    #[must_use]
    pub fn keep_sound(&self, key: &Key) -> Keeping {
        let file = File::create(self.work.folder().join(key.to_string())).ok();
        Keeping { out: file.map(|file| (BufWriter::new(file), begun(key))), bytes: Vec::new() }
    }

    /// Keeps a note.
    pub fn keep_note(&self, key: &Key, note: &impl Serialize) {
        let mut keeping = self.keep_sound(key);
        keeping.bytes = serde_json::to_vec(note).unwrap_or_default();
        keeping.write();
        keeping.end();
    }

    /// How many pieces of so many bytes there would be room for if all else went.
    pub fn room_for(&self, bytes: u64) -> usize {
        (self.most_bytes / (bytes + SUM_BYTES)) as usize
    }

    /// Gives new pieces their names, and lets the ones go that were of use longest ago, until all fit.
    pub fn publish(&self) -> io::Result<()> {
        for entry in fs::read_dir(self.work.folder())? {
            let entry = entry?;
            if is_piece(&entry) {
                fs::rename(entry.path(), self.folder.join(entry.file_name()))?;
            }
        }
        self.make_room(0)
    }

    /// Lets pieces go until so many bytes have room beside the rest.
    pub fn make_room(&self, bytes: u64) -> io::Result<()> {
        let mut pieces = Vec::new();
        for entry in fs::read_dir(&self.folder)?.flatten().filter(is_piece) {
            // Another run may have let it go meanwhile.
            let Ok(facts) = entry.metadata() else { continue };
            pieces.push((facts.modified().unwrap_or(SystemTime::UNIX_EPOCH), facts.len(), entry.path()));
        }
        pieces.sort();
        let mut all: u64 = bytes + pieces.iter().map(|(_, bytes, _)| bytes).sum::<u64>();
        for (_, bytes, path) in pieces {
            if all <= self.most_bytes {
                break;
            }
            match fs::remove_file(path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => all -= bytes,
            }
        }
        Ok(())
    }
}

/// The checksum of a piece before its content: a piece under another's name is not right.
fn begun(key: &Key) -> Sha256 {
    Sha256::new_with_prefix(key.to_string())
}

fn is_piece(entry: &fs::DirEntry) -> bool {
    let name = entry.file_name();
    name.len() == 2 * SUM_BYTES as usize && name.to_string_lossy().bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// A sound on its way into the folder: all that comes out of a step, lag and run-out too.
pub(crate) struct Keeping {
    /// None once it could not be written.
    out: Option<(BufWriter<File>, Sha256)>,
    bytes: Vec<u8>,
}

impl Keeping {
    fn write(&mut self) {
        let Some((file, sum)) = &mut self.out else { return };
        sum.update(&self.bytes);
        if file.write_all(&self.bytes).is_err() {
            self.out = None;
        }
    }

    /// Ends the file with its checksum. Without one it is never right.
    pub fn end(self) {
        if let Some((mut file, sum)) = self.out {
            let _ = file.write_all(&sum.finalize()).and_then(|()| file.flush());
        }
    }
}

impl Sink for &mut Keeping {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        let samples = taken.lane(0).as_flattened();
        self.bytes.resize(samples.len() * 8, 0);
        for (bytes, sample) in self.bytes.as_chunks_mut::<8>().0.iter_mut().zip(samples) {
            *bytes = sample.to_le_bytes();
        }
        self.write();
        Ok(())
    }

    fn takes_all(&self) -> bool {
        true
    }
}

/// A kept sound at work.
pub(crate) struct Sound {
    file: File,
    left: u64,
    bytes: Vec<u8>,
}

impl Playback for Sound {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        let frames = self.left.min(out.len() as u64) as usize;
        self.bytes.resize(frames * FRAME_BYTES as usize, 0);
        self.file.read_exact(&mut self.bytes).map_err(|error| {
            let remedy = "Print again; delete the folder of kept work if this comes back.".to_owned();
            Fault::machine("cannot-read", "kept work", format!("Kept work cannot be read: {error}."), remedy)
        })?;
        let samples = out[..frames].as_flattened_mut().iter_mut();
        for (sample, bytes) in samples.zip(self.bytes.as_chunks::<8>().0) {
            *sample = f64::from_le_bytes(*bytes);
        }
        self.left -= frames as u64;
        Ok(frames)
    }
}
