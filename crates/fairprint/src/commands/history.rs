//! `history`: revisions, and what changed between two of them.

use std::path::Path;

use engine::Fault;
use prints::history::{self, Between, Past};

use crate::args::HistoryArgs;
use crate::commands::{compare, figure};
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &HistoryArgs) -> Outcome {
    let out = prints::revisions_of(&args.sheet, args.out.as_deref());
    let told = match args.revisions.as_slice() {
        [] => history::list(&out).map(|all| tell_all(voice, &all)),
        [a, b] => between(voice, &out, [a, b], args.threads.count()),
        // Where no sheet is named, the first of two revisions stands in its place.
        [b] if !args.sheet.exists() => between(voice, &out, [&args.sheet.to_string_lossy(), b], args.threads.count()),
        [one, ..] => {
            let message = format!("{one} alone has nothing to differ from.");
            Err(Fault::input("unclear-comparison", one, message, "Name two revisions: `r001 r002`.".to_owned()))
        }
    };
    told.map_or_else(|fault| voice.fault(&fault), |()| Outcome::Done)
}

fn tell_all(voice: &Voice, all: &[Past]) {
    voice.data(&serde_json::json!({ "revisions": all }));
    for past in all {
        let Some(report) = &past.report else {
            voice.say(&format!("{}  cannot be read: {}", past.name, past.damage.as_deref().unwrap_or("")));
            continue;
        };
        let label = report.label.as_ref().map_or_else(String::new, |label| format!(", {label}"));
        let finished = match &report.verdict {
            Some(verdict) if verdict.finished => "",
            _ => ", not finished",
        };
        voice.say(&format!("{}  {}{label}{finished}", past.name, report.date));
        let width = report.prints.iter().map(|file| file.name.chars().count()).max().unwrap_or(0);
        for file in &report.prints {
            voice.say(&format!(
                "      {:width$}  {:>7} LUFS  {:>6} dBTP  {}",
                file.name,
                figure(file.measures.integrated_lufs, 2),
                figure(file.measures.true_peak_dbtp, 2),
                file.format,
            ));
        }
    }
}

fn between(voice: &Voice, out: &Path, revisions: [&str; 2], threads: usize) -> Result<(), Fault> {
    let progress = voice.progress();
    progress.tell("Comparing", 0.1);
    let found = history::between(out, revisions, threads)?;
    drop(progress);
    voice.data(&found);
    let Between { revisions: [a, b], changes, sources, sound } = &found;
    voice.say(&format!("From {a} to {b}"));
    voice.say("");
    if changes.is_empty() {
        voice.say("  The sheet says the same.");
    }
    for change in changes {
        voice.say(&format!("  {}: {}", change.at, change.what));
    }
    for source in sources {
        voice.say(&format!("  recording {}: {}", source.path, source.what));
    }
    voice.say("");
    compare::tell::revisions(voice, sound);
    Ok(())
}
