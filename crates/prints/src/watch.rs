//! Whether the recordings stay as they are while a print is made of them.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use engine::Fault;
use sheet::Sheet;

use crate::load::Loaded;

/// How a file stood: length, and when it was last written to; none while it is not there.
type Stand = Option<(u64, Option<SystemTime>)>;

/// The recordings of a sheet, as they stood when a run began.
pub(crate) struct Watch {
    stands: Vec<(String, PathBuf, Stand)>,
}

impl Watch {
    /// Looks at all recordings that a sheet names.
    pub(crate) fn begin(loaded: &Loaded) -> Self {
        let stand = |file: &str| {
            let path = loaded.folder().join(file);
            let stand = stand_of(&path);
            (file.to_owned(), path, stand)
        };
        Self { stands: loaded.sheet.iter().flat_map(Sheet::files).map(stand).collect() }
    }

    /// Looks again.
    ///
    /// # Errors
    /// A recording is not as it was: some of what was printed may be of the old one and some of the new.
    pub(crate) fn end(&self) -> Result<(), Fault> {
        let Some((file, ..)) = self.stands.iter().find(|(_, path, stand)| stand_of(path) != *stand) else {
            return Ok(());
        };
        let message = format!("{file} changed while it was being printed; nothing was kept.");
        let remedy = "Wait until it is copied or exported to its end, then print again.".to_owned();
        Err(Fault::input("source-changed", file, message, remedy))
    }
}

fn stand_of(path: &Path) -> Stand {
    fs::metadata(path).ok().map(|facts| (facts.len(), facts.modified().ok()))
}
