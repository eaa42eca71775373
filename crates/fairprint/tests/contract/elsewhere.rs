//! Where a machine stands and what it speaks changes nothing: no byte of a print, no word of an answer.

use std::process::{Command, Output};

use super::{Song, json};

/// Where the machine is said to stand, as time zone and language: far ahead, odd minutes, commas in numbers, letters whose
/// capitals differ.
const PLACES: [(&str, &str); 3] =
    [("UTC", "C"), ("Pacific/Chatham", "tr_TR.UTF-8"), ("America/St_Johns", "de_DE.UTF-8")];

fn fairprint_at((zone, language): (&str, &str), args: &[&str]) -> Output {
    let mut call = Command::new(env!("CARGO_BIN_EXE_fairprint"));
    call.args(args).env("TZ", zone).env("LC_ALL", language).env("LANG", language).output().unwrap()
}

#[test]
fn language_and_time_zone_change_no_byte_of_a_print() {
    let song = Song::new();
    let sheet = song.sheet();
    assert_eq!(fairprint_at(PLACES[1], &["print", &sheet, "--quiet"]).status.code(), Some(0));
    for place in [PLACES[0], PLACES[2]] {
        let output = fairprint_at(place, &["print", &sheet, "--again", "r001", "--json"]);
        assert_eq!(json(&output)["same"], true, "{place:?}: {:#}", json(&output));
    }
    // The date of a run is in universal time, wherever it was made.
    let report = std::fs::read_to_string(song.path("prints/r001/report.json")).unwrap();
    let report: serde_json::Value = serde_json::from_str(&report).unwrap();
    let date = report["date"].as_str().unwrap();
    let utc = Command::new("date").args(["-u", "+%Y-%m-%d"]).output().unwrap();
    assert!(date.starts_with(String::from_utf8_lossy(&utc.stdout).trim()), "{date}");
}

#[test]
fn language_and_time_zone_change_no_word_of_an_answer() {
    let song = Song::new();
    let (sheet, keys) = (song.sheet(), song.path("keys.wav").display().to_string());
    let calls: [&[&str]; 5] = [
        &["measure", &keys],
        &["measure", &keys, "--json"],
        &["check", &sheet, "--plan"],
        &["schema"],
        &["starts", "--json"],
    ];
    for args in calls {
        let [here, there, elsewhere] = PLACES.map(|place| fairprint_at(place, args).stdout);
        assert!(!here.is_empty() && here == there && here == elsewhere, "{args:?}");
    }
}
