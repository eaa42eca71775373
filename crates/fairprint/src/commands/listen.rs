//! `listen`: the artist's page of a revision.

use listening::{Audio, Order};

use crate::args::ListenArgs;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &ListenArgs) -> Outcome {
    let progress = voice.progress();
    let written = listening::write(&Order {
        sheet: &args.sheet,
        revision: args.revision.as_deref(),
        prints: args.out.as_deref(),
        only: &args.only,
        audio: args.audio,
        single: args.single,
        to: args.to.as_deref(),
        progress: &|what, part| progress.tell(what, part),
    });
    drop(progress);
    let written = match written {
        Ok(written) => written,
        Err(fault) => return voice.fault(&fault),
    };
    let page = written.page.display().to_string();
    let versions = |(name, lufs, delay): &(String, f64, i64)| serde_json::json!({ "name": name, "integrated_lufs": lufs, "delay_frames": delay });
    voice.data(&serde_json::json!({
        "page": page,
        "bytes": written.bytes,
        "revision": written.revision,
        "versions": written.versions.iter().map(versions).collect::<Vec<_>>(),
        "notes": written.notes,
        "findings": written.findings,
    }));
    let names: Vec<&str> = written.versions.iter().map(|(name, ..)| name.as_str()).collect();
    let megabytes = written.bytes as f64 / 1e6;
    voice.say(&format!("The listening page of {} is {page}, {megabytes:.1} MB in all.", written.revision));
    voice.say(&format!("It plays {} in time and at the same loudness, as {}.", names.join(", "), args.audio.words()));
    if written.notes > 0 {
        voice.say(&format!("It shows what came back, with the answers: {}.", units::counted(written.notes, "note")));
    }
    voice.findings(&written.findings);
    let send = if args.single { "Send that file" } else { "Send the whole folder, or one file made with --single" };
    voice.say(&format!("{send}; what comes back goes into `fairprint notes {} add FILE`.", args.sheet.display()));
    Outcome::Done
}

/// A name of `--audio`.
pub fn audio(name: &str) -> Result<Audio, String> {
    let known = Audio::ALL.into_iter().find(|(known, _)| *known == name);
    known.map(|(_, audio)| audio).ok_or_else(|| "take mp3, opus or flac".to_owned())
}
