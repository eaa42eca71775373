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
    voice.say(&format!("{} by {}, heard from start to end.", advice.title, advice.artist));
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
    if let Some(page) = &advice.page {
        voice.say(&format!("All figures are on {}.", page.display()));
    }
    if advice.failed() { Outcome::CheckFailed } else { Outcome::Done }
}
