//! What can be typed.

use std::path::PathBuf;

use clap::builder::{PathBufValueParser, TypedValueParser};
use clap::{Parser, Subcommand};

/// A sheet: where a folder is named that holds one, that one.
fn sheet() -> impl TypedValueParser<Value = PathBuf> {
    PathBufValueParser::new()
        .map(|path| Some(path.join("sheet.toml")).filter(|inside| inside.is_file()).unwrap_or(path))
}

/// The finishing bench for people who mix records: from balanced stems to prints that are measured, fair to compare and
/// ready to hand over.
#[derive(Debug, Parser)]
#[command(name = "fairprint", version, disable_help_subcommand = true)]
pub struct Args {
    /// Write one JSON object to standard output; text for people goes to standard error.
    #[arg(long, global = true)]
    pub json: bool,
    /// Say nothing but errors.
    #[arg(long, global = true)]
    pub quiet: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Make the demo song (stems, a rough mix, a sheet) and print it, end to end.
    Demo(DemoArgs),
    /// Check every file in a folder of stems; write findings and a starter sheet.
    Intake(IntakeArgs),
    /// Check a sheet and its routing without rendering.
    Check(CheckArgs),
    /// Render a sheet's prints, measure them, reach their loudness, write the report.
    Print(PrintArgs),
    /// Measure audio files: loudness, range, peaks, crest, correlation, spectrum.
    Measure(MeasureArgs),
    /// Compare fairly, aligned and at matched loudness: files, revisions, a print with and without a part, references.
    Compare(CompareArgs),
    /// Listen to a sheet and say what each path adds, and where it does harm.
    Advise(AdviseArgs),
    /// Open the live page: hear the song through the engine that prints it, see what flows where, move things.
    Desk(DeskArgs),
    /// List revisions, or say what changed between two: settings, recordings, sound.
    History(HistoryArgs),
    /// Make the delivery folder of a finished revision, or check one that has arrived.
    Handover(HandoverArgs),
    /// Print the songs of a record side by side, say which stand apart, hand all of them over as one.
    Album(AlbumArgs),
    /// List starting points: complete chains for tasks, each with what it does to the demo song.
    Starts(StartsArgs),
    /// Write the page on which the artist listens, notes and approves.
    Listen(ListenArgs),
    /// Take in the notes that listeners send back, list them, answer them.
    Notes(NotesArgs),
    /// Write the reference: a page for each processor, with figures measured from it.
    Reference(ReferenceArgs),
    /// Write the JSON Schema of the sheet.
    Schema,
    /// Write manual pages and completions for shells.
    Manual(ManualArgs),
}

// A comment of the documentation would stand as the sentence of every command that takes these.
#[derive(Clone, Copy, Debug, Default, clap::Args)]
pub struct Threads {
    /// Threads to use; one for each core of the machine when not given.
    #[arg(long)]
    threads: Option<usize>,
}

impl Threads {
    /// How many threads work.
    pub fn count(self) -> usize {
        let cores = || std::thread::available_parallelism().map_or(1, usize::from);
        self.threads.unwrap_or_else(cores).max(1)
    }
}

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
pub struct DemoArgs {
    /// Folder to make.
    #[arg(default_value = "demo-song")]
    pub dir: PathBuf,
    #[command(flatten)]
    pub threads: Threads,
}

/// Arguments of `intake`.
#[derive(Debug, clap::Args)]
pub struct IntakeArgs {
    /// Folder of stems.
    pub folder: PathBuf,
    /// Where to write the starter sheet; `FOLDER/sheet.toml` when not given.
    #[arg(long, value_name = "FILE")]
    pub sheet: Option<PathBuf>,
}

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
pub struct CheckArgs {
    /// The sheet, or the folder that it lies in.
    #[arg(value_parser = sheet(), default_value = ".")]
    pub sheet: PathBuf,
    /// Show the plan: steps in order, latencies, alignment.
    #[arg(long)]
    pub plan: bool,
}

/// Arguments of `print`.
#[derive(Debug, clap::Args)]
pub struct PrintArgs {
    /// The sheet, or the folder that it lies in.
    #[arg(value_parser = sheet(), default_value = ".")]
    pub sheet: PathBuf,
    /// Print only this one; may be repeated.
    #[arg(long, value_name = "NAME")]
    pub only: Vec<String>,
    /// Folder of revisions; `prints` beside the sheet when not given.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// What to call this run, for instance `vocal notes in`.
    #[arg(long, value_name = "TEXT")]
    pub label: Option<String>,
    /// Use the work of earlier runs again and keep this one's, in so many gigabytes beside the revisions: the same files,
    /// sooner.
    #[arg(long, value_name = "GB", num_args = 0..=1, require_equals = true, default_missing_value = "4", value_parser = gigabytes)]
    pub reuse: Option<f64>,
    /// Print this revision once more from its own sheet, say whether its files come out the same, and keep nothing.
    #[arg(long, value_name = "REVISION", conflicts_with_all = ["only", "label", "reuse"])]
    pub again: Option<String>,
    #[command(flatten)]
    pub threads: Threads,
}

/// A size that a folder may have.
fn gigabytes(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(gb) if (0.0..=1e6).contains(&gb) => Ok(gb),
        _ => Err("a size in gigabytes is a number from 0, for instance 2.5".to_owned()),
    }
}

/// Arguments of `measure`.
#[derive(Debug, clap::Args)]
pub struct MeasureArgs {
    /// Audio files.
    #[arg(required = true)]
    pub files: Vec<PathBuf>,
}

/// Arguments of `compare`.
#[derive(Debug, clap::Args)]
#[command(override_usage = "\
fairprint compare FILE FILE
       fairprint compare FILE --against FILE...
       fairprint compare --sheet SHEET r001 r002 [--print NAME]
       fairprint compare --sheet SHEET --print NAME --without NAME")]
pub struct CompareArgs {
    /// Audio files; with a sheet also two of its revisions (`r001 r002`), or names of its prints as last printed.
    #[arg(value_name = "A B", num_args = 0..=2)]
    pub programmes: Vec<String>,
    /// Recordings to stand against; with a sheet also names of its references.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub against: Vec<String>,
    /// The sheet whose prints are meant.
    #[arg(long, value_name = "SHEET")]
    pub sheet: Option<PathBuf>,
    /// The print that is meant.
    #[arg(long, value_name = "NAME", requires = "sheet")]
    pub print: Option<String>,
    /// Render the print with and without this stem, bus or return, or processor (`NAME, equaliser 2`).
    #[arg(long, value_name = "NAME", requires = "print", conflicts_with_all = ["programmes", "against"])]
    pub without: Option<String>,
    /// Folder of revisions; `prints` beside the sheet when not given.
    #[arg(long, value_name = "DIR", requires = "sheet")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub threads: Threads,
}

/// Arguments of `advise`.
#[derive(Debug, clap::Args)]
pub struct AdviseArgs {
    /// The sheet, or the folder that it lies in.
    #[arg(value_parser = sheet(), default_value = ".")]
    pub sheet: PathBuf,
    /// Write a page with all figures here.
    #[arg(long, value_name = "FILE")]
    pub page: Option<PathBuf>,
    /// Write what a codec adds to the first loud print and takes from it here, as 32-bit WAV.
    #[arg(long, value_name = "FILE")]
    pub residual: Option<PathBuf>,
    /// Write short files here that let one hear how the loud print travels: mono, small speaker, far, side only, soft.
    #[arg(long, value_name = "DIR")]
    pub hear: Option<PathBuf>,
    #[command(flatten)]
    pub threads: Threads,
}

/// Arguments of `desk`.
#[derive(Debug, clap::Args)]
pub struct DeskArgs {
    /// The sheet, or the folder that it lies in.
    #[arg(value_parser = sheet(), default_value = ".")]
    pub sheet: PathBuf,
    /// Port at which this machine finds the page; any free one when not given.
    #[arg(long, default_value_t = 0)]
    pub port: u16,
    /// Print the link only.
    #[arg(long)]
    pub no_browser: bool,
    /// Play on a sound device of this machine, not in the page: part of its name, or the machine's own choice. Programs that
    /// were built with `--features device` have it.
    #[arg(long, value_name = "NAME", num_args = 0..=1, require_equals = true, default_missing_value = "")]
    pub device: Option<String>,
    #[command(flatten)]
    pub threads: Threads,
}

/// Arguments of `history`.
#[derive(Debug, clap::Args)]
pub struct HistoryArgs {
    /// The sheet, or the folder that it lies in.
    #[arg(value_parser = sheet(), default_value = ".")]
    pub sheet: PathBuf,
    /// Two revisions: `r001 r002`.
    #[arg(value_name = "A B", num_args = 0..=2)]
    pub revisions: Vec<String>,
    /// Folder of revisions; `prints` beside the sheet when not given.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub threads: Threads,
}

/// Arguments of `handover`.
#[derive(Debug, clap::Args)]
pub struct HandoverArgs {
    /// The sheet, or the folder that it lies in; with `--verify` a folder or ZIP file that has arrived.
    #[arg(value_name = "SHEET", value_parser = sheet(), default_value = ".")]
    pub subject: PathBuf,
    /// The revision; the latest when not given.
    #[arg(long, value_name = "NAME")]
    pub revision: Option<String>,
    /// Folder to make; `handover/TITLE REVISION` beside the sheet when not given.
    #[arg(long, value_name = "DIR")]
    pub to: Option<PathBuf>,
    /// Folder of revisions; `prints` beside the sheet when not given.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Pack the folder into one ZIP file beside it, too.
    #[arg(long)]
    pub zip: bool,
    /// Check a folder, or its ZIP file, that has arrived against its checksums.
    #[arg(long, conflicts_with_all = ["revision", "to", "out", "zip"])]
    pub verify: bool,
}

/// Arguments of `album`.
#[derive(Debug, clap::Args)]
pub struct AlbumArgs {
    /// The album: a text that names the sheets of its songs in order.
    pub album: PathBuf,
    /// Take the latest revision of each song instead of printing.
    #[arg(long)]
    pub as_printed: bool,
    /// Make one delivery folder of all songs, if the record is finished.
    #[arg(long)]
    pub handover: bool,
    /// Folder to make; `handover/TITLE` beside the album when not given.
    #[arg(long, value_name = "DIR", requires = "handover")]
    pub to: Option<PathBuf>,
    /// Pack the folder into one ZIP file beside it, too.
    #[arg(long, requires = "handover")]
    pub zip: bool,
    #[command(flatten)]
    pub threads: Threads,
}

/// Arguments of `starts`.
#[derive(Debug, clap::Args)]
pub struct StartsArgs {
    /// Show this one, ready to paste.
    pub name: Vec<String>,
    /// Put it into a sheet; everything else in the sheet stays as it is.
    #[arg(long, value_name = "SHEET", requires = "name")]
    pub into: Option<PathBuf>,
    /// Measure what it would do to a song; nothing is written.
    #[arg(long, value_name = "SHEET", requires = "name", conflicts_with = "into")]
    pub on: Option<PathBuf>,
    /// The stem or bus that it is for, where it is not the usual one.
    #[arg(long, value_name = "NAME", requires = "name")]
    pub at: Option<String>,
}

/// Arguments of `listen`.
#[derive(Debug, clap::Args)]
pub struct ListenArgs {
    /// The sheet, or the folder that it lies in.
    #[arg(value_parser = sheet(), default_value = ".")]
    pub sheet: PathBuf,
    /// The revision, for instance `r002`; the latest when not given.
    #[arg(long, value_name = "NAME")]
    pub revision: Option<String>,
    /// Play this print or reference; may be repeated. When not given: all prints, and the references that are the same song.
    #[arg(long, value_name = "NAME")]
    pub only: Vec<String>,
    /// How the audio is stored: mp3, opus or flac.
    #[arg(long, value_name = "KIND", default_value = "mp3", value_parser = crate::commands::listen::audio)]
    pub audio: listening::Audio,
    /// Write one file with the audio inside instead of a folder.
    #[arg(long)]
    pub single: bool,
    /// Where to write; below `listening` beside the sheet when not given.
    #[arg(long, value_name = "PATH")]
    pub to: Option<PathBuf>,
    /// Folder of revisions; `prints` beside the sheet when not given.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// Arguments of `notes`.
#[derive(Debug, clap::Args)]
pub struct NotesArgs {
    /// The sheet, or the folder that it lies in.
    #[arg(value_parser = sheet())]
    pub sheet: PathBuf,
    /// Folder of revisions; `prints` beside the sheet when not given.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// What to do.
    #[command(subcommand)]
    pub act: NotesAct,
}

impl NotesArgs {
    /// Folder of revisions.
    pub fn prints(&self) -> PathBuf {
        self.out.clone().unwrap_or_else(|| self.sheet.with_file_name("prints"))
    }
}

/// What can be done with notes.
#[derive(Debug, Subcommand)]
pub enum NotesAct {
    /// Add what listeners sent. The same file twice, or several in any order, gives no duplicates.
    Add {
        /// The files.
        #[arg(required = true)]
        files: Vec<PathBuf>,
    },
    /// List all notes by their time in the latest revision, with approvals, ballots, and the blind tests of the desk.
    List,
    /// Say that a note was followed, or why not; the next listening page shows it.
    Answer {
        /// The note's id, or the start of it.
        id: String,
        /// It was followed (this is what is meant without a word).
        #[arg(long, conflicts_with = "declined")]
        done: bool,
        /// It was not followed.
        #[arg(long)]
        declined: bool,
        /// What to say about it.
        words: Vec<String>,
    },
}

/// Arguments of `reference`.
#[derive(Debug, clap::Args)]
pub struct ReferenceArgs {
    /// Folder to write to.
    #[arg(default_value = "reference")]
    pub dir: PathBuf,
}

/// Arguments of `manual`.
#[derive(Debug, clap::Args)]
pub struct ManualArgs {
    /// Folder to make.
    #[arg(default_value = "manual")]
    pub dir: PathBuf,
}

#[cfg(test)]
mod tests;
