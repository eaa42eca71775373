//! `notes`: takes in what listeners send back, lists it, answers it.

use std::path::Path;

use engine::Fault;
use listening::Heard;
use listening::ballot::{self, Verdict};
use listening::blind;
use listening::notes::{self, Ballot, Note, Notes, State};
use units::{Problem, Severity, format_time};

use crate::args::{NotesAct, NotesArgs};
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Letters of an id that are shown: enough to name a note.
const SHORT: usize = 6;

/// Runs the command.
pub fn run(voice: &Voice, args: &NotesArgs) -> Outcome {
    let done = match &args.act {
        NotesAct::Add { files } => add(voice, args, files),
        NotesAct::List => list(voice, args),
        NotesAct::Answer { id, declined, words, .. } => {
            let state = if *declined { State::Declined } else { State::Done };
            answer(voice, &args.sheet, id, state, &words.join(" "))
        }
    };
    done.unwrap_or_else(|fault| voice.fault(&fault))
}

fn add(voice: &Voice, args: &NotesArgs, files: &[std::path::PathBuf]) -> Result<Outcome, Fault> {
    let heard = Heard::latest(&args.prints())?;
    // All are read before anything is added, so that a faulty file leaves the collection as it is.
    let sent = files.iter().map(|file| notes::read(file)).collect::<Result<Vec<Notes>, Fault>>()?;
    let findings: Vec<Problem> =
        files.iter().zip(&sent).flat_map(|(file, sent)| doubts(args, file, sent, &heard)).collect();
    let (added, collected) = notes::change(&args.sheet, &heard.title, |collected| {
        let added: Vec<_> = files.iter().zip(sent).map(|(file, sent)| (file, notes::add(collected, sent))).collect();
        notes::learn_starts(collected, &args.prints(), &heard.revision)?;
        Ok(added)
    })?;
    for (file, added) in &added {
        let counts = [(added.new, "new"), (added.changed, "changed by their writer"), (added.known, "known already")];
        let some = counts.iter().filter(|(count, _)| *count > 0).map(|(count, what)| format!("{count} {what}"));
        let some: Vec<String> = some.collect();
        let what = if some.is_empty() { "nothing in it".to_owned() } else { some.join(", ") };
        voice.say(&format!("{}: {what}.", file.display()));
    }
    voice.findings(&findings);
    voice.say(&format!("All notes are in {}; `list` shows them.", notes::path_of(&args.sheet).display()));
    let report = |(file, added): &(&std::path::PathBuf, notes::Added)| serde_json::json!({ "file": file.display().to_string(), "new": added.new, "changed": added.changed, "known": added.known });
    let added: Vec<_> = added.iter().map(report).collect();
    voice.data(&serde_json::json!({ "added": added, "notes": collected.notes.len(), "findings": findings }));
    Ok(Outcome::Done)
}

/// What is strange about a file that may still be right.
fn doubts(args: &NotesArgs, file: &Path, sent: &Notes, latest: &Heard) -> Vec<Problem> {
    let mut found = Vec::new();
    let mut warn = |code, message: String, remedy: &str| {
        found.push(Problem::new(Severity::Warn, code, &file.display().to_string(), message, remedy.to_owned()));
    };
    if !sent.title.is_empty() && sent.title != latest.title {
        let message = format!("These notes are about “{}”, the sheet is “{}”.", sent.title, latest.title);
        warn("other-title", message, "Take back the collection that was kept if they belong elsewhere.");
    }
    for note in &sent.notes {
        let secs = Heard::read(&args.prints(), &note.revision).map(|heard| heard.secs());
        if secs.is_ok_and(|secs| note.to_secs.unwrap_or(note.at_secs) > secs + 1.0) {
            let message = format!(
                "A note of {} lies at {}, past the end of {}.",
                note.who,
                format_time(note.at_secs),
                note.revision
            );
            warn("past-the-end", message, "Ask which moment is meant.");
        }
    }
    for approval in &sent.approvals {
        let heard = Heard::read(&args.prints(), &approval.revision);
        let known = |heard: &Heard| heard.versions.iter().any(|v| v.sha256.as_deref() == Some(&approval.sha256));
        if !heard.as_ref().is_ok_and(known) {
            let message = format!(
                "{} approves “{}” of {} by a checksum that no print has.",
                approval.who, approval.version, approval.revision
            );
            warn("unknown-approval", message, "Ask for the approval of a print that is there.");
        }
    }
    found
}

fn list(voice: &Voice, args: &NotesArgs) -> Result<Outcome, Fault> {
    let heard = Heard::latest(&args.prints())?;
    let mut collected = notes::load(&args.sheet, &heard.title)?;
    if notes::learn_starts(&mut collected, &args.prints(), &heard.revision)? {
        notes::keep_starts(&args.sheet, &collected)?;
    }
    let here = |note: &Note| notes::place(&collected, note.at_secs, &note.revision, &heard.revision);
    let mut by_time: Vec<(Option<f64>, &Note)> = collected.notes.iter().map(|note| (here(note), note)).collect();
    by_time.sort_by(|a, b| a.0.unwrap_or(f64::MAX).total_cmp(&b.0.unwrap_or(f64::MAX)));
    for (at, note) in &by_time {
        voice.say(&line_of(*at, note));
        if let Some(answer) = &note.answer {
            voice.say(&format!("         {}: {}", note.state.word(), answer.replace('\n', " ")));
        }
    }
    for given in &collected.approvals {
        let (who, sum) = (named(&given.who), &given.sha256[..12]);
        voice.say(&format!(
            "{who} approves “{}” of {} ({}), SHA-256 {sum}….",
            given.version, given.revision, given.written
        ));
    }
    let verdicts: Vec<_> = collected.ballots.iter().map(ballot::verdict).collect();
    for (held, verdict) in collected.ballots.iter().zip(&verdicts) {
        tell_ballot(voice, held, verdict);
    }
    let tests = blind::load(&args.sheet)?.tests;
    for test in &tests {
        voice.say(&format!("Blind test of “{}” and “{}” ({}):", test.a, test.b, test.written));
        voice.say(&format!("  {}", test.sentence()));
    }
    let is_empty = collected.notes.is_empty() && collected.approvals.is_empty() && collected.ballots.is_empty();
    if is_empty && tests.is_empty() {
        voice.say("Nothing has come back yet. `fairprint listen` writes the page to send.");
    }
    let noted: Vec<_> =
        by_time.iter().map(|(at, note)| serde_json::json!({ "at_now_secs": at, "note": note })).collect();
    let held = collected.ballots.iter().zip(&verdicts);
    let held: Vec<_> =
        held.map(|(ballot, verdict)| serde_json::json!({ "ballot": ballot, "verdict": verdict })).collect();
    let tests: Vec<_> =
        tests.iter().map(|test| serde_json::json!({ "test": test, "verdict": test.verdict() })).collect();
    voice.data(&serde_json::json!({
        "revision": heard.revision, "notes": noted, "approvals": collected.approvals, "ballots": held,
        "blind_tests": tests,
    }));
    Ok(Outcome::Done)
}

fn tell_ballot(voice: &Voice, held: &Ballot, verdict: &Verdict) {
    voice.say(&format!("{} compared blind in {} ({}):", named(&held.who), held.revision, held.written));
    let counts = [verdict.matched.sentence("At the same loudness"), verdict.delivered.sentence("As delivered")];
    counts.into_iter().flatten().for_each(|line| voice.say(&format!("  {line}")));
    let moved = held.trims_db.iter().filter(|(_, db)| **db != 0.0);
    let moved: Vec<String> = moved.map(|(version, db)| format!("{version} {db:+.1} dB")).collect();
    if !moved.is_empty() {
        voice.say(&format!("  Set alike by ear, on top of the meter: {}.", moved.join(", ")));
    }
    match verdict.survives_matching {
        Some(true) => voice.say("  The preference outlives matched loudness."),
        Some(false) => voice.say("  The preference does not outlive matched loudness: it was for the louder one."),
        None => {}
    }
}

fn answer(voice: &Voice, sheet: &Path, id: &str, state: State, words: &str) -> Result<Outcome, Fault> {
    let (note, _) = notes::change(sheet, "", |collected| notes::answer(collected, id, state, words))?;
    let said = if words.trim().is_empty() { String::new() } else { format!(": {}", words.trim()) };
    voice.say(&format!(
        "{}'s “{}” is {}{said}\nThe next listening page says so.",
        named(&note.who),
        note.text.replace('\n', " "),
        state.word()
    ));
    voice.data(&serde_json::json!({ "note": note }));
    Ok(Outcome::Done)
}

fn line_of(at: Option<f64>, note: &Note) -> String {
    let short = &note.id[..SHORT.min(note.id.len())];
    let at = at.map_or(format!("{} in {}", format_time(note.at_secs), note.revision), format_time);
    let text = note.text.replace('\n', " ");
    format!("{short:SHORT$}  {:8}  {at}  {} on “{}”: {text}", note.state.word(), named(&note.who), note.version)
}

fn named(who: &str) -> &str {
    if who.trim().is_empty() { "someone" } else { who }
}
