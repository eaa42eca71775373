//! Two runs of one sheet at once.

use crate::song::{Song, entries, said, whole_revisions};

#[test]
fn prints_of_one_sheet_at_once_become_revisions_of_their_own() {
    let song = Song::new();
    let runs: Vec<_> = (0..3).map(|_| song.command(&["print", "sheet.toml", "--quiet"]).spawn().unwrap()).collect();
    for run in runs {
        let output = run.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    }
    assert_eq!(whole_revisions(&song.path("prints")), 3);
    assert_eq!(entries(&song.path("prints")), ["r001", "r002", "r003"]);
}

#[test]
fn of_two_handovers_to_one_folder_one_is_made_and_the_other_says_why_not() {
    let song = Song::new();
    song.print();
    let start = || song.command(&["handover", "sheet.toml", "--to", "out"]).spawn().unwrap();
    let runs = [start(), start()].map(|run| run.wait_with_output().unwrap());
    let mut codes = runs.each_ref().map(|output| output.status.code());
    codes.sort();
    assert_eq!(codes, [Some(0), Some(2)], "{}{}", said(&runs[0]), said(&runs[1]));
    let refused = runs.iter().find(|output| output.status.code() == Some(2)).unwrap();
    assert!(said(refused).contains("exists already"), "{}", said(refused));
    assert_eq!(entries(song.folder.path()).iter().filter(|name| name.starts_with('.')).count(), 0);
}

#[test]
fn notes_that_come_in_at_once_are_all_kept() {
    let song = Song::new();
    song.print();
    for round in 0..5 {
        let runs: Vec<_> = (0..4)
            .map(|writer| {
                let note = serde_json::json!({ "id": format!("{:08x}", 16 * round + writer + 1), "who": "Ivy", "revision": "r001",
                    "version": "for approval", "at_secs": 0.5, "text": "Yes.", "written": "2026-11-27T10:00:00Z" });
                let sent = serde_json::json!({ "fairprint_notes": 1, "title": "Lantern Weather", "notes": [note] });
                let name = format!("{writer}.json");
                std::fs::write(song.path(&name), sent.to_string()).unwrap();
                song.command(&["notes", "sheet.toml", "add", &name]).spawn().unwrap()
            })
            .collect();
        for run in runs {
            let output = run.wait_with_output().unwrap();
            assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        }
        let kept: serde_json::Value =
            serde_json::from_slice(&std::fs::read(song.path("sheet.notes.json")).unwrap()).unwrap();
        assert_eq!(kept["notes"].as_array().unwrap().len(), 4 * (round + 1), "round {round}");
    }
}
