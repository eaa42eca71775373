//! `demo`: a song from nothing, printed end to end.

use std::path::Path;

use engine::Fault;
use prints::Order;

use crate::args::DemoArgs;
use crate::commands::print;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &DemoArgs) -> Outcome {
    let progress = voice.progress();
    progress.tell("Making the song", 0.0);
    let files = match demo::write(&args.dir) {
        Ok(files) => files,
        Err(error) => return voice.fault(&fault_of(&args.dir, &error)),
    };
    let tell = |what: &str, part: f64| progress.tell(what, part);
    let order = Order { progress: &tell, ..Order::of(&files.sheet, args.threads.count()) };
    let result = prints::print(&order);
    drop(progress);
    match result {
        Ok(printed) => {
            let (folder, sheet) = (args.dir.display(), files.sheet.display());
            voice.say(&format!("Lantern Weather by The Tin Orchard, made from nothing in {folder}."));
            voice.say(&format!(
                "Its sheet is {sheet}: change a line and `fairprint print {sheet}` makes the next revision."
            ));
            voice.say("");
            print::tell(voice, &printed)
        }
        Err(stopped) => print::tell_stopped(voice, &stopped),
    }
}

fn fault_of(dir: &Path, error: &demo::DemoError) -> Fault {
    let at = dir.display().to_string();
    let (message, remedy) = (format!("{error}."), error.remedy().to_owned());
    if error.is_machine_fault() {
        Fault::machine("cannot-write", &at, message, remedy)
    } else {
        Fault::input("demo", &at, message, remedy)
    }
}
