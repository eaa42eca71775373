//! `starts`: complete chains for tasks, to list, to paste, to measure on a song, to put into a sheet.

use std::path::Path;

use engine::Fault;
use prints::starts::{hear, places};
use serde::Serialize;
use sheet::Start;

use crate::args::{StartsArgs, Threads};
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Room for a line of text.
const COLUMNS: usize = 100;

/// One starting point in the JSON.
#[derive(Serialize)]
struct StartData<'a> {
    #[serde(flatten)]
    start: &'a Start,
    sentences: Vec<String>,
    fragment: String,
}

impl<'a> StartData<'a> {
    fn of(start: &'a Start) -> Self {
        Self { start, sentences: start.sentences(), fragment: start.fragment() }
    }
}

/// Runs the command.
pub fn run(voice: &Voice, args: &StartsArgs) -> Outcome {
    let specs = engine::specs();
    if args.name.is_empty() {
        let all = sheet::starts(&specs);
        voice.data(&serde_json::json!({ "starts": all.iter().map(StartData::of).collect::<Vec<_>>() }));
        list(voice, &all);
        return Outcome::Done;
    }
    let start = match sheet::start(&args.name.join(" "), &specs) {
        Ok(start) => start,
        Err(problem) => return voice.fault(&Fault::Input(problem)),
    };
    let done = match (&args.into, &args.on) {
        (Some(path), _) => put_in(voice, &start, path, args.at.as_deref()),
        (_, Some(path)) => try_on(voice, &start, path, args.at.as_deref()),
        _ => {
            voice.data(&StartData::of(&start));
            voice.say(start.fragment().trim_end());
            Ok(Outcome::Done)
        }
    };
    done.unwrap_or_else(|fault| voice.fault(&fault))
}

fn list(voice: &Voice, all: &[Start]) {
    let widest = all.iter().map(|start| start.name.chars().count()).max().unwrap_or(0);
    for start in all {
        let mut name = start.name.as_str();
        for line in [&start.task, &start.measured].into_iter().flat_map(|text| lines(text, COLUMNS - widest - 2)) {
            voice.say(&format!("{name:widest$}  {line}"));
            name = "";
        }
        voice.say("");
    }
    voice.say("`fairprint starts NAME` shows one ready to paste; --into SHEET puts it into a sheet, and --on SHEET");
    voice.say("measures what it would do to that song. The figures are from the demo song.");
}

/// A text in lines of at most so many letters.
fn lines(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.len() - 1;
        if lines[last].is_empty() {
            lines[last].push_str(word);
        } else if lines[last].chars().count() + 1 + word.chars().count() > columns {
            lines.push(word.to_owned());
        } else {
            lines[last] += " ";
            lines[last] += word;
        }
    }
    lines
}

/// The sheet as it is, and its text and itself with the starting point in it.
struct Joined {
    loaded: prints::Loaded,
    text: String,
}

fn join(voice: &Voice, start: &Start, path: &Path, at: Option<&str>) -> Result<Result<Joined, Outcome>, Fault> {
    let loaded = prints::load(path)?;
    let Some(sheet) = &loaded.sheet else {
        voice.sheet_problems(&loaded);
        voice.data(&serde_json::json!({ "findings": loaded.problems }));
        return Ok(Err(Outcome::Input));
    };
    let text = start.into_text(&loaded.text, sheet, at, &engine::specs()).map_err(Fault::Input)?;
    Ok(Ok(Joined { loaded, text }))
}

fn put_in(voice: &Voice, start: &Start, path: &Path, at: Option<&str>) -> Result<Outcome, Fault> {
    let joined = match join(voice, start, path, at)? {
        Ok(joined) => joined,
        Err(outcome) => return Ok(outcome),
    };
    prints::load::save(&joined.loaded.path, &joined.text)?;
    let (name, at) = (&start.name, at.unwrap_or(&start.at));
    voice.say(&format!("{} now has {name} at {at}; nothing else in it has changed.", path.display()));
    voice.say(&format!("Adjust: {}", start.adjust));
    voice.data(&serde_json::json!({ "sheet": path.display().to_string(), "start": name, "at": at }));
    Ok(Outcome::Done)
}

fn try_on(voice: &Voice, start: &Start, path: &Path, at: Option<&str>) -> Result<Outcome, Fault> {
    let Joined { loaded, text } = match join(voice, start, path, at)? {
        Ok(joined) => joined,
        Err(outcome) => return Ok(outcome),
    };
    let (Some(before), (Some(after), _)) = (&loaded.sheet, sheet::read(&text, &engine::specs())) else {
        return Ok(Outcome::Input);
    };
    let sources = engine::Folder::new(loaded.folder(), before.song.rate_hz);
    let at = at.unwrap_or(&start.at);
    let progress = voice.progress();
    progress.tell("Listening without it", 0.1);
    let [there, with] = places(start, at, &after);
    let without = hear(before, &there, &sources, Threads::default().count())?;
    progress.tell("Listening with it", 0.5);
    let effect = without.effect_of(&hear(&after, &with, &sources, Threads::default().count())?);
    drop(progress);
    let sentence = effect.sentence(&there);
    voice.say(&format!("{} on {}: {sentence}", start.name, before.song.title));
    voice.data(&serde_json::json!({ "start": start.name, "at": at, "sentence": sentence, "effect": effect }));
    Ok(Outcome::Done)
}
