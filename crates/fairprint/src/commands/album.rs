//! `album`: the songs of a record printed, laid side by side, handed over as one.

use prints::album::{Failed, Order, Record, Shipment, album, hand_over};
use units::{Severity, counted, format_time};

use crate::args::AlbumArgs;
use crate::commands::figure;
use crate::commands::handover::approvals_of;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &AlbumArgs) -> Outcome {
    let progress = voice.progress();
    let order = Order {
        album: &args.album,
        as_printed: args.as_printed,
        threads: args.threads.count(),
        progress: &|what, part| progress.tell(what, part),
    };
    let record = album(&order);
    drop(progress);
    let record = match record {
        Ok(record) => record,
        Err(failed) => return tell_failed(voice, args, failed),
    };
    tell(voice, &record);
    let mut data = serde_json::to_value(&record).unwrap_or_default();
    let mut outcome = if record.findings.iter().any(|finding| finding.severity == Severity::Fail) || !record.finished {
        Outcome::CheckFailed
    } else {
        Outcome::Done
    };
    if args.handover && record.finished {
        let shipment =
            Shipment { album: &args.album, to: args.to.as_deref(), packed: args.zip, approvals: &approvals_of };
        match hand_over(&shipment, &record) {
            Ok(handed) => {
                let files = counted(handed.files.len(), "file");
                voice.say(&format!("Handed over in {}, {files}.", handed.folder.display()));
                data["handed"] = serde_json::to_value(&handed).unwrap_or_default();
            }
            Err(failed) => return tell_failed(voice, args, failed),
        }
    } else if args.handover {
        voice.say("Not handed over: the record is not finished.");
        outcome = Outcome::CheckFailed;
    }
    voice.data(&data);
    outcome
}

fn tell_failed(voice: &Voice, args: &AlbumArgs, failed: Failed) -> Outcome {
    match failed {
        Failed::Fault(fault) => voice.fault(&fault),
        Failed::Text(text, problems) => {
            voice.problems_in(&args.album, &text, &problems);
            voice.data(&serde_json::json!({ "findings": problems }));
            Outcome::Input
        }
    }
}

/// The table, and what was found.
fn tell(voice: &Voice, record: &Record) {
    let songs = counted(record.songs.len(), "song");
    voice.say(&format!("{} by {}, {songs}: {}", record.title, record.artist, record.print));
    voice.say("");
    let widest = record.songs.iter().map(|row| row.title.chars().count()).max().unwrap_or(0).max(5);
    voice.say(&format!(
        "      {:widest$}  {:4}  {:>9}  {:>6}  {:>4}  {:>5}  {:>4}  {:>5}  {:>5}  {:>5}",
        "", "", "", "LUFS", "LU", "dBTP", "PLR", "low", "high", "corr."
    ));
    for row in &record.songs {
        let f = &row.figures;
        voice.say(&format!(
            "  {:2}  {:widest$}  {:4}  {:>9}  {:>6}  {:>4}  {:>5}  {:>4}  {:>5}  {:>5}  {:>5}{}",
            row.number,
            row.title,
            row.revision,
            format_time(row.secs),
            figure(f.integrated_lufs, 1),
            figure(f.loudness_range_lu, 1),
            figure(f.true_peak_dbtp, 1),
            figure(f.plr_db, 1),
            figure(f.low_db, 1),
            figure(f.high_db, 1),
            figure(f.correlation, 2),
            if row.finished { "" } else { "  not finished" },
        ));
    }
    voice.say("");
    voice.findings(&record.findings);
}
