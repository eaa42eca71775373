//! The handover: a folder with a revision's files, the documents that go with them, and checksums that standard tools
//! verify (`sha256sum -c SHA256SUMS`). What is not finished is not handed over.
//!
//! What a delivery holds follows the association recommendation for the delivery of recorded music: files of full
//! resolution without processing that cannot be undone, labels, documentation of the session, a checksum for each file.

mod archive;
mod parcel;
mod verify;

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use engine::Fault;
use serde::Serialize;
use sheet::{Print, Sheet};
use units::typeset;

use crate::files::sha256_of;
use crate::history::{self, Past, PastFile, PastReport};
use crate::load::{folder_of, revisions_of};
use crate::names::folder_name;
use crate::recall;
use crate::revision::machine;

pub(crate) use parcel::Parcel;
pub use verify::verify;

/// Name of the list of checksums.
pub const SUMS: &str = "SHA256SUMS";

/// What to hand over.
pub struct Delivery<'a> {
    /// The sheet's file.
    pub sheet: &'a Path,
    /// Folder of revisions; `prints` beside the sheet when none.
    pub out: Option<&'a Path>,
    /// The revision; the newest when none.
    pub revision: Option<&'a str>,
    /// The folder to make; `handover/TITLE REVISION` beside the sheet when none.
    pub to: Option<&'a Path>,
    /// Whether to pack it into one file beside the folder, too.
    pub packed: bool,
    /// Lines about approval, for the letter.
    pub approvals: &'a [String],
}

/// What was handed over.
#[derive(Debug, Serialize)]
pub struct Handed {
    /// The folder.
    pub folder: PathBuf,
    /// The same in one file, if that was asked for.
    pub packed: Option<PathBuf>,
    /// The revision.
    pub revision: String,
    /// Every file in it, by its path there, with its checksum.
    pub files: Vec<(String, String)>,
}

/// Makes the folder, whole or not at all.
///
/// # Errors
/// The revision is not there, not finished, or not what its report says; the folder exists or cannot be written.
pub fn hand_over(delivery: &Delivery<'_>) -> Result<Handed, Fault> {
    let out = revisions_of(delivery.sheet, delivery.out);
    let (past, report) = history::find(&out, delivery.revision)?;
    refuse_unfinished(&past, &report)?;
    let loaded = crate::load::load(&past.folder.join("sheet.toml"))?;
    let sheet = loaded.sheet.as_ref().ok_or_else(|| {
        let message = format!("The sheet of {} cannot be read any more.", past.name);
        Fault::input("damaged-revision", &past.name, message, "Print again.".to_owned())
    })?;
    let usual =
        || folder_of(delivery.sheet).join("handover").join(format!("{} {}", folder_name(&report.title), past.name));
    let folder = delivery.to.map_or_else(usual, Path::to_owned);
    let parcel = Parcel::begin(folder, delivery.packed)?;
    let mut files = copied(&past, &report, parcel.work())?;
    files.extend(documents(&past, &report, (sheet, &loaded.text), delivery.approvals, parcel.work())?);
    files.sort();
    let (folder, packed) = parcel.send(&files)?;
    Ok(Handed { folder, packed, revision: past.name, files })
}

fn refuse_unfinished(past: &Past, report: &PastReport) -> Result<(), Fault> {
    let sentence = match &report.verdict {
        Some(verdict) if verdict.finished => return Ok(()),
        Some(verdict) => verdict.sentence.clone(),
        None => "Its report holds no verdict: an older program has printed it.".to_owned(),
    };
    let message = format!("{} is not finished. {sentence}", past.name);
    let remedy = "Mend what stands in the way or accept it in the sheet with a reason, and print again.".to_owned();
    Err(Fault::input("not-finished", &past.name, message, remedy))
}

/// Copies the audio; each file must still be what its report says.
fn copied(past: &Past, report: &PastReport, to: &Path) -> Result<Vec<(String, String)>, Fault> {
    let audio = to.join("audio");
    fs::create_dir(&audio).map_err(|error| machine(&audio, &error))?;
    let mut files = Vec::new();
    for file in &report.prints {
        let name = file.file_name();
        let (from, there) = (past.folder.join(name), audio.join(name));
        fs::copy(&from, &there).map_err(|error| machine(&from, &error))?;
        let sha256 = sha256_of(&there).map_err(|error| machine(&there, &error))?;
        if sha256 != file.sha256 {
            let message = format!("{name} is not the file that {} has printed: its checksum differs.", past.name);
            let remedy = "Put the file back, or print again.".to_owned();
            return Err(Fault::input("print-changed", name, message, remedy));
        }
        files.push((format!("audio/{name}"), sha256));
    }
    Ok(files)
}

fn documents(
    past: &Past,
    report: &PastReport,
    (sheet, text): (&Sheet, &str),
    approvals: &[String],
    to: &Path,
) -> Result<Vec<(String, String)>, Fault> {
    let folder = to.join("documents");
    fs::create_dir(&folder).map_err(|error| machine(&folder, &error))?;
    let html = fs::read_to_string(past.folder.join("report.html")).map_err(|error| machine(&past.folder, &error))?;
    let documents = [
        ("documents/report.html", html),
        ("documents/recall.html", recall::html(sheet, &past.name)),
        ("documents/sheet.toml", text.to_owned()),
        ("letter.txt", letter(past, report, sheet, approvals)),
    ];
    let mut files = Vec::new();
    for (name, text) in documents {
        let path = to.join(name);
        fs::write(&path, text).map_err(|error| machine(&path, &error))?;
        files.push((name.to_owned(), sha256_of(&path).map_err(|error| machine(&path, &error))?));
    }
    Ok(files)
}

/// The letter to whoever takes over.
fn letter(past: &Past, report: &PastReport, sheet: &Sheet, approvals: &[String]) -> String {
    let mut text = format!(
        "{} by {}\nMix revision {}, printed {} by Fairprint {}.\n\nThese files go with this letter:\n\n",
        report.title, report.artist, past.name, report.date, report.engine
    );
    for file in &report.prints {
        let _ = writeln!(text, "  {}\n      {}", file.file_name(), file_in_words(file));
    }
    for print in &sheet.prints {
        let _ = write!(text, "\n{}", on_the_bus(print));
    }
    if !report.accepted.is_empty() {
        text.push_str("\nKnown, and meant to be so:\n\n");
        for accepted in &report.accepted {
            let _ = writeln!(text, "  {}: {} {}", accepted.finding.at, accepted.finding.message, accepted.reason);
        }
    }
    if !approvals.is_empty() {
        text.push_str("\nApproved:\n\n");
        for line in approvals {
            let _ = writeln!(text, "  {line}");
        }
    }
    let mixer = sheet.song.mixer.as_ref().map(|name| format!("Mixed by {name}."));
    let contact = sheet.song.contact.as_ref().map(|contact| format!("Questions to {contact}."));
    let signature: Vec<String> = mixer.into_iter().chain(contact).collect();
    if !signature.is_empty() {
        let _ = writeln!(text, "\n{}", signature.join(" "));
    }
    let _ = write!(
        text,
        "\nTo check that everything arrived as it left: `sha256sum -c {SUMS}` in this folder, or\n`fairprint handover \
         --verify` with it. A loud print plays far above a mix: turn monitors down first.\n"
    );
    typeset(&text)
}

fn file_in_words(file: &PastFile) -> String {
    let figure = |value: Option<f64>, unit: &str| value.map(|value| format!("{value:.1} {unit}"));
    let measures = &file.measures;
    let figures = [
        figure(measures.integrated_lufs, "LUFS integrated"),
        figure(measures.loudness_range_lu, "LU range"),
        figure(measures.true_peak_dbtp, "dBTP"),
    ];
    let figures: Vec<String> = figures.into_iter().flatten().collect();
    format!("{}, {}: {}", file.name, file.format, figures.join(", "))
}

/// What is on a print's own chain.
fn on_the_bus(print: &Print) -> String {
    let links: Vec<String> = print
        .chain
        .iter()
        .filter(|link| !link.off)
        .map(|link| format!("  {}: {}", link.settings.spec().title, link.settings.whole_sentence()))
        .collect();
    if links.is_empty() {
        return format!("Nothing is on the bus of “{}”: its dynamics are those of the mix.\n", print.name);
    }
    format!("On the bus of “{}”:\n\n{}\n", print.name, links.join("\n"))
}
