//! `advise`: what each path adds, and where it does harm.

use std::sync::atomic::AtomicBool;

use prints::advise::{self, Advice, PathKind, Question};

use crate::args::AdviseArgs;
use crate::commands::{figure, print};
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &AdviseArgs) -> Outcome {
    let progress = voice.progress();
    let question = Question {
        sheet: &args.sheet,
        page: args.page.as_deref(),
        residual: args.residual.as_deref(),
        hear: args.hear.as_deref(),
        threads: args.threads.count(),
        stop: &AtomicBool::new(false),
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
    let spaces = advice.pre_delays.iter().map(|space| &space.name);
    let widest = returns().map(|path| &path.name).chain(spaces).map(|name| name.chars().count()).max().unwrap_or(0);
    for path in returns() {
        voice.say(&format!("  {:widest$}  {}", path.name, path.sentence));
    }
    for space in &advice.pre_delays {
        let better = space.suggested_ms.map_or_else(String::new, |ms| format!("; {ms} moves it less"));
        voice.say(&format!(
            "  {:widest$}  With {} = {}, what lies below 300 Hz moves by {} to {} dB{better}.",
            space.name,
            space.parameter,
            space.in_use_ms,
            figure(Some(space.now.least_db), 1),
            figure(Some(space.now.most_db), 1),
        ));
    }
    tell_the_rest(voice, advice, widest);
    tell_outgoing(voice, advice, widest);
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
        // A print may give way below its ceiling, for what is to survive: then its own PLR is less.
        let before = cost.ceiling_dbtp.map_or_else(String::new, |dbtp| format!(" under {dbtp:.1} dBTP"));
        let asked = cost.target_lufs.map_or_else(String::new, |lufs| {
            let at_it = (cost.at(lufs, |point| point.reduction_most_db), cost.at(lufs, |point| point.plr_db));
            match at_it {
                (Some(reduction), Some(plr)) => {
                    format!(
                        "; at the {lufs:.1} LUFS asked for it takes {reduction:.1} dB at most, PLR {plr:.1} dB{before}"
                    )
                }
                _ => format!("; the {lufs:.1} LUFS asked for lie outside of what was tried"),
            }
        });
        voice.say(&format!("  {:widest$}  The limiter of “{}”: {knee}{asked}.", "", cost.print));
        let named = format!("{}, limiter", cost.print);
        if let Some(record) = advice.drivers.iter().find(|record| record.name == named) {
            let share = |(stem, share): &(String, f64)| format!("{stem} {:.0} %", 100.0 * share);
            let drivers: Vec<String> = record.drivers.iter().map(share).collect();
            voice.say(&format!("  {:widest$}  It is driven by {}.", "", drivers.join(", ")));
        }
    }
}

/// Whether prints are twins, what mono and small speakers lose, what an a cappella keeps, what was written to hear.
fn tell_outgoing(voice: &Voice, advice: &Advice, widest: usize) {
    let line = |text: String| voice.say(&format!("  {:widest$}  {text}", ""));
    for pair in &advice.twins {
        let (loud, clean) = (&pair.approval, &pair.mastering);
        if pair.parted.iter().any(|parted| !parted.is_empty()) {
            line(format!("“{loud}” and “{clean}” are not the same mix."));
            continue;
        }
        let moved = pair.sections.iter().flat_map(|s| s.stems_db().into_iter().map(move |(stem, db)| (s, stem, db)));
        let most = moved.max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()));
        let most = most.map_or_else(String::new, |(section, stem, db)| {
            format!(
                "; of all stems the first moves “{stem}” most, by {} dB in the {}",
                figure(Some(db), 1),
                section.name
            )
        });
        line(format!("“{loud}” and “{clean}” share all {} stems and buses{most}.", pair.shared));
    }
    for print in &advice.translations {
        let [low, ..] = print.soft_low_mid_high_db;
        line(format!(
            "“{}”: mono loses {} dB, loudness on a small speaker changes by {} LU, played softly its low end seems to change by {} dB.",
            print.print,
            figure(print.mono_lost_db, 1),
            figure(print.small_speaker_lu, 1),
            figure(low, 1),
        ));
    }
    for record in &advice.a_cappellas {
        line(format!("“{}” keeps {}.", record.alternate, record.kept.join(", ")));
    }
    for file in &advice.heard {
        line(format!("Wrote {}: {}.", file.path.display(), file.what));
    }
}
