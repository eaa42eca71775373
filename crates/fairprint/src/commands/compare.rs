//! `compare`: two programmes, fairly; two revisions; a print with and without a part; a print beside references.

pub mod tell;

use std::path::{Path, PathBuf};

use engine::Fault;
use prints::fair::{self, Trial};
use prints::history;

use crate::args::CompareArgs;
use crate::commands::print;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &CompareArgs) -> Outcome {
    if let (Some(sheet), Some(print), Some(without)) = (&args.sheet, &args.print, &args.without) {
        return compare_without(voice, args, sheet, [print, without]);
    }
    let compared = match args.programmes.as_slice() {
        [a, b] if args.against.is_empty() => match &args.sheet {
            Some(_) if history::is_revision(a) && history::is_revision(b) => compare_revisions(voice, args, [a, b]),
            _ => compare_two(voice, args, [a, b]),
        },
        [a] if !args.against.is_empty() => against(voice, args, a),
        [] if !args.against.is_empty() => match &args.print {
            Some(print) => against(voice, args, print),
            None => Err(unclear()),
        },
        _ => Err(unclear()),
    };
    compared.map_or_else(|fault| voice.fault(&fault), |()| Outcome::Done)
}

fn compare_two(voice: &Voice, args: &CompareArgs, programmes: [&String; 2]) -> Result<(), Fault> {
    let [a, b] = [file_of(args, programmes[0])?, file_of(args, programmes[1])?];
    let progress = voice.progress();
    progress.tell("Comparing", 0.1);
    let comparison = fair::compare_files(&a, &b)?;
    drop(progress);
    voice.data(&comparison);
    tell::two(voice, &a.display().to_string(), &b.display().to_string(), &comparison);
    Ok(())
}

fn compare_revisions(voice: &Voice, args: &CompareArgs, revisions: [&String; 2]) -> Result<(), Fault> {
    let progress = voice.progress();
    progress.tell("Comparing", 0.1);
    let (folder, print) = (folder_of_revisions(args), args.print.as_deref());
    let compared = fair::compare_revisions(&folder, revisions.map(String::as_str), print, args.threads.count())?;
    drop(progress);
    voice.data(&compared);
    tell::revisions(voice, &compared);
    Ok(())
}

fn compare_without(voice: &Voice, args: &CompareArgs, sheet: &Path, [print, without]: [&str; 2]) -> Outcome {
    let progress = voice.progress();
    let tell = |what: &str, part: f64| progress.tell(what, part);
    let trial = Trial { sheet, print, without, threads: args.threads.count(), progress: &tell };
    let compared = fair::compare_without(&trial);
    drop(progress);
    match compared {
        Ok(compared) => {
            voice.data(&compared);
            tell::without(voice, &compared);
            Outcome::Done
        }
        Err(stopped) => print::tell_stopped(voice, &stopped),
    }
}

fn against(voice: &Voice, args: &CompareArgs, programme: &str) -> Result<(), Fault> {
    let file = file_of(args, programme)?;
    let references: Vec<PathBuf> =
        args.against.iter().map(|name| reference_of(args, name)).collect::<Result<_, _>>()?;
    let progress = voice.progress();
    progress.tell("Listening", 0.1);
    let found = fair::against(&file, &references, args.threads.count())?;
    drop(progress);
    voice.data(&found);
    tell::against(voice, &found);
    Ok(())
}

/// The file that a word means: a file, or the newest of a print.
fn file_of(args: &CompareArgs, word: &str) -> Result<PathBuf, Fault> {
    if args.sheet.is_none() || Path::new(word).exists() {
        return Ok(PathBuf::from(word));
    }
    fair::newest(&folder_of_revisions(args), word)
}

/// The file that a word means: a file, or a reference of the sheet.
fn reference_of(args: &CompareArgs, word: &str) -> Result<PathBuf, Fault> {
    let Some(sheet) = args.sheet.as_ref().filter(|_| !Path::new(word).exists()) else { return Ok(PathBuf::from(word)) };
    let loaded = prints::load(sheet)?;
    let reference = loaded.sheet.as_ref().and_then(|sheet| sheet.reference(word));
    reference.map(|reference| loaded.folder().join(reference.file.as_str())).ok_or_else(|| {
        let message = format!("“{word}” is neither a file nor a reference of the sheet.");
        let names: Vec<&str> =
            loaded.sheet.iter().flat_map(|sheet| &sheet.references).map(|r| r.name.as_str()).collect();
        let known = if names.is_empty() { String::new() } else { format!(", or one of: {}", names.join(", ")) };
        Fault::input("unknown-reference", word, message, format!("Name a file{known}."))
    })
}

fn folder_of_revisions(args: &CompareArgs) -> PathBuf {
    args.sheet.as_ref().map(|sheet| prints::revisions_of(sheet, args.out.as_deref())).unwrap_or_default()
}

fn unclear() -> Fault {
    let message = "It is not clear what to compare.".to_owned();
    let remedy =
        "Name two files; or a file, --against, and references; or --sheet SHEET and two revisions (r001 r002); or \
                  --sheet SHEET --print NAME --without NAME."
            .to_owned();
    Fault::input("unclear-comparison", "compare", message, remedy)
}
