//! `notes` and `listen` as scripts call them: exit codes, JSON, and what is on disk afterwards.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};

/// A sheet with one printed revision. Notes need its report, not its audio.
fn song() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let revision = folder.path().join("prints/r001");
    fs::create_dir_all(&revision).unwrap();
    let report = json!({ "engine": "0.1.0", "title": "Lantern Weather", "artist": "The Tin Orchard", "date": "2026-11-27 12:49:01 UTC",
        "label": null, "rate_hz": 48000, "frames": 4800000, "sections": [], "prints": [{ "name": "for approval",
        "kind": null, "format": "WAV 24 bit, 48 kHz", "path": "for approval.wav", "sha256": "ab".repeat(32),
        "measures": { "integrated_lufs": null, "loudness_range_lu": null, "true_peak_dbtp": null } }] });
    fs::write(revision.join("report.json"), report.to_string()).unwrap();
    fs::write(folder.path().join("sheet.toml"), "fairprint = 1\n").unwrap();
    folder
}

fn run(folder: &Path, words: &[&str]) -> (Option<i32>, Value) {
    let mut call = Command::new(env!("CARGO_BIN_EXE_fairprint"));
    let out = call.current_dir(folder).arg("--json").args(words).output().unwrap();
    (out.status.code(), serde_json::from_slice(&out.stdout).unwrap_or(Value::Null))
}

fn notes(at_secs: f64) -> String {
    json!({ "fairprint_notes": 1, "title": "Lantern Weather",
        "notes": [{ "id": "a1b2c3d4", "who": "Mara", "revision": "r001", "version": "for approval", "at_secs": at_secs,
            "text": "Voice up a little.", "written": "2026-11-27T10:00:00Z" }],
        "approvals": [{ "id": "e5", "who": "Mara", "revision": "r001", "version": "for approval", "sha256": "ab".repeat(32),
            "written": "2026-11-27T10:05:00Z" }] })
    .to_string()
}

#[test]
fn notes_come_in_once_and_are_answered() {
    let folder = song();
    let at = folder.path();
    fs::write(at.join("mara.json"), notes(41.2)).unwrap();
    let (code, added) = run(at, &["notes", "sheet.toml", "add", "mara.json", "mara.json"]);
    assert_eq!(
        (code, &added["added"][0]["new"], &added["added"][1]["known"]),
        (Some(0), &json!(2), &json!(2)),
        "{added}"
    );
    assert_eq!(added["findings"], json!([]));
    let (code, answered) = run(at, &["notes", "sheet.toml", "answer", "a1b2", "--declined", "It", "masks the bass."]);
    assert_eq!((code, &answered["note"]["answer"]), (Some(0), &json!("It masks the bass.")));
    let (code, listed) = run(at, &["notes", "sheet.toml", "list"]);
    let note = &listed["notes"][0];
    assert_eq!((code, &note["at_now_secs"], &note["note"]["state"]), (Some(0), &json!(41.2), &json!("declined")));
    assert_eq!(listed["approvals"][0]["sha256"], json!("ab".repeat(32)));
    assert!(at.join("sheet.notes.json").is_file() && at.join("sheet.notes.previous.json").is_file());
}

#[test]
fn a_false_file_is_refused_and_nothing_is_written() {
    let folder = song();
    let at = folder.path();
    fs::write(at.join("good.json"), notes(41.2)).unwrap();
    fs::write(at.join("bad.json"), "{\"fairprint_notes\": 1, \"notes\": [7]}").unwrap();
    let (code, said) = run(at, &["notes", "sheet.toml", "add", "good.json", "bad.json"]);
    assert_eq!((code, &said["findings"][0]["code"]), (Some(2), &json!("not-notes")), "{said}");
    assert!(!at.join("sheet.notes.json").exists());
    let (code, said) = run(at, &["notes", "sheet.toml", "answer", "zz"]);
    assert_eq!((code, &said["findings"][0]["code"]), (Some(2), &json!("unknown-note")));
}

#[test]
fn a_time_past_the_end_and_an_unknown_print_are_doubted() {
    let folder = song();
    let at = folder.path();
    fs::write(at.join("mara.json"), notes(4000.0).replace(&"ab".repeat(32), &"cd".repeat(32))).unwrap();
    let (code, added) = run(at, &["notes", "sheet.toml", "add", "mara.json"]);
    let codes: Vec<&str> = added["findings"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect();
    assert_eq!((code, codes), (Some(0), vec!["past-the-end", "unknown-approval"]));
}

#[test]
fn what_was_never_printed_cannot_be_heard() {
    let folder = song();
    let at = folder.path();
    let (code, said) = run(at, &["listen", "sheet.toml", "--revision", "r007"]);
    assert_eq!((code, &said["findings"][0]["code"]), (Some(2), &json!("unknown-revision")), "{said}");
    fs::remove_dir_all(at.join("prints")).unwrap();
    for words in [&["notes", "sheet.toml", "list"][..], &["listen", "sheet.toml"]] {
        let (code, said) = run(at, words);
        assert_eq!((code, &said["findings"][0]["code"]), (Some(2), &json!("no-revision")), "{said}");
    }
    assert!(!at.join("listening").exists());
}
