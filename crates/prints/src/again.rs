//! A revision printed once more: whether its sheet still gives the same bytes, and which recordings have changed since.
//!
//! The run takes the exact sheet of the revision, its date, label and number, and the recordings as they are now. Its files
//! are compared with the checksums in the report and then dropped.

use engine::Fault;
use serde::Serialize;

use crate::history::{self, SourceChange};
use crate::labels::Moment;
use crate::load;
use crate::print::{self, Order, Stopped};
use crate::revision::Revision;

/// What became of a revision that was printed once more.
#[derive(Debug, Serialize)]
pub struct Again {
    /// Its name: `r001`.
    pub revision: String,
    /// Whether every file has the bytes that it had.
    pub same: bool,
    /// Its files.
    pub files: Vec<FileAgain>,
    /// Recordings that are no longer what they were.
    pub sources: Vec<SourceChange>,
    /// Versions of the program, then and now.
    pub engines: [String; 2],
}

/// A file of a revision, printed once more.
#[derive(Debug, Serialize)]
pub struct FileAgain {
    /// Its name in the folder of the revision.
    pub name: String,
    /// Whether it has the bytes that it had.
    pub same: bool,
}

/// Prints a revision of a sheet once more. Of the order, `only` and `label` are those of the revision.
///
/// # Errors
/// The revision is not there or damaged, or its sheet cannot be printed any more.
pub fn again(order: &Order<'_>, name: &str) -> Result<Again, Stopped> {
    let out = order.revisions();
    let (past, reported) = history::find(&out, Some(name))?;
    let damaged = |what: &str| {
        let remedy = "Print the sheet of that folder anew.".to_owned();
        Fault::input("damaged-revision", name, format!("The report of {name} has no {what}."), remedy)
    };
    let moment = Moment::of_report(&reported.date).ok_or_else(|| damaged("date"))?;
    let number = name.trim_start_matches('r').parse().map_err(|_| damaged("number"))?;
    let loaded = load::load_within(load::folder_of(order.sheet), &past.folder.join("sheet.toml"))?;
    let left_out = reported.verdict.map(|verdict| verdict.not_printed).unwrap_or_default();
    let wanted = loaded.sheet.iter().flat_map(print::names_of).map(str::to_owned);
    let only: Vec<String> = wanted.filter(|name| !left_out.contains(name)).collect();
    let order = Order { only: &only, label: reported.label.as_deref(), reuse_bytes: None, ..*order };
    let made = print::make(&order, loaded, moment, &|| Revision::again(&out, number))?;
    let same = |file: &history::PastFile| {
        made.report
            .prints
            .iter()
            .any(|now| print::file_name_of(now).as_os_str() == file.file_name() && now.sha256 == file.sha256)
    };
    let of_file = |file: &history::PastFile| FileAgain { name: file.file_name().to_owned(), same: same(file) };
    let files: Vec<FileAgain> = reported.prints.iter().map(of_file).collect();
    Ok(Again {
        revision: past.name,
        same: files.len() == made.report.prints.len() && files.iter().all(|file| file.same),
        files,
        sources: history::source_changes(&reported.sources, &made.report.sources),
        engines: [reported.engine, made.report.engine.to_owned()],
    })
}
