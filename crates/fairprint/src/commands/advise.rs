//! `advise`: what each path adds, and where it does harm.

use prints::advise::{self, Advice, PathKind, Question};

use crate::args::AdviseArgs;
use crate::commands::{figure, print, threads};
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &AdviseArgs) -> Outcome {
    let progress = voice.progress();
    let question = Question {
        sheet: &args.sheet,
        page: args.page.as_deref(),
        residual: args.residual.as_deref(),
        threads: threads(args.threads),
        progress: &|what, part| progress.tell(what, part),
    };
    let result = advise::advise(&question);
    drop(progress);
    match result {
        Ok(advice) => tell(voice, &advice),
        Err(stopped) => print::tell_stopped(voice, &stopped),
    }
}

fn tell(voice: &Voice, advice: &Advice) -> Outcome {
    voice.data(advice);
    let by = if advice.artist.is_empty() { String::new() } else { format!(" by {}", advice.artist) };
    voice.say(&format!("{}{by}, heard from start to end.", advice.title));
    voice.say("");
    voice.findings(&advice.findings);
    for accepted in &advice.accepted {
        let finding = &accepted.finding;
        voice.say(&format!("  accepted {} at {}: {}", finding.code, finding.at, accepted.reason));
    }
    if !advice.findings.is_empty() || !advice.accepted.is_empty() {
        voice.say("");
    }
    let returns = || advice.paths.iter().filter(|path| path.kind == PathKind::Return);
    let widest = returns().map(|path| path.name.chars().count()).max().unwrap_or(0);
    for path in returns() {
        voice.say(&format!("  {:widest$}  {}", path.name, path.sentence));
    }
    for space in &advice.pre_delays {
        let better = space.suggested_ms.map_or_else(String::new, |ms| format!(", better {ms} ms"));
        voice.say(&format!(
            "  {:widest$}  {} {} ms: {} to {} dB below 300 Hz{better}",
            space.name,
            space.parameter,
            space.in_use_ms,
            figure(Some(space.now.least_db), 1),
            figure(Some(space.now.most_db), 1),
        ));
    }
    tell_the_rest(voice, advice, widest);
    if let Some(page) = &advice.page {
        voice.say(&format!("All figures are on {}.", page.display()));
    }
    if advice.failed() { Outcome::CheckFailed } else { Outcome::Done }
}

/// Whether paths meet, what loudness costs, who drives the limiter: a line each.
fn tell_the_rest(voice: &Voice, advice: &Advice, widest: usize) {
    let apart = advice.alignment.iter().filter_map(|sum| sum.apart_samples).reduce(f64::max);
    if let Some(samples) = apart {
        voice.say(&format!("  {:widest$}  Parallel paths meet within {samples:.2} samples.", ""));
    }
    for cost in &advice.costs {
        let knee = cost.knee_lufs.map_or_else(|| "no knee".to_owned(), |lufs| format!("knee at {lufs:.1} LUFS"));
        let asked = cost.target_lufs.map_or_else(String::new, |lufs| {
            let reduction = figure(cost.at(lufs, |point| point.reduction_most_db), 1);
            let plr = figure(cost.at(lufs, |point| point.plr_db), 1);
            format!("; at the {lufs:.1} LUFS asked for it takes {reduction} dB at most, PLR {plr} dB")
        });
        voice.say(&format!("  {:widest$}  The limiter of {}: {knee}{asked}.", "", cost.print));
        let named = format!("{}, limiter", cost.print);
        if let Some(record) = advice.drivers.iter().find(|record| record.name == named) {
            let share = |(stem, share): &(String, f64)| format!("{stem} {:.0} %", 100.0 * share);
            let drivers: Vec<String> = record.drivers.iter().map(share).collect();
            voice.say(&format!("  {:widest$}  It is driven by {}.", "", drivers.join(", ")));
        }
    }
}
