//! `compare`: two programmes, fairly.

use measure::Comparison;

use crate::args::CompareArgs;
use crate::commands::figure;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &CompareArgs) -> Outcome {
    let progress = voice.progress();
    progress.tell("Comparing", 0.1);
    let compared = prints::fair::compare_files(&args.a, &args.b);
    drop(progress);
    let comparison = match compared {
        Ok(comparison) => comparison,
        Err(fault) => return voice.fault(&fault),
    };
    voice.data(&comparison);
    tell(voice, args, &comparison);
    Outcome::Done
}

fn tell(voice: &Voice, args: &CompareArgs, found: &Comparison) {
    let (a, b) = (args.a.display(), args.b.display());
    voice.say(&format!("A is {a}, B is {b}."));
    voice.say(&found.statement);
    voice.say("");
    let row = |what: &str, a: Option<f64>, b: Option<f64>, difference: Option<f64>, unit: &str| {
        voice.say(&format!(
            "  {what:20} {:>8} {:>8} {:>8}  {unit}",
            figure(a, 2),
            figure(b, 2),
            difference.map_or("-".to_owned(), |value| format!("{value:+.2}")),
        ));
    };
    let (one, two, less) = (&found.a, &found.b, &found.difference);
    voice.say(&format!("  {:20} {:>8} {:>8} {:>8}", "", "A", "B", "B less A"));
    row("loudness", one.integrated_lufs, two.integrated_lufs, less.integrated_lufs, "LUFS");
    row("loudness range", one.loudness_range_lu, two.loudness_range_lu, less.loudness_range_lu, "LU");
    row("true peak", one.true_peak_dbtp, two.true_peak_dbtp, less.true_peak_dbtp, "dBTP");
    row("PLR", one.plr_db, two.plr_db, less.plr_db, "dB");
    row("crest", one.crest_db, two.crest_db, less.crest_db, "dB");
    row("correlation", one.correlation, two.correlation, less.correlation, "");
    voice.say("");
    match (found.delay_samples, found.null_depth_db) {
        (Some(delay), Some(depth)) => voice.say(&format!(
            "  B lies {delay:.2} samples behind A; aligned and matched, {depth:.1} dB is left of it when A is taken away."
        )),
        _ => voice.say("  They are different recordings: nothing lines up."),
    }
    if let Some(gain) = found.gain_db {
        voice.say(&format!("  Play B at {gain:+.2} dB to hear it as loud as A."));
    }
}
