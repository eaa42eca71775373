//! A folder that goes out: filled in hiding, then listed, packed, and given its name.

use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use engine::Fault;

use super::{SUMS, archive};
use crate::part::Part;
use crate::revision::machine;

/// A folder in the making.
pub(crate) struct Parcel {
    work: Part,
    folder: PathBuf,
    packed: Option<PathBuf>,
}

impl Parcel {
    /// Begins what will be called `folder`, and with `packed` a file beside it that holds the same.
    pub fn begin(folder: PathBuf, packed: bool) -> Result<Self, Fault> {
        let packed = packed.then(|| archive::path_of(&folder));
        if let Some(there) = [Some(&folder), packed.as_ref()].into_iter().flatten().find(|path| path.exists()) {
            return Err(taken(there));
        }
        let faulty = |error: io::Error| machine(&folder, &error);
        let work = Part::beside(&folder).map_err(faulty)?;
        Ok(Self { work, folder, packed })
    }

    /// Where its files are put.
    pub fn work(&self) -> &Path {
        self.work.folder()
    }

    /// Lists the files that were put there, by their paths with checksums, and gives folder and packed file their names.
    /// Returns both.
    pub fn send(self, files: &[(String, String)]) -> Result<(PathBuf, Option<PathBuf>), Fault> {
        let Self { work, folder, packed } = self;
        let faulty = |error: io::Error| machine(&folder, &error);
        let mut sums = String::new();
        for (name, sha256) in files {
            let _ = writeln!(sums, "{sha256}  {name}");
        }
        fs::write(work.folder().join(SUMS), sums).map_err(faulty)?;
        let archive =
            packed.as_ref().map(|_| archive::pack(work.folder(), &folder, files)).transpose().map_err(faulty)?;
        // Another run may have made it meanwhile.
        work.publish(&folder).map_err(|error| if folder.exists() { taken(&folder) } else { faulty(error) })?;
        if let (Some(path), Some(archive)) = (&packed, archive) {
            archive.persist_noclobber(path).map_err(|error| machine(path, &error.error))?;
        }
        Ok((folder, packed))
    }
}

fn taken(folder: &Path) -> Fault {
    let at = folder.display().to_string();
    let remedy = "Name another folder with --to, or move that one away.".to_owned();
    Fault::input("file-exists", &at, format!("{at} exists already; nothing is overwritten."), remedy)
}
