//! `check`: sheet and routing, without rendering.

use crate::args::CheckArgs;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &CheckArgs) -> Outcome {
    let mut loaded = match prints::load(&args.sheet) {
        Ok(loaded) => loaded,
        Err(fault) => return voice.fault(&fault),
    };
    let sound = loaded.is_sound();
    let plan = if sound { prints::plan(&mut loaded).map(|(plan, _)| plan) } else { None };
    let unusable = sound && plan.is_none();
    voice.sheet_problems(&loaded);
    let text = plan.as_ref().map(ToString::to_string);
    let mut data = serde_json::json!({ "findings": loaded.problems });
    if let (true, Some(text)) = (args.plan, &text) {
        data["plan"] = serde_json::Value::String(text.clone());
        voice.say(text.trim_end());
    }
    voice.data(&data);
    match (&loaded.sheet, plan) {
        (Some(sheet), Some(plan)) => {
            let length = units::format_time(plan.song_frames as f64 / plan.rate_hz);
            let (stems, buses, prints) = (sheet.stems().count(), sheet.buses().count(), sheet.prints.len());
            let [stems, buses, prints] =
                [(stems, "stem"), (buses, "bus"), (prints, "print")].map(|(count, thing)| units::counted(count, thing));
            voice.say(&format!("In order: {stems}, {buses}, {prints}, {length} of song."));
            Outcome::Done
        }
        // It can be read, but what it says must not be printed.
        (Some(_), None) if !unusable => Outcome::CheckFailed,
        _ => Outcome::Input,
    }
}
