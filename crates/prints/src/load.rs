//! A sheet from its file to a plan.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use engine::{Fault, Folder, Plan};
use sheet::Sheet;
use units::{Problem, Severity};

use crate::findings;
use crate::revision::machine;

/// A sheet that was read, with its text for messages that point into it.
pub struct Loaded {
    /// Where it lies.
    pub path: PathBuf,
    folder: PathBuf,
    /// Its text.
    pub text: String,
    /// What it says; none if something in it must be mended first.
    pub sheet: Option<Sheet>,
    /// What is wrong with it or worth knowing, the worst first.
    pub problems: Vec<Problem>,
}

impl Loaded {
    /// Whether nothing in it stands in the way of a print.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.sheet.is_some() && self.problems.iter().all(|problem| problem.severity != Severity::Fail)
    }

    /// The folder that its files are named from.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }
}

/// Reads and checks a sheet.
///
/// # Errors
/// The file cannot be read.
pub fn load(path: &Path) -> Result<Loaded, Fault> {
    load_within(folder_of(path), path)
}

/// The folder that the files of a sheet are named from: its own.
#[must_use]
pub fn folder_of(sheet: &Path) -> &Path {
    sheet.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// The folder of a sheet's revisions: the one that was named, or `prints` beside the sheet.
#[must_use]
pub fn revisions_of(sheet: &Path, named: Option<&Path>) -> PathBuf {
    named.map_or_else(|| folder_of(sheet).join("prints"), Path::to_owned)
}

/// Reads and checks a sheet that was put elsewhere than where its files are named from.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn load_within(folder: &Path, path: &Path) -> Result<Loaded, Fault> {
    let name = path.display().to_string();
    let bytes = fs::read(path).map_err(|error| {
        if path.is_dir() {
            let remedy = "Name the sheet of a song, or make one from a folder of stems: `fairprint intake FOLDER`.";
            let place = if name == "." { "this folder" } else { &name };
            return Fault::input(
                "cannot-read",
                &name,
                format!("There is no sheet.toml in {place}."),
                remedy.to_owned(),
            );
        }
        let remedy = "Name the sheet of a song, for instance `song/sheet.toml`.".to_owned();
        Fault::input("cannot-read", &name, format!("{name} cannot be read: {error}."), remedy)
    })?;
    let text = String::from_utf8(bytes).map_err(|_| {
        let remedy = "Save the sheet as plain text in UTF-8.".to_owned();
        Fault::input("not-text", &name, format!("{name} is not text."), remedy)
    })?;
    let (sheet, problems) = sheet::read(&text, &engine::specs());
    Ok(Loaded { path: path.to_owned(), folder: folder.to_owned(), text, sheet, problems })
}

/// Puts a text in a sheet's place in one step, so that a fault of the machine leaves the old one.
///
/// # Errors
/// The folder cannot be written to.
pub fn save(path: &Path, text: &str) -> Result<(), Fault> {
    put(path, text.as_bytes()).map_err(|error| machine(path, &error))
}

/// Puts bytes in a file's place in one step. What a killed writer leaves is hidden and ends in `.part`.
///
/// # Errors
/// The folder cannot be written to.
pub fn put(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut hidden = tempfile::Builder::new();
    hidden.prefix(".").suffix(".part");
    // A temporary file is for its writer only; this one is for all who may read the folder.
    #[cfg(unix)]
    hidden.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = hidden.tempfile_in(folder_of(path))?;
    file.write_all(bytes)?;
    if let Ok(there) = fs::metadata(path) {
        file.as_file().set_permissions(there.permissions())?;
    }
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    Ok(())
}

/// Compiles a sound sheet. Files that cannot be used and processors that cannot be built are added to its problems, and
/// so is what the plan alone gives away.
pub fn plan(loaded: &mut Loaded) -> Option<(Plan, Folder)> {
    let sheet = loaded.sheet.as_ref()?;
    let folder = Folder::new(loaded.folder(), sheet.song.rate_hz);
    match engine::compile(sheet, &folder) {
        Ok(plan) => {
            let mut found = findings::of_plan(&plan);
            sheet::accept(sheet, &mut found);
            loaded.problems.extend(found);
            Some((plan, folder))
        }
        Err(problems) => {
            loaded.problems.extend(problems);
            None
        }
    }
}
