//! `album`: songs side by side, outliers, one handover.

use std::fs;
use std::process::Command;

use super::{fairprint, json, write_wav};

/// Four songs in folders of one album; the third is darker and softer by its sheet.
fn record() -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let mut text = "fairprint_album = 1\ntitle = \"Slack Water\"\nartist = \"The Tin Orchard\"\n\
                    print = \"for approval\"\n"
        .to_owned();
    for (number, lufs) in [(1, -14.0), (2, -14.5), (3, -18.0), (4, -14.0)] {
        let song = folder.path().join(format!("song {number}"));
        fs::create_dir(&song).unwrap();
        let sine = |n: usize| 0.2 * libm::sin(std::f64::consts::TAU * 440.0 * n as f64 / 48_000.0);
        write_wav(&song.join("keys.wav"), &(0..48_000).map(|n| [sine(n), sine(n)]).collect::<Vec<_>>());
        let sheet = format!(
            "fairprint = 1\n[song]\ntitle = \"Song {number}\"\nartist = \"The Tin Orchard\"\nalbum = \"Slack Water\"\n\
             rate_hz = 48000\n[[stem]]\nname = \"keys\"\nfile = \"keys.wav\"\nto = \"mix\"\n[[bus]]\nname = \"mix\"\n\
             [[print]]\nname = \"for approval\"\nfrom = \"mix\"\nchain = [{{ limiter = {{ ceiling_dbtp = -1 }} }}]\n\
             loudness = {{ lufs = {lufs} }}\nfiles = [{{ format = \"wav\", bits = 24 }}]\n"
        );
        fs::write(song.join("sheet.toml"), sheet).unwrap();
        text += &format!("[[song]]\nsheet = \"song {number}/sheet.toml\"\n");
    }
    let album = folder.path().join("album.toml");
    fs::write(&album, text).unwrap();
    let album = album.display().to_string();
    (folder, album)
}

#[test]
fn a_record_is_printed_laid_side_by_side_and_handed_over_as_one() {
    let (folder, album) = record();
    let output = fairprint(&["album", &album, "--handover", "--zip", "--json"]);
    let found = json(&output);
    assert_eq!(output.status.code(), Some(0), "{found:#}");
    let titles: Vec<&str> =
        found["songs"].as_array().unwrap().iter().map(|row| row["title"].as_str().unwrap()).collect();
    assert_eq!(titles, ["Song 1", "Song 2", "Song 3", "Song 4"]);
    let apart: Vec<&serde_json::Value> =
        found["findings"].as_array().unwrap().iter().filter(|finding| finding["code"] == "stands-apart").collect();
    assert!(apart.len() == 1 && apart[0]["where"] == "Song 3", "{apart:?}");
    assert!(apart[0]["message"].as_str().unwrap().contains("4.0 LU softer"), "{apart:?}");
    let handed = folder.path().join("handover/Slack Water");
    // Checked by a program from outside: GNU coreutils.
    let outside =
        Command::new("sha256sum").args(["-c", "--quiet", "--strict", "SHA256SUMS"]).current_dir(&handed).status();
    assert!(outside.unwrap().success());
    for received in ["Slack Water", "Slack Water.zip", "Slack Water/02 Song 2"] {
        let received = folder.path().join("handover").join(received).display().to_string();
        assert_eq!(fairprint(&["handover", "--verify", &received]).status.code(), Some(0), "{received}");
    }
    assert!(fs::read_to_string(handed.join("songs.txt")).unwrap().contains(" 2  Song 2"));
    // Nothing is printed anew, and nothing is overwritten.
    let output = fairprint(&["album", &album, "--as-printed", "--handover", "--json"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(!folder.path().join("song 1/prints/r002").exists());
}

#[test]
fn a_song_that_cannot_be_printed_is_named_and_the_others_are_there() {
    let (folder, album) = record();
    fs::remove_file(folder.path().join("song 2/keys.wav")).unwrap();
    let sheet = folder.path().join("song 4/sheet.toml");
    fs::write(&sheet, fs::read_to_string(&sheet).unwrap().replace("Slack Water", "Slake Water")).unwrap();
    let output = fairprint(&["album", &album, "--handover", "--json"]);
    let found = json(&output);
    assert_eq!((output.status.code(), found["songs"].as_array().unwrap().len()), (Some(1), 3), "{found:#}");
    let codes: Vec<&str> =
        found["findings"].as_array().unwrap().iter().map(|finding| finding["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"song-missing") && codes.contains(&"record-labels"), "{found:#}");
    assert!(!folder.path().join("handover").exists());
    fs::write(folder.path().join("album.toml"), "fairprint_album = 1\ntitel = \"x\"\n").unwrap();
    assert_eq!(fairprint(&["album", &album]).status.code(), Some(2));
}
