//! Hostile files, read in this process: each is read right or refused in one clear sentence, and never panics.
//!
//! `crates/fairprint/tests/hostile.rs` sends the same corpus through the program, with its time and memory held.

#![allow(clippy::unwrap_used)]

mod hostile;

use std::path::Path;

use hostile::{Case, Outcome, corpus};
use media::{MediaError, Reader};
use units::Frame;

/// Most frames of a case that are read: none has more, unless a codec makes silence of nothing.
const MOST_FRAMES: usize = 4_000_000;

fn read(path: &Path) -> Result<Vec<Frame>, MediaError> {
    let mut reader = Reader::open(path)?;
    let mut frames = Vec::new();
    let mut block = vec![[0.0; 2]; 4096];
    while frames.len() < MOST_FRAMES {
        let count = reader.read(&mut block)?;
        if count == 0 {
            assert_eq!(frames.len() as u64, reader.info().frames, "the length that was stated");
            break;
        }
        frames.extend_from_slice(&block[..count]);
    }
    Ok(frames)
}

/// What is wrong with what came of a case.
fn judge(case: &Case, came: Result<Vec<Frame>, MediaError>) -> Option<String> {
    match (&case.outcome, came) {
        (Outcome::Reads(expected), Ok(frames)) if frames != *expected => {
            Some(format!("read wrongly: {} frames, {} expected", frames.len(), expected.len()))
        }
        (Outcome::Reads(_), Err(error)) => Some(format!("refused: {error}")),
        (Outcome::Refused(_), Ok(frames)) => Some(format!("read: {} frames", frames.len())),
        (_, Err(error)) if error.is_machine_fault() => Some(format!("the machine is blamed: {error}")),
        (_, Err(error)) if error.remedy().is_empty() => Some("no remedy".to_owned()),
        (Outcome::Refused(words), Err(error)) if !error.to_string().contains(words) => {
            Some(format!("refused in other words: {error}"))
        }
        _ => None,
    }
}

#[test]
fn every_file_is_read_right_or_refused() {
    let folder = tempfile::tempdir().unwrap();
    let cases = corpus();
    assert!(cases.len() >= 150, "{} cases", cases.len());
    let mut faults = Vec::new();
    for (number, case) in cases.iter().enumerate() {
        let path = case.put(folder.path(), number);
        let came = std::panic::catch_unwind(|| read(&path));
        let fault = came.map_or_else(|_| Some("a panic".to_owned()), |came| judge(case, came));
        faults.extend(fault.map(|fault| format!("{}: {fault}", case.name)));
        std::fs::remove_file(&path).unwrap();
    }
    assert!(faults.is_empty(), "{} of {}:\n{}", faults.len(), cases.len(), faults.join("\n"));
}
