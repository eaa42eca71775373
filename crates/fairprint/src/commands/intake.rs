//! `intake`: what is in a folder of stems, and a sheet to start from.

use std::path::PathBuf;

use prints::intake::{self, Intake};
use units::Severity;

use crate::args::{IntakeArgs, Threads};
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &IntakeArgs) -> Outcome {
    let progress = voice.progress();
    let taken = intake::intake(&args.folder, Threads::default().count(), &|part| {
        progress.tell("Listening to every file", part)
    });
    drop(progress);
    let taken = match taken {
        Ok(taken) => taken,
        Err(fault) => return voice.fault(&fault),
    };
    let path = args.sheet.clone().unwrap_or_else(|| args.folder.join("sheet.toml"));
    let written = match intake::write_starter(&taken, &path) {
        Ok(written) => written,
        Err(fault) => return voice.fault(&fault),
    };
    tell(voice, &taken, written.then_some(path));
    let failed = taken.findings.iter().any(|finding| finding.severity == Severity::Fail);
    if failed { Outcome::CheckFailed } else { Outcome::Done }
}

fn tell(voice: &Voice, taken: &Intake, sheet: Option<PathBuf>) {
    let path = sheet.as_ref().map(|path| path.display().to_string());
    voice.data(&serde_json::json!({ "findings": taken.findings, "sheet": path, "a_hz": taken.a_hz }));
    let stems = taken.files.iter().filter(|file| file.group().is_some()).count();
    let folder = taken.folder.display();
    voice.say(&format!(
        "{folder}: {}, {} to listen against, {} Hz{}.",
        units::counted(stems, "stem"),
        taken.files.len() - stems,
        taken.rate_hz,
        taken.a_hz.map_or_else(String::new, |a_hz| format!(", tuned to A = {a_hz:.0} Hz"))
    ));
    voice.say("");
    tell_first(voice, taken);
    for (group, files) in intake::by_group(taken) {
        let names: Vec<&str> = files.iter().map(|file| file.name.as_str()).collect();
        voice.say(&format!("  {:12} {}", group.map_or("references", intake::Group::bus), names.join(", ")));
    }
    voice.say("");
    if !taken.findings.is_empty() {
        voice.say("All that was found, with what to do:");
        voice.findings(&taken.findings);
        voice.say("");
    }
    match path {
        Some(path) => voice.say(&format!("A sheet to start from is in {path}: `fairprint print {path}` prints it.")),
        None => voice.say("There is a sheet already; it was left as it is."),
    }
}

/// The short list: what to look at first, a line each.
fn tell_first(voice: &Voice, taken: &Intake) {
    let first = taken.short_list();
    if first.is_empty() {
        voice.say("Nothing here needs a look before you mix.");
    } else {
        voice.say("Look at these first:");
        first.iter().for_each(|finding| voice.say(&format!("  {}: {}", finding.at, finding.message)));
    }
    voice.say("");
}
