//! The demo song as a folder: stems, rough mix, sheet.

use std::fmt;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use media::{FileFormat, MediaError, Metadata, WavSample, write_all};
use units::Frame;

use crate::{RoughMix, Stem, TEMPO_BPM, each_stem, stem_names};

/// Rate of the files.
pub const RATE_HZ: u32 = 48_000;

/// The sheet of the demo song: what the bench can do, used for a reason.
pub const SHEET: &str = include_str!("sheet.toml");

/// Name of the sheet in the folder.
const SHEET_NAME: &str = "sheet.toml";
/// Name of the rough mix in the folder, as the sheet says it.
const ROUGH_MIX_NAME: &str = "rough mix.wav";
/// Folder of the stems in the folder, as the sheet says it.
const STEMS_NAME: &str = "stems";

/// What was written, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DemoFiles {
    /// The sheet.
    pub sheet: PathBuf,
    /// The loud rough mix.
    pub rough_mix: PathBuf,
    /// The stems, in the sheet's order.
    pub stems: Vec<PathBuf>,
}

impl DemoFiles {
    fn within(folder: &Path) -> Self {
        let stems = stem_names().map(|name| folder.join(STEMS_NAME).join(format!("{name}.wav"))).collect();
        Self { sheet: folder.join(SHEET_NAME), rough_mix: folder.join(ROUGH_MIX_NAME), stems }
    }

    fn all(&self) -> impl Iterator<Item = &PathBuf> {
        [&self.sheet, &self.rough_mix].into_iter().chain(&self.stems)
    }
}

/// Why the demo song could not be written: which file or folder, the reason, a remedy.
#[derive(Debug)]
pub struct DemoError {
    /// The file or folder.
    pub path: PathBuf,
    /// The reason.
    pub reason: DemoReason,
}

/// A reason why the demo song could not be written.
#[derive(Debug)]
pub enum DemoReason {
    /// The file is there already.
    Exists,
    /// A folder or the sheet could not be made.
    System(io::Error),
    /// An audio file could not be written.
    Audio(MediaError),
}

impl fmt::Display for DemoError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let path = self.path.display();
        match &self.reason {
            DemoReason::Exists => write!(f, "{path}: this is there already, and nothing is ever overwritten"),
            DemoReason::System(error) => write!(f, "{path}: {error}"),
            DemoReason::Audio(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for DemoError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match &self.reason {
            DemoReason::Exists => None,
            DemoReason::System(error) => Some(error),
            DemoReason::Audio(error) => Some(error),
        }
    }
}

impl DemoError {
    /// What to do about it: one sentence.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match &self.reason {
            DemoReason::Exists => "Name another folder, or move the old demo song away.",
            DemoReason::System(_) => "Name a folder that you may write to, on a disk with a gigabyte of room.",
            DemoReason::Audio(error) => error.remedy(),
        }
    }

    /// Whether the machine is at fault (disk, memory) rather than the call.
    #[must_use]
    pub fn is_machine_fault(&self) -> bool {
        use io::ErrorKind::{QuotaExceeded, StorageFull};
        match &self.reason {
            DemoReason::Exists => false,
            DemoReason::System(error) => matches!(error.kind(), StorageFull | QuotaExceeded),
            DemoReason::Audio(error) => error.is_machine_fault(),
        }
    }
}

impl From<MediaError> for DemoError {
    fn from(error: MediaError) -> Self {
        Self { path: error.path.clone(), reason: DemoReason::Audio(error) }
    }
}

fn system(path: &Path) -> impl FnOnce(io::Error) -> DemoError {
    |error| DemoError { path: path.to_owned(), reason: DemoReason::System(error) }
}

/// Makes the demo song and writes it into a folder, which is made if need be: `stems/*.wav`, `rough mix.wav` (24 bits,
/// 48 kHz) and `sheet.toml`. The sheet comes last, so that a folder with a sheet is whole.
///
/// # Errors
/// If one of the files is there already (then nothing is written), or the disk refuses.
pub fn write(folder: &Path) -> Result<DemoFiles, DemoError> {
    let files = DemoFiles::within(folder);
    if let Some(taken) = files.all().find(|path| path.symlink_metadata().is_ok()) {
        return Err(DemoError { path: taken.clone(), reason: DemoReason::Exists });
    }
    let stems = folder.join(STEMS_NAME);
    fs::create_dir_all(&stems).map_err(system(&stems))?;
    let mut rough = RoughMix::new(RATE_HZ);
    let save =
        |stem: Stem| write_wav(&stems.join(format!("{}.wav", stem.name)), &stem.frames, stem.name).map(|()| stem);
    for stem in each_stem(RATE_HZ, save) {
        rough.add(&stem?);
    }
    write_wav(&files.rough_mix, &rough.finish(), "rough mix")?;
    write_sheet(&files.sheet)?;
    Ok(files)
}

fn write_wav(path: &Path, frames: &[Frame], name: &str) -> Result<(), DemoError> {
    let metadata = Metadata {
        title: Some("Lantern Weather".to_owned()),
        artist: Some("The Tin Orchard".to_owned()),
        version: Some(name.to_owned()),
        tempo_bpm: Some(TEMPO_BPM),
        key: Some("E minor".to_owned()),
        track_names: vec![name.to_owned()],
        ..Metadata::default()
    };
    let format = FileFormat::Wav(WavSample::Int24);
    write_all(path, &format, RATE_HZ, frames, &metadata)?;
    Ok(())
}

/// Written beside its name and renamed in one step.
fn write_sheet(path: &Path) -> Result<(), DemoError> {
    let partial = path.with_extension("toml.part");
    let written = fs::write(&partial, SHEET).and_then(|()| fs::rename(&partial, path));
    written.map_err(system(path))
}
