//! A record: its songs printed side by side, in one table, and handed over as one.
//!
//! Each song keeps its own sheet and revisions; the record holds them against each other: labels, loudness, tone, space.

mod table;

use std::collections::HashMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use engine::Fault;
use serde::Serialize;
use sheet::Album;
use units::{Problem, Severity, format_time};

pub use table::{Figures, Row};

use crate::files::sha256_of;
use crate::handover::{self, Delivery, Handed, Parcel, SUMS};
use crate::history::{self, PastReport};
use crate::load::{self, folder_of, revisions_of};
use crate::names::folder_name;
use crate::parallel::in_parallel;
use crate::print::{self, Stopped};
use crate::revision::machine;

/// What to do with a record.
pub struct Order<'a> {
    /// The album's file.
    pub album: &'a Path,
    /// Whether to take the newest revisions instead of printing.
    pub as_printed: bool,
    /// Threads to share the work among.
    pub threads: usize,
    /// Told what is going on and which part of it is done.
    pub progress: &'a (dyn Fn(&str, f64) + Sync),
}

/// A record and its songs.
#[derive(Debug, Serialize)]
pub struct Record {
    /// Its title.
    pub title: String,
    /// Who performs it.
    pub artist: String,
    /// The print of each song that stands on it.
    pub print: String,
    /// The songs, in order.
    pub songs: Vec<Row>,
    /// What was found of the record as a whole, and why a song is not there.
    pub findings: Vec<Problem>,
    /// Whether every song's set may go out.
    pub finished: bool,
}

/// Why there is no record.
pub enum Failed {
    /// The album's text must be mended first: text and problems.
    Text(String, Vec<Problem>),
    /// A file or the machine stood in the way.
    Fault(Fault),
}

impl From<Fault> for Failed {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

/// Prints the songs of a record, several at once, and lays them side by side.
///
/// # Errors
/// The album cannot be read, or the machine failed. A song that cannot be printed is a finding.
pub fn album(order: &Order<'_>) -> Result<Record, Failed> {
    let album = read(order.album)?;
    let sheets: Vec<PathBuf> = album.songs.iter().map(|song| folder_of(order.album).join(song.as_str())).collect();
    let at_once = order.threads.min(sheets.len()).max(1);
    let threads = (order.threads / at_once).max(1);
    let done = std::sync::atomic::AtomicUsize::new(0);
    let printed = in_parallel(at_once, &sheets, |sheet| {
        let fault = if order.as_printed { None } else { print_song(sheet, threads)? };
        let done = 1 + done.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        (order.progress)("Printing songs", done as f64 / sheets.len() as f64);
        Ok(fault)
    })?;
    let mut record = Record {
        title: album.title.clone(),
        artist: album.artist.clone(),
        print: album.print.clone(),
        songs: Vec::new(),
        findings: Vec::new(),
        finished: true,
    };
    for ((index, sheet), missing) in sheets.iter().enumerate().zip(printed) {
        let row = match missing {
            Some(problem) => Err(Box::new(problem)),
            None => row(index + 1, sheet, &album),
        };
        match row {
            Ok(row) => record.songs.push(row),
            Err(problem) => record.findings.push(not_there(album.songs[index].as_str(), &problem)),
        }
    }
    record.findings.extend(of_labels(&record, &sheets));
    record.findings.extend(table::outliers(&record.songs));
    record.finished = record.songs.len() == sheets.len() && record.songs.iter().all(|row| row.finished);
    record.findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Ok(record)
}

fn read(path: &Path) -> Result<Album, Failed> {
    let name = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| {
        let remedy = "Name the file of an album: docs/album.md shows one.".to_owned();
        Fault::input("cannot-read", &name, format!("{name} cannot be read: {error}."), remedy)
    })?;
    let (album, problems) = sheet::read_album(&text);
    album.ok_or(Failed::Text(text, problems))
}

/// Prints a song; tells what stands in the way of it, unless that is the machine.
fn print_song(sheet: &Path, threads: usize) -> Result<Option<Problem>, Fault> {
    match print::print(&print::Order::of(sheet, threads)) {
        Ok(_) => Ok(None),
        Err(Stopped::Fault(Fault::Input(problem))) => Ok(Some(*problem)),
        Err(Stopped::Fault(fault)) => Err(fault),
        Err(Stopped::Sheet(loaded)) => Ok(loaded.problems.into_iter().next()),
    }
}

/// The newest revision of a song as a row of the table.
fn row(number: usize, sheet: &Path, album: &Album) -> Result<Row, Box<Problem>> {
    if !sheet.exists() {
        let message = format!("There is no sheet at {}.", sheet.display());
        let remedy = "Correct its path in the album, as seen from the album's folder.".to_owned();
        return Err(Box::new(Problem::new(
            Severity::Fail,
            "cannot-read",
            &sheet.display().to_string(),
            message,
            remedy,
        )));
    }
    let (past, report) =
        history::find(&revisions_of(sheet, None), None).map_err(|fault| Box::new(fault.into_problem()))?;
    let Some(file) = report.prints.iter().find(|file| file.name == album.print) else {
        let message = format!("It has no print called “{}”.", album.print);
        let remedy = "Name a print that every song has in the album.".to_owned();
        return Err(Box::new(Problem::new(Severity::Fail, "unknown-print", &past.name, message, remedy)));
    };
    Ok(Row {
        number,
        title: report.title.clone(),
        revision: past.name.clone(),
        secs: report.frames as f64 / f64::from(report.rate_hz),
        file: file.file_name().to_owned(),
        figures: Figures::of(&file.measures),
        finished: report.verdict.as_ref().is_some_and(|verdict| verdict.finished),
        rate_hz: report.rate_hz,
        format: file.format.clone(),
        artist: report.artist,
    })
}

fn not_there(sheet: &str, problem: &Problem) -> Problem {
    let message = format!("It is not on the record: {}", problem.message);
    Problem::new(Severity::Fail, "song-missing", sheet, message, problem.remedy.clone())
}

/// Whether the songs' labels fit the record and each other.
fn of_labels(record: &Record, sheets: &[PathBuf]) -> Vec<Problem> {
    let mut found = Vec::new();
    let mut warn = |at: &str, message: String, remedy: &str| {
        found.push(Problem::new(Severity::Warn, "record-labels", at, message, remedy.to_owned()));
    };
    let mut codes: HashMap<String, String> = HashMap::new();
    for row in &record.songs {
        if !record.artist.is_empty() && row.artist != record.artist {
            let message = format!("Its artist is “{}”, that of the record “{}”.", row.artist, record.artist);
            warn(&row.title, message, "Write both alike, or name no artist for the record.");
        }
        let loaded = load::load(&sheets[row.number - 1]).ok().and_then(|loaded| loaded.sheet);
        let Some(song) = loaded.map(|sheet| sheet.song) else { continue };
        if song.album.as_deref() != Some(record.title.as_str()) {
            let named = song.album.map_or_else(|| "no album".to_owned(), |album| format!("the album “{album}”"));
            let message = format!("Its sheet names {named}, the record is “{}”.", record.title);
            warn(&row.title, message, "Write the record's title as `album` of the song.");
        }
        let other = song.isrc.and_then(|isrc| codes.insert(isrc, row.title.clone()));
        if let Some(other) = other {
            let message = format!("It has the recording code of “{other}”.");
            warn(&row.title, message, "Each recording has a code of its own (ISO 3901).");
        }
    }
    if let Some(first) = record.songs.first() {
        for row in record.songs.iter().filter(|row| row.rate_hz != first.rate_hz || row.format != first.format) {
            let message = format!("Its print is {}, that of “{}” {}.", row.format, first.title, first.format);
            warn(&row.title, message, "Give the songs of a record one rate and format.");
        }
    }
    found
}

/// Lines about who has approved a song's revision: from its sheet and report.
pub type Approvals = dyn Fn(&Path, &PastReport) -> Result<Vec<String>, Fault>;

/// How a record goes out.
pub struct Shipment<'a> {
    /// The album's file.
    pub album: &'a Path,
    /// The folder to make; `handover/TITLE` beside the album when none.
    pub to: Option<&'a Path>,
    /// Whether to pack it into one file beside the folder, too.
    pub packed: bool,
    /// Lines about approval of a song, for its letter.
    pub approvals: &'a Approvals,
}

/// Hands over all songs of a finished record in one folder: a folder for each song in the order of the record, a list
/// of the songs, and one list of checksums for everything.
///
/// # Errors
/// The record is not finished, or a song's revision is not what its report says; the folder exists or cannot be written.
pub fn hand_over(shipment: &Shipment<'_>, record: &Record) -> Result<Handed, Failed> {
    if !record.finished {
        let left = record.songs.iter().filter(|row| !row.finished).map(|row| row.title.as_str()).collect::<Vec<_>>();
        let message = format!("The record is not finished. {}", left.join(", "));
        let remedy = "Mend what stands in the way of each song, and print again.".to_owned();
        return Err(Fault::input("not-finished", &record.title, message, remedy).into());
    }
    let album = read(shipment.album)?;
    let usual = || folder_of(shipment.album).join("handover").join(folder_name(&record.title));
    let folder = shipment.to.map_or_else(usual, Path::to_owned);
    let parcel = Parcel::begin(folder, shipment.packed)?;
    let faulty = |error: std::io::Error| machine(parcel.work(), &error);
    let mut files = Vec::new();
    for (row, sheet) in record.songs.iter().zip(&album.songs) {
        let sheet = folder_of(shipment.album).join(sheet.as_str());
        let (_, report) = history::find(&revisions_of(&sheet, None), Some(&row.revision))?;
        let approvals = (shipment.approvals)(&sheet, &report)?;
        let name = format!("{:02} {}", row.number, folder_name(&row.title));
        let delivery = Delivery {
            sheet: &sheet,
            out: None,
            revision: Some(&row.revision),
            to: Some(&parcel.work().join(&name)),
            packed: false,
            approvals: &approvals,
        };
        let handed = handover::hand_over(&delivery)?;
        files.extend(handed.files.into_iter().map(|(file, sum)| (format!("{name}/{file}"), sum)));
        let sums = format!("{name}/{SUMS}");
        files.push((sums.clone(), sha256_of(&parcel.work().join(&sums)).map_err(faulty)?));
    }
    fs::write(parcel.work().join(LIST), in_words(record)).map_err(faulty)?;
    files.push((LIST.to_owned(), sha256_of(&parcel.work().join(LIST)).map_err(faulty)?));
    files.sort();
    let (folder, packed) = parcel.send(&files)?;
    let revision = record.songs.iter().map(|row| row.revision.as_str()).collect::<Vec<_>>().join(", ");
    Ok(Handed { folder, packed, revision, files })
}

/// Name of the list of songs.
const LIST: &str = "songs.txt";

/// The record as a list of its songs.
fn in_words(record: &Record) -> String {
    let mut text = format!("{} by {}\n\n", record.title, record.artist);
    for row in &record.songs {
        let _ =
            writeln!(text, "{:2}  {}  {}  {}", row.number, row.title, format_time(row.secs), row.figures.in_words());
    }
    let total: f64 = record.songs.iter().map(|row| row.secs).sum();
    let _ = writeln!(
        text,
        "\n{}, {} without gaps. The print of each: {}.",
        units::counted(record.songs.len(), "song"),
        format_time(total),
        record.print
    );
    for finding in &record.findings {
        let _ = writeln!(text, "{}: {}", finding.at, finding.message);
    }
    units::typeset(&text)
}
