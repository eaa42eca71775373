//! `history` and `handover`: what changed, what goes out, what arrived.

use std::fs;
use std::path::Path;
use std::process::Command;

use super::{Song, fairprint, fairprint_within, json};

/// A song with two revisions: in the second, the voice is louder.
fn printed_twice() -> Song {
    let song = Song::new();
    assert_eq!(fairprint(&["print", &song.sheet(), "--quiet"]).status.code(), Some(0));
    song.change("name = \"lead voice\"\n", "name = \"lead voice\"\ntrim_db = 1.5\n");
    assert_eq!(fairprint(&["print", &song.sheet(), "--quiet", "--label", "voice up"]).status.code(), Some(0));
    song
}

#[test]
fn history_lists_revisions_and_says_what_changed() {
    let song = printed_twice();
    let listed = json(&fairprint(&["history", &song.sheet(), "--json"]));
    let revisions = listed["revisions"].as_array().unwrap();
    assert_eq!((revisions.len(), revisions[1]["report"]["label"].as_str()), (2, Some("voice up")));
    assert_eq!(revisions[0]["report"]["sources"].as_array().unwrap().len(), 3);

    let found = json(&fairprint(&["history", &song.sheet(), "r001", "r002", "--json"]));
    let changes = found["changes"].as_array().unwrap();
    assert_eq!(changes.len(), 1, "{changes:?}");
    assert_eq!(changes[0]["at"], "lead voice");
    assert_eq!(changes[0]["what"], "trim 0 dB → 1.5 dB");
    assert!(found["sources"].as_array().unwrap().is_empty());
    assert_eq!(found["sound"]["prints"].as_array().unwrap().len(), 2);

    let here = json(&fairprint_within(song.folder.path(), &["history", "r001", "r002", "--json"]));
    assert_eq!([&here["revisions"], &here["changes"]], [&found["revisions"], &found["changes"]]);
    let alone = fairprint(&["history", &song.sheet(), "r002"]);
    assert!(String::from_utf8_lossy(&alone.stderr).contains("r002 alone"));

    let fault = fairprint(&["history", &song.sheet(), "r001", "r009"]);
    assert_eq!(fault.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&fault.stderr).contains("r001, r002"));
    // A damaged revision is told, and blocks no other.
    fs::write(song.path("prints/r001/report.json"), "{").unwrap();
    let text = fairprint(&["history", &song.sheet()]);
    let text = String::from_utf8_lossy(&text.stdout).into_owned();
    assert!(text.contains("r001  cannot be read") && text.contains("r002  "), "{text}");
}

#[test]
fn a_handover_is_whole_and_any_change_on_the_way_is_found() {
    let song = printed_twice();
    let report = json_file(&song.path("prints/r002/report.json"));
    let sha256 = report["prints"][0]["sha256"].as_str().unwrap();
    let notes = serde_json::json!({
        "fairprint_notes": 1, "title": "Lantern Weather",
        "approvals": [{ "id": "a1b2c3d4", "who": "Ivy", "revision": "r002", "version": "for mastering", "sha256": sha256,
            "written": "2026-11-27T10:00:00Z" }],
    });
    fs::write(song.path("from ivy.json"), notes.to_string()).unwrap();
    let added = fairprint(&["notes", &song.sheet(), "add", &song.path("from ivy.json").display().to_string()]);
    assert_eq!(added.status.code(), Some(0), "{}", String::from_utf8_lossy(&added.stderr));
    let handed = fairprint(&["handover", &song.sheet(), "--to", &song.path("out").display().to_string(), "--json"]);
    assert_eq!(handed.status.code(), Some(0), "{}", String::from_utf8_lossy(&handed.stderr));
    let folder = song.path("out");
    let letter = fs::read_to_string(folder.join("letter.txt")).unwrap();
    assert!(letter.contains("Lantern Weather by The Tin Orchard") && letter.contains("LUFS integrated"), "{letter}");
    assert!(letter.contains("by Ivy") && letter.contains(sha256), "the approval goes with it: {letter}");
    let recall = fs::read_to_string(folder.join("documents/recall.html")).unwrap();
    assert!(recall.contains("lead voice") && recall.contains("trimmed by 1.5 dB"));
    // Checked by a program from outside: GNU coreutils.
    let outside = Command::new("sha256sum").args(["-c", "--quiet", "SHA256SUMS"]).current_dir(&folder).status();
    assert!(outside.is_ok_and(|status| status.success()) || cfg!(not(target_os = "linux")));
    assert_eq!(verified(&folder), Some(0));
    // Nothing is overwritten.
    let again = fairprint(&["handover", &song.sheet(), "--to", &folder.display().to_string()]);
    assert_eq!(again.status.code(), Some(2));

    fs::write(folder.join("documents/sheet.toml"), "fairprint = 1").unwrap();
    assert_eq!(verified(&folder), Some(1));
    fs::remove_file(folder.join("documents/sheet.toml")).unwrap();
    assert_eq!(verified(&folder), Some(1));
    // A list that leads out of the folder is refused, not followed.
    fs::write(folder.join("SHA256SUMS"), format!("{}  ../sheet.toml\n", "0".repeat(64))).unwrap();
    let said = fairprint(&["handover", "--verify", &folder.display().to_string()]);
    assert!(said.status.code() == Some(1) && String::from_utf8_lossy(&said.stdout).contains("no line of a list"));
}

#[test]
fn a_handover_in_one_file_is_checked_without_unpacking() {
    let song = printed_twice();
    let to = song.path("out/set").display().to_string();
    let handed = json(&fairprint(&["handover", &song.sheet(), "--to", &to, "--zip", "--json"]));
    let packed = song.path("out/set.zip");
    assert_eq!(handed["packed"], packed.display().to_string());
    assert_eq!(fs::read_dir(song.path("out")).unwrap().count(), 2, "nothing else is left");
    let report = json(&fairprint(&["handover", "--verify", &packed.display().to_string(), "--json"]));
    assert_eq!(report["files"].as_u64(), Some(handed["files"].as_array().unwrap().len() as u64));
    assert!(report["findings"].as_array().unwrap().is_empty(), "{report}");
    // An archive that is there is not overwritten, and then no folder is made either.
    fs::remove_dir_all(song.path("out/set")).unwrap();
    assert_eq!(fairprint(&["handover", &song.sheet(), "--to", &to, "--zip"]).status.code(), Some(2));
    assert!(!song.path("out/set").exists());

    let whole = fs::read(&packed).unwrap();
    let mut bytes = whole.clone();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(&packed, &bytes).unwrap();
    assert_eq!(verified(&packed), Some(1), "one bit is another");
    fs::write(&packed, &whole[..whole.len() - 100]).unwrap();
    assert_eq!(verified(&packed), Some(2), "its end is missing");
    fs::write(&packed, "no archive").unwrap();
    assert_eq!(verified(&packed), Some(2));
}

#[test]
fn what_is_not_finished_or_not_what_was_printed_does_not_go_out() {
    let song = printed_twice();
    let report = song.path("prints/r002/report.json");
    let text = fs::read_to_string(&report).unwrap();
    assert!(text.contains("\"finished\": true"));
    fs::write(&report, text.replace("\"finished\": true", "\"finished\": false")).unwrap();
    assert_eq!(fairprint(&["handover", &song.sheet()]).status.code(), Some(1));
    fs::write(&report, &text).unwrap();
    let audio = fs::read_dir(song.path("prints/r002"))
        .unwrap()
        .flatten()
        .find(|entry| Path::new(&entry.file_name()).extension().is_some_and(|ending| ending == "wav"));
    let audio = audio.unwrap().path();
    let mut bytes = fs::read(&audio).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(&audio, bytes).unwrap();
    assert_eq!(fairprint(&["handover", &song.sheet()]).status.code(), Some(2));
    assert!(!song.path("handover").join("Lantern Weather r002").exists(), "nothing is left behind");
}

fn json_file(path: &Path) -> serde_json::Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

fn verified(folder: &Path) -> Option<i32> {
    fairprint(&["handover", "--verify", &folder.display().to_string()]).status.code()
}
