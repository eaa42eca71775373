//! What scripts rely on in each form of `compare`.

use std::fs;

use serde_json::Value;

use super::{Song, fairprint, json};

/// The song printed twice, the second time with the voice 6 dB up.
fn printed_twice() -> Song {
    let song = Song::new();
    assert_eq!(fairprint(&["print", &song.sheet(), "--quiet"]).status.code(), Some(0));
    song.change("file = \"lead voice.wav\"", "file = \"lead voice.wav\"\ntrim_db = 6");
    assert_eq!(fairprint(&["print", &song.sheet(), "--quiet"]).status.code(), Some(0));
    song
}

#[test]
fn compare_takes_revisions_print_by_print() {
    let song = printed_twice();
    let sheet = song.sheet();
    let compare = |args: &[&str]| fairprint(&[&["compare", "--sheet", &sheet, "--json"], args].concat());
    let found = json(&compare(&["r001", "r002"]));
    assert_eq!(found["revisions"], serde_json::json!(["r001", "r002"]));
    let prints = found["prints"].as_array().unwrap();
    let names: Vec<&str> = prints.iter().map(|print| print["print"].as_str().unwrap()).collect();
    assert_eq!(names, ["for mastering", "for approval"]);
    for print in prints {
        // The voice is a tone at 880 Hz, in the third octave of 800 Hz; 6 dB more of it than before, loudness aside.
        let tone = |print: &Value, hz: f64| {
            let bands = print["matched_third_octave_db"].as_array().unwrap();
            bands.iter().find(|band| band[0] == hz).unwrap()[1].as_f64().unwrap()
        };
        let lift = tone(print, 800.0) - tone(print, 50.0);
        assert!((lift - 6.0).abs() < 1.5, "{}: {lift}", print["print"]);
        assert!(print["files"][0].as_str().unwrap().contains("r001") && print["statement"].is_string());
    }
    let one = json(&compare(&["r001", "r002", "--print", "for approval"]));
    assert_eq!(one["prints"].as_array().unwrap().len(), 1);
    let unknown = compare(&["r001", "r007"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert_eq!(json(&unknown)["findings"][0]["remedy"], "Take one of: r001, r002.");
    assert_eq!(compare(&["r001", "r002", "--print", "for vinyl"]).status.code(), Some(2));
    // Prints by name, as last printed.
    let prints = json(&compare(&["for mastering", "for approval"]));
    assert!((prints["b"]["integrated_lufs"].as_f64().unwrap() + 12.0).abs() < 0.1, "{}", prints["b"]);
    assert_eq!(compare(&["for mastering", "for vinyl"]).status.code(), Some(2));
}

#[test]
fn compare_takes_a_print_with_and_without_a_part() {
    let song = Song::new();
    let sheet = song.sheet();
    let compare = |print: &str, part: &str| {
        fairprint(&["compare", "--sheet", &sheet, "--print", print, "--without", part, "--json"])
    };
    let before = fs::read_dir(song.folder.path()).unwrap().count();
    let found = json(&compare("for mastering", "lead voice"));
    // Without the voice its third octave falls by far more than any other. Lasting tones leave the delay a little room: what
    // is missing pulls the fit by hundredths of a sample.
    let bands = found["difference"]["third_octave_db"].as_array().unwrap();
    let at = |hz: f64| bands.iter().find(|band| band[0] == hz).unwrap()[1].as_f64().unwrap();
    assert!(at(800.0) < -20.0 && at(50.0).abs() < 0.1, "{} {}", at(800.0), at(50.0));
    assert!(found["delay_samples"].as_f64().unwrap().abs() < 0.05 && found["without"] == "lead voice");
    assert!(found["gain_ahead_db"].is_null(), "no loudness is asked for");
    let held = json(&compare("for approval", "crush"));
    assert!(held["gain_ahead_db"].is_number() && held["statement"].is_string(), "{held}");
    assert!((held["a"]["integrated_lufs"].as_f64().unwrap() + 12.0).abs() < 0.05, "A is the print: {}", held["a"]);
    let quieter = json(&compare("for approval", "lead voice"));
    let less = quieter["difference"]["integrated_lufs"].as_f64().unwrap();
    assert!(less < -0.5 && quieter["gain_ahead_db"] == held["gain_ahead_db"], "the gain is not found anew: {less}");
    let off = json(&compare("for approval", "crush, compressor"));
    assert!(off["null_depth_db"].as_f64().unwrap() > -60.0, "{}", off["null_depth_db"]);
    for (print, part) in [("for approval", "crsh"), ("for approval", "crush, limiter"), ("for vinyl", "crush")] {
        let wrong = compare(print, part);
        assert_eq!(wrong.status.code(), Some(2));
        assert!(json(&wrong)["findings"][0]["remedy"].as_str().unwrap().starts_with("Take one of: "), "{part}");
    }
    assert_eq!(fs::read_dir(song.folder.path()).unwrap().count(), before, "nothing is left behind");
}

#[test]
fn compare_stands_a_file_against_references() {
    let song = Song::new();
    song.change(
        "[[stem]]\nname = \"kick\"",
        "[[reference]]\nname = \"rough\"\nfile = \"keys.wav\"\n[[stem]]\nname = \"kick\"",
    );
    let [kick, keys, voice] =
        ["kick.wav", "keys.wav", "lead voice.wav"].map(|name| song.path(name).display().to_string());
    let found = json(&fairprint(&["compare", &kick, "--against", &keys, &voice, "--json"]));
    assert_eq!(found["references"].as_array().unwrap().len(), 2);
    assert!(found["balance"]["statement"].as_str().unwrap().ends_with('.'));
    let louder = &found["balance"]["integrated_lufs"];
    let references = found["references"].as_array().unwrap();
    let lufs: Vec<f64> = references.iter().map(|found| found["b"]["integrated_lufs"].as_f64().unwrap()).collect();
    assert_eq!(louder["set"][0].as_f64().unwrap(), lufs[0].min(lufs[1]));
    assert_eq!(louder["here"], references[0]["a"]["integrated_lufs"]);
    let named = fairprint(&["compare", &kick, "--against", "rough", "--sheet", &song.sheet()]);
    let said = String::from_utf8(named.stdout).unwrap();
    assert!(said.contains("against 1 reference.") && said.contains("keys.wav as B: "), "{said}");
    let wrong = fairprint(&["compare", &kick, "--against", "ruff", "--sheet", &song.sheet(), "--json"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(json(&wrong)["findings"][0]["remedy"].as_str().unwrap().contains("rough"));
}

#[test]
fn compare_speaks_in_a_sentence_and_a_table_and_asks_where_it_is_unclear() {
    let song = Song::new();
    let [kick, keys] = ["kick.wav", "keys.wav"].map(|name| song.path(name).display().to_string());
    let said = String::from_utf8(fairprint(&["compare", &kick, &keys]).stdout).unwrap();
    for words in ["B is ", "PSR, median", "onset sharpness", "level, matched", "31.5 Hz", "16 kHz", "nothing lines up"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(
        said.lines().all(|line| line.starts_with("A is") || line.starts_with("B is") || line.chars().count() <= 120)
    );
    for args in [&["compare"][..], &["compare", &kick], &["compare", &kick, &keys, "--against", &keys]] {
        let unclear = fairprint(&[args, &["--json"]].concat());
        assert_eq!(unclear.status.code(), Some(2));
        assert_eq!(json(&unclear)["findings"][0]["code"], "unclear-comparison");
    }
    assert_eq!(fairprint(&["compare", &kick, "no such file.wav"]).status.code(), Some(2));
}
