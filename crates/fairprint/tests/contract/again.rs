//! `print --again`: an old revision comes out the same, and what has changed since is named.

use std::fs;

use super::{Song, fairprint, json, write_wav};

#[test]
fn a_revision_prints_to_the_same_bytes_until_a_recording_changes() {
    let song = Song::new();
    // Every format, and a date that only the run knows.
    let every = r#"files = [{ format = "wav" }, { format = "aiff", bits = 16 }, { format = "mp3", kbps = 256 },
        { format = "opus", kbps = 128 }, { format = "vorbis", kbps = 192 }]"#;
    song.change(r#"files = [{ format = "wav", bits = 24 }, { format = "mp3", kbps = 256 }]"#, every);
    let printed = fairprint(&["print", &song.sheet(), "--label", "first", "--quiet"]);
    assert_eq!(printed.status.code(), Some(0), "{}", String::from_utf8_lossy(&printed.stderr));
    let sheet = fs::read_to_string(song.path("sheet.toml")).unwrap();
    let before = listed(&song);
    // What the sheet says now is of no matter, nor is the second in which it is printed.
    song.change("name = \"lead voice\"\n", "name = \"lead voice\"\ntrim_db = 1.5\n");
    std::thread::sleep(std::time::Duration::from_millis(1100));
    let output = fairprint(&["print", &song.sheet(), "--again", "r001", "--json"]);
    let again = json(&output);
    assert_eq!(output.status.code(), Some(0), "{again:#}");
    assert_eq!((again["same"].as_bool(), again["files"].as_array().unwrap().len()), (Some(true), 7));
    assert!(again["sources"].as_array().unwrap().is_empty());
    assert_eq!(listed(&song), before, "nothing is kept");

    write_wav(&song.path("keys.wav"), &vec![[0.05, -0.05]; 5 * 48_000]);
    let output = fairprint(&["print", &song.sheet(), "--again", "r001", "--json"]);
    let again = json(&output);
    assert_eq!((output.status.code(), again["same"].as_bool()), (Some(1), Some(false)));
    assert_eq!(again["sources"], serde_json::json!([{ "path": "keys.wav", "what": "changed" }]));
    let said = fairprint(&["print", &song.sheet(), "--again", "r001"]);
    assert!(String::from_utf8_lossy(&said.stdout).contains("recording keys.wav: changed"));
    assert_eq!(fs::read_to_string(song.path("prints/r001/sheet.toml")).unwrap(), sheet);

    let missing = fairprint(&["print", &song.sheet(), "--again", "r007"]);
    assert_eq!(missing.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&missing.stderr).contains("r001"));
}

#[test]
fn a_revision_of_one_print_is_compared_with_that_print() {
    let song = Song::new();
    assert_eq!(fairprint(&["print", &song.sheet(), "--only", "for mastering", "--quiet"]).status.code(), Some(0));
    let output = fairprint(&["print", &song.sheet(), "--again", "r001", "--json"]);
    assert_eq!((output.status.code(), json(&output)["files"].as_array().unwrap().len()), (Some(0), 2));
}

fn listed(song: &Song) -> Vec<String> {
    let entries = fs::read_dir(song.path("prints")).unwrap();
    let mut names: Vec<String> = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}
