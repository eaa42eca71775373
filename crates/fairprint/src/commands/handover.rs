//! `handover`: the delivery folder, and a check of one that has arrived.

use std::path::Path;

use engine::Fault;
use prints::handover::{Delivery, hand_over, verify};
use prints::history;
use units::Severity;

use crate::args::HandoverArgs;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command.
pub fn run(voice: &Voice, args: &HandoverArgs) -> Outcome {
    if args.verify {
        return check(voice, args);
    }
    let approvals = match approvals(args) {
        Ok(approvals) => approvals,
        Err(fault) => return voice.fault(&fault),
    };
    let delivery = Delivery {
        sheet: &args.subject,
        out: args.out.as_deref(),
        revision: args.revision.as_deref(),
        to: args.to.as_deref(),
        packed: args.zip,
        approvals: &approvals,
    };
    let handed = match hand_over(&delivery) {
        Ok(handed) => handed,
        Err(fault) => {
            let unfinished = fault.problem().code == "not-finished";
            let outcome = voice.fault(&fault);
            return if unfinished { Outcome::CheckFailed } else { outcome };
        }
    };
    voice.say(&format!("Handed over {} in {}", handed.revision, handed.folder.display()));
    for (name, _) in &handed.files {
        voice.say(&format!("  {name}"));
    }
    if let Some(packed) = &handed.packed {
        voice.say(&format!("All of it in one file: {}", packed.display()));
    }
    voice.say("Read letter.txt; `sha256sum -c SHA256SUMS` in the folder checks all of it.");
    voice.data(&handed);
    Outcome::Done
}

/// Who has approved which print of the revision, by its checksum.
fn approvals(args: &HandoverArgs) -> Result<Vec<String>, Fault> {
    let out = prints::revisions_of(&args.subject, args.out.as_deref());
    let (_, report) = history::find(&out, args.revision.as_deref())?;
    approvals_of(&args.subject, &report)
}

/// The same for a revision whose report was read.
pub fn approvals_of(sheet: &Path, report: &history::PastReport) -> Result<Vec<String>, Fault> {
    let notes = listening::notes::load(sheet, &report.title)?;
    let of_file = |file: &history::PastFile| {
        let line = |approval: &listening::notes::Approval| {
            format!("{} by {}, {} (SHA-256 {})", file.file_name(), approval.who, approval.written, approval.sha256)
        };
        notes.approvals_of(&file.sha256).map(line).collect::<Vec<_>>()
    };
    Ok(report.prints.iter().flat_map(of_file).collect())
}

fn check(voice: &Voice, args: &HandoverArgs) -> Outcome {
    let (files, problems) = match verify(&args.subject) {
        Ok(found) => found,
        Err(fault) => return voice.fault(&fault),
    };
    voice.findings(&problems);
    voice.data(&serde_json::json!({ "files": files, "findings": problems }));
    let failed = problems.iter().filter(|problem| problem.severity == Severity::Fail).count();
    match failed {
        0 => {
            voice.say(&format!("As they were sent: {}.", units::counted(files, "file")));
            Outcome::Done
        }
        _ => Outcome::CheckFailed,
    }
}
