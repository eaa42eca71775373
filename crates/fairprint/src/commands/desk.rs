//! `desk`: the live page.

use desk::{Closed, Setup};

use crate::args::DeskArgs;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command until it is told to end.
pub fn run(voice: &Voice, args: &DeskArgs) -> Outcome {
    let (sheet, device) = (args.sheet.clone(), args.device.clone());
    let setup = Setup { sheet, port: args.port, threads: args.threads.count(), device };
    let desk = match desk::open(&setup) {
        Ok(desk) => desk,
        Err(Closed::Fault(fault)) => return voice.fault(&fault),
        Err(Closed::Sheet(problems)) => {
            voice.findings(&problems);
            voice.data(&serde_json::json!({ "findings": problems }));
            return Outcome::Input;
        }
    };
    voice.say(&format!("The desk of {} is at\n  {}", args.sheet.display(), desk.link()));
    voice.say("The link lets one browser in, once. Nobody outside this machine reaches it. Ctrl+C ends the desk.");
    if let Some(device) = desk.device() {
        voice.say(&format!("It is heard on “{device}” of this machine; the page plays nothing itself."));
    }
    voice.say("Loud sound harms hearing: it starts quietly; keep your monitors down until you know the level.");
    voice.data(&serde_json::json!({ "link": desk.link() }));
    if !args.no_browser && open::that_detached(desk.link()).is_err() {
        voice.say("No browser could be opened: open the link by hand.");
    }
    match desk.serve() {
        Ok(()) => Outcome::Done,
        Err(fault) => voice.fault(&fault),
    }
}
