//! `manual`: manual pages and completions for shells, from the definitions that the program parses by.

use std::fs;
use std::io;
use std::path::Path;

use clap::{CommandFactory, ValueEnum};
use clap_complete::{Shell, generate_to};
use engine::Fault;

use crate::args::{Args, ManualArgs};
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Folders that it makes.
const PAGES: &str = "man/man1";
const COMPLETIONS: &str = "completions";

/// Runs the command.
pub fn run(voice: &Voice, args: &ManualArgs) -> Outcome {
    let at = args.dir.display().to_string();
    let taken = fs::read_dir(&args.dir).is_ok_and(|mut entries| entries.next().is_some());
    if taken {
        let (message, remedy) = (format!("{at} is not empty."), "Name a folder that is not there yet.".to_owned());
        return voice.fault(&Fault::input("exists", &at, message, remedy));
    }
    if let Err(error) = write(&args.dir) {
        let remedy = "Name a folder that you may write to.".to_owned();
        return voice.fault(&Fault::machine("cannot-write", &at, format!("{at}: {error}"), remedy));
    }
    voice.say(&format!("Manual pages are in {at}/{PAGES}, completions for shells in {at}/{COMPLETIONS}."));
    voice.data(&serde_json::json!({ "folder": at, "pages": PAGES, "completions": COMPLETIONS }));
    Outcome::Done
}

fn write(dir: &Path) -> io::Result<()> {
    let [pages, completions] = [PAGES, COMPLETIONS].map(|name| dir.join(name));
    fs::create_dir_all(&pages)?;
    fs::create_dir_all(&completions)?;
    clap_mangen::generate_to(Args::command(), &pages)?;
    for shell in Shell::value_variants() {
        generate_to(*shell, &mut Args::command(), "fairprint", &completions)?;
    }
    Ok(())
}
