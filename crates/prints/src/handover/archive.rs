//! A handover in one file: a ZIP archive of one folder, stored without compression, since audio gains nothing by it. All
//! entries bear the same date, so that the same files give the same bytes.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

use super::SUMS;
use crate::files::sha256_from;
use crate::load::folder_of;

/// Size from which an entry needs the wide fields of the format (APPNOTE.TXT 6.3.10, section 4.3.9.2).
const WIDE_BYTES: u64 = 0xffff_ffff;

/// Where the archive of a folder goes: beside it.
pub(super) fn path_of(folder: &Path) -> PathBuf {
    let mut name = folder.file_name().unwrap_or_default().to_owned();
    name.push(".zip");
    folder.with_file_name(name)
}

/// Packs the files of a finished folder, which lies in `work` for now and will be called `folder`, into a file beside it
/// that has no name yet.
pub(super) fn pack(work: &Path, folder: &Path, files: &[(String, String)]) -> io::Result<NamedTempFile> {
    let mut file = tempfile::Builder::new().prefix(".").suffix(".part").tempfile_in(folder_of(folder))?;
    let top = folder.file_name().unwrap_or_default().to_string_lossy();
    let mut archive = ZipWriter::new(file.as_file_mut());
    for name in files.iter().map(|(name, _)| name.as_str()).chain([SUMS]) {
        let mut from = File::open(work.join(name))?;
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Stored)
            .last_modified_time(DateTime::default())
            .unix_permissions(0o644)
            .large_file(from.metadata()?.len() >= WIDE_BYTES);
        archive.start_file(format!("{top}/{name}"), options)?;
        io::copy(&mut from, &mut archive)?;
    }
    archive.finish()?;
    file.as_file().sync_all()?;
    // A temporary file is for its writer only; this one is for all who may read the folder.
    #[cfg(unix)]
    fs::set_permissions(file.path(), std::os::unix::fs::PermissionsExt::from_mode(0o644))?;
    Ok(file)
}

/// An archive that has arrived.
pub(super) struct Archive {
    zip: ZipArchive<File>,
    /// The folder that all its files are in, with a `/` behind; empty if there is none.
    top: String,
    /// The names of its files, without that folder.
    pub names: Vec<String>,
}

impl Archive {
    /// Opens it.
    pub fn open(path: &Path) -> io::Result<Self> {
        let zip = ZipArchive::new(File::open(path)?)?;
        let mut names = zip.file_names().map(|name| Ok(name?.into_owned())).collect::<io::Result<Vec<String>>>()?;
        names.retain(|name| !name.ends_with('/'));
        names.sort();
        let top = names.iter().find_map(|name| name.strip_suffix(SUMS)).unwrap_or_default().to_owned();
        let within = |name: &String| name.strip_prefix(&top).unwrap_or(name).to_owned();
        Ok(Self { names: names.iter().map(within).collect(), zip, top })
    }

    /// A text among its files, of at most so many bytes.
    pub fn text(&mut self, name: &str, most_bytes: u64) -> io::Result<String> {
        let mut text = String::new();
        self.zip.by_name(&format!("{}{name}", self.top))?.take(most_bytes).read_to_string(&mut text)?;
        Ok(text)
    }

    /// SHA-256 of one of its files.
    pub fn sha256_of(&mut self, name: &str) -> io::Result<String> {
        sha256_from(&mut self.zip.by_name(&format!("{}{name}", self.top))?)
    }
}
