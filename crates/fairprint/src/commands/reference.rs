//! `reference`: the reference of all processors as a folder of pages.

use std::fs;
use std::path::Path;

use engine::Fault;

use crate::args::ReferenceArgs;
use crate::outcome::Outcome;
use crate::voice::Voice;

mod typed;

/// Runs the command.
pub fn run(voice: &Voice, args: &ReferenceArgs) -> Outcome {
    let progress = voice.progress();
    progress.tell("Measuring the processors", 0.1);
    let mut files = reference::files();
    files.push(reference::File { name: typed::NAME.to_owned(), text: typed::page() });
    drop(progress);
    if let Err(fault) = write(&args.dir, &files) {
        return voice.fault(&fault);
    }
    let (dir, pages) = (args.dir.display(), files.iter().filter(|file| file.name.ends_with(".md")).count());
    let figures = files.len() - pages;
    voice.say(&format!("{pages} pages and {figures} figures, measured just now, in {dir}. Begin with README.md."));
    let names: Vec<&str> = files.iter().map(|file| file.name.as_str()).collect();
    voice.data(&serde_json::json!({ "folder": dir.to_string(), "files": names }));
    Outcome::Done
}

/// Writes all files, or none if one would take the place of a file that is not from here.
fn write(dir: &Path, files: &[reference::File]) -> Result<(), Fault> {
    let is_foreign =
        |path: &Path| path.exists() && !fs::read_to_string(path).is_ok_and(|t| t.contains(reference::MARK));
    if let Some(path) = files.iter().map(|file| dir.join(&file.name)).find(|path| is_foreign(path)) {
        let (at, remedy) = (path.display().to_string(), "Name another folder.".to_owned());
        return Err(Fault::input(
            "exists",
            &at,
            format!("{at} is there already and is not a page of the reference."),
            remedy,
        ));
    }
    let failed = |path: &Path, error: &std::io::Error| {
        let (at, remedy) = (path.display().to_string(), "Name a folder that you may write to.".to_owned());
        Fault::machine("cannot-write", &at, format!("{at}: {error}"), remedy)
    };
    fs::create_dir_all(dir).map_err(|error| failed(dir, &error))?;
    for file in files {
        let path = dir.join(&file.name);
        fs::write(&path, &file.text).map_err(|error| failed(&path, &error))?;
    }
    Ok(())
}
