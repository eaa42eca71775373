//! The folder of a sheet as a place that recordings come from.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use dsp::Channels;
use units::Frame;

use crate::compile::Facts;
use crate::fault::Fault;
use crate::step::Playback;
use crate::stream::Sources;

/// Files below a folder, read at the song's rate. Whole files (impulse responses) are read once and kept.
pub struct Folder {
    root: PathBuf,
    rate_hz: u32,
    kept: Mutex<HashMap<String, Result<Channels, Fault>>>,
}

impl Folder {
    /// The folder `root`, for a song at `rate_hz`.
    #[must_use]
    pub fn new(root: &Path, rate_hz: u32) -> Self {
        Self { root: root.to_owned(), rate_hz, kept: Mutex::default() }
    }

    fn source(&self, file: &str) -> Result<Box<dyn media::Source>, Fault> {
        media::open_at(&self.root.join(file), self.rate_hz).map_err(|error| unreadable(file, &error))
    }
}

impl Facts for Folder {
    fn frames(&self, file: &str) -> Result<u64, Fault> {
        Ok(self.source(file)?.frames())
    }

    fn audio(&self, file: &str) -> Result<Channels, Fault> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let read = || match media::read_channels(&self.root.join(file), Some(self.rate_hz)) {
            Ok(channels) => Ok(channels.into()),
            Err(error) => Err(unreadable(file, &error)),
        };
        kept.entry(file.to_owned()).or_insert_with(read).clone()
    }
}

impl Sources for Folder {
    fn open(&self, file: &str) -> Result<Box<dyn Playback>, Fault> {
        Ok(Box::new(Recording { source: self.source(file)?, next: 0, file: file.to_owned() }))
    }
}

/// The recordings of a folder and, under names of their own, sounds from elsewhere, each to be played once.
pub struct Beside<'a> {
    folder: &'a Folder,
    others: Mutex<BTreeMap<String, Box<dyn Playback>>>,
}

impl<'a> Beside<'a> {
    /// Both together.
    #[must_use]
    pub fn new(folder: &'a Folder, others: BTreeMap<String, Box<dyn Playback>>) -> Self {
        Self { folder, others: Mutex::new(others) }
    }
}

impl Facts for Beside<'_> {
    fn frames(&self, file: &str) -> Result<u64, Fault> {
        self.folder.frames(file)
    }

    fn audio(&self, file: &str) -> Result<Channels, Fault> {
        self.folder.audio(file)
    }
}

impl Sources for Beside<'_> {
    fn open(&self, file: &str) -> Result<Box<dyn Playback>, Fault> {
        let other = self.others.lock().unwrap_or_else(PoisonError::into_inner).remove(file);
        other.map_or_else(|| self.folder.open(file), Ok)
    }
}

struct Recording {
    source: Box<dyn media::Source>,
    /// The frame that is read next.
    next: u64,
    file: String,
}

impl Playback for Recording {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        let read = self.source.read(out).map_err(|error| unreadable(&self.file, &error))?;
        self.next += read as u64;
        Ok(read)
    }

    fn skip(&mut self, frames: u64) -> Result<(), Fault> {
        self.next = self.source.frames().min(self.next.saturating_add(frames));
        self.source.seek(self.next).map_err(|error| unreadable(&self.file, &error))
    }
}

/// The fault of a file that cannot be read.
fn unreadable(file: &str, error: &media::MediaError) -> Fault {
    let (message, remedy) = (error.to_string(), error.remedy().to_owned());
    if error.is_machine_fault() {
        Fault::machine("cannot-read", file, message, remedy)
    } else {
        Fault::input("cannot-read", file, message, remedy)
    }
}
