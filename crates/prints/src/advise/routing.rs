//! Faults of routing that no sound tells: the same sound twice, files that nobody plays, parts that went missing.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use engine::{Feed, Plan};
use sheet::Sheet;
use units::{Problem, Severity};

use crate::history;
use crate::intake::is_audio;

/// All of them.
pub(super) fn findings(sheet: &Sheet, plan: &Plan, folder: &Path) -> Vec<Problem> {
    let mut found = doubled(plan);
    found.extend(orphans(sheet, folder));
    found.extend(missing(sheet, folder));
    found
}

/// Code `doubled-path`: a stem or bus reaches a sum by two ways with no processor and no delay on either, so that it is
/// only louder there. What is routed and sent to the very same bus is the sheet's own finding `twice`.
fn doubled(plan: &Plan) -> Vec<Problem> {
    let mut found = Vec::new();
    // For each step, the steps whose output is in its output untouched.
    let mut untouched: Vec<BTreeSet<usize>> = Vec::with_capacity(plan.steps.len());
    for (index, step) in plan.steps.iter().enumerate() {
        let mut own = BTreeSet::from([index]);
        if let Feed::Sum(inputs) = &step.feed {
            let open: Vec<_> = inputs.iter().filter(|input| !input.law.muted).collect();
            let mut twice: Vec<(usize, [usize; 2])> = Vec::new();
            for (at, input) in open.iter().enumerate() {
                for other in &open[at + 1..] {
                    let both = untouched[input.from].intersection(&untouched[other.from]);
                    twice.extend(both.map(|origin| (*origin, [input.from, other.from])));
                }
            }
            // Of all that is doubled, the last one before the ways part: the others are inside it.
            let last = twice.iter().filter(|(_, [a, b])| a != b).max_by_key(|(origin, _)| *origin);
            if let Some((origin, ways)) = last {
                let [name, into] = [*origin, index].map(|step| &plan.steps[step].name);
                let [a, b] = ways.map(|way| &plan.steps[way].name);
                let message = format!(
                    "“{name}” reaches “{into}” twice, by “{a}” and by “{b}”, with nothing on the way: it is only louder."
                );
                let remedy = "Take one of the two paths out, or put on it what it is there for.".to_owned();
                let at = format!("bus {into}");
                found.push(Problem::new(Severity::Warn, "doubled-path", &at, message, remedy));
            }
            let plain = step.links.iter().all(|link| link.off) && step.delay_frames == 0;
            if plain {
                open.iter().for_each(|input| own.extend(&untouched[input.from]));
            }
        }
        untouched.push(own);
    }
    found
}

/// Code `orphan-file`: an audio file beside the stems that the sheet does not name.
fn orphans(sheet: &Sheet, folder: &Path) -> Vec<Problem> {
    let folders: BTreeSet<_> =
        sheet.stems().filter_map(|stem| Some(folder.join(stem.file()?.as_str()).parent()?.to_owned())).collect();
    let known: BTreeSet<_> = sheet.files().iter().filter_map(|file| folder.join(file).canonicalize().ok()).collect();
    let mut found = Vec::new();
    for path in
        folders.iter().filter_map(|folder| fs::read_dir(folder).ok()).flatten().flatten().map(|entry| entry.path())
    {
        if is_audio(&path) && path.canonicalize().is_ok_and(|path| !known.contains(&path)) {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            let message = format!("“{name}” lies beside the stems, and the sheet does not name it.");
            let remedy = "Make it a stem or a reference, or move it out of the folder.".to_owned();
            found.push(Problem::new(Severity::Warn, "orphan-file", &name, message, remedy));
        }
    }
    found.sort_by(|a, b| a.at.cmp(&b.at));
    found
}

/// The sheet of the last revision beside this one, as far as it can still be read.
pub(super) fn last_sheet(folder: &Path) -> Option<(String, Sheet)> {
    let last = history::list(&folder.join("prints")).ok()?.pop()?;
    let text = fs::read_to_string(last.folder.join("sheet.toml")).ok()?;
    let (sheet, _) = sheet::read(&text, &engine::specs());
    Some((text, sheet?))
}

/// Code `missing-part`: a stem of the last revision that this sheet does not have.
fn missing(sheet: &Sheet, folder: &Path) -> Vec<Problem> {
    let Some((_, last)) = last_sheet(folder) else { return Vec::new() };
    let gone = last.stems().filter(|stem| sheet.node(&stem.name).is_none());
    let line = |stem: &sheet::Node| {
        let message = format!("“{}” was in the latest revision and is in no stem of this sheet.", stem.name);
        let remedy = "Put it back, or accept this with the reason.".to_owned();
        Problem::new(Severity::Warn, "missing-part", &format!("stem {}", stem.name), message, remedy)
    };
    gone.map(line).collect()
}
