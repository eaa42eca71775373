//! `print`: the whole job.

use prints::again::{Again, again};
use prints::record::Report;
use prints::{Order, Printed, Stopped};

use crate::args::PrintArgs;
use crate::commands::figure;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &PrintArgs) -> Outcome {
    let progress = voice.progress();
    let order = Order {
        sheet: &args.sheet,
        only: &args.only,
        out: args.out.as_deref(),
        label: args.label.as_deref(),
        threads: args.threads.count(),
        progress: &|what, part| progress.tell(what, part),
        reuse_bytes: args.reuse.map(|gb| (gb * 1e9) as u64),
    };
    if let Some(revision) = &args.again {
        let told = again(&order, revision);
        drop(progress);
        return told.map_or_else(|stopped| tell_stopped(voice, &stopped), |again| tell_again(voice, &again));
    }
    let result = prints::print(&order);
    drop(progress);
    match result {
        Ok(printed) => tell(voice, &printed),
        Err(stopped) => tell_stopped(voice, &stopped),
    }
}

/// Says whether a revision came out the same, and what has changed since.
fn tell_again(voice: &Voice, again: &Again) -> Outcome {
    voice.data(again);
    let Again { revision, same, files, sources, engines: [then, now] } = again;
    let differing = files.iter().filter(|file| !file.same);
    match same {
        true => {
            voice.say(&format!("{revision}, printed again: every file has the same bytes, {} of them.", files.len()))
        }
        false => voice.say(&format!("{revision}, printed again: other bytes than then.")),
    }
    differing.for_each(|file| voice.say(&format!("  differs: {}", file.name)));
    sources.iter().for_each(|source| voice.say(&format!("  recording {}: {}", source.path, source.what)));
    if then != now {
        voice.say(&format!("  It was printed by Fairprint {then}; this is {now}."));
    }
    if *same { Outcome::Done } else { Outcome::CheckFailed }
}

/// Says what stood in the way.
pub fn tell_stopped(voice: &Voice, stopped: &Stopped) -> Outcome {
    match stopped {
        Stopped::Fault(fault) => voice.fault(fault),
        Stopped::Sheet(loaded) => {
            voice.sheet_problems(loaded);
            voice.data(&serde_json::json!({ "findings": loaded.problems }));
            Outcome::Input
        }
    }
}

/// Says what was printed.
pub fn tell(voice: &Voice, printed: &Printed) -> Outcome {
    let report = &printed.report;
    voice.data(&serde_json::json!({
        "revision": report.revision,
        "prints": report.prints,
        "alternates": report.alternates,
        "stems": report.stems,
        "findings": report.findings,
        "verdict": report.verdict,
    }));
    let speed = report.realtime_factor;
    voice
        .say(&format!("{}, revision {}, printed {speed:.1} times as fast as it plays.", report.title, report.revision));
    voice.say("");
    tell_files(voice, report);
    tell_nulls(voice, report);
    voice.say("");
    voice.findings(&report.findings);
    for accepted in &report.accepted {
        let finding = &accepted.finding;
        voice.say(&format!("  accepted {} at {}: {}", finding.code, finding.at, accepted.reason));
    }
    voice.say("");
    voice.say(&report.verdict.sentence);
    report.verdict.stands.iter().for_each(|[code, at]| voice.say(&format!("  {code} at {at}")));
    let folder = printed.folder.display();
    voice.say(&format!("Listen in {folder}, read {folder}/report.html."));
    if report.failed() { Outcome::CheckFailed } else { Outcome::Done }
}

fn tell_files(voice: &Voice, report: &Report) {
    let widest = |of: fn(&prints::record::FileRecord) -> &str| {
        report.prints.iter().map(|file| of(file).chars().count()).max().unwrap_or(0)
    };
    let (names, formats) = (widest(|file| &file.name), widest(|file| &file.format));
    for file in &report.prints {
        let m = &file.measures;
        voice.say(&format!(
            "  {:names$}  {:formats$}  {:>7} LUFS  {:>5} LU  {:>6} dBTP  PLR {:>5} dB",
            file.name,
            file.format,
            figure(m.integrated_lufs, 2),
            figure(m.loudness_range_lu, 1),
            figure(m.true_peak_dbtp, 2),
            figure(m.plr_db, 1),
        ));
    }
}

/// How well alternates and stems sum to their prints.
fn tell_nulls(voice: &Voice, report: &Report) {
    let null = |null: Option<f64>| null.map_or_else(|| "to the bit".to_owned(), |db| format!("to {db:.0} dBFS"));
    for alternate in report.alternates.iter().filter(|alternate| alternate.dynamics == "held") {
        let depth = null(alternate.null_dbfs);
        voice.say(&format!(
            "  “{}” and what it lacks null together against “{}”, {depth}",
            alternate.name, alternate.of
        ));
    }
    for set in &report.stems {
        let residue = set.residue_share_db.map_or_else(
            || "nothing is left for the residue".to_owned(),
            |db| format!("the residue lies {db:.1} dB against it"),
        );
        voice.say(&format!("  “{}” sum to “{}” {}; {residue}", set.name, set.of, null(set.null_dbfs)));
        for (format, depth) in &set.files_null_dbfs {
            voice.say(&format!("    as files, {format}, {}", null(*depth)));
        }
    }
}
