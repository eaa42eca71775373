//! What scripts rely on: exit codes, the JSON of each command, files that appear whole or not at all.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

mod short_song;

use short_song::{SHEET, write_song, write_wav};

#[path = "contract/again.rs"]
mod again;
#[path = "contract/album.rs"]
mod album;
#[path = "contract/compare.rs"]
mod compare;
#[path = "contract/elsewhere.rs"]
mod elsewhere;
#[path = "contract/handover.rs"]
mod handover;

fn fairprint(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fairprint")).args(args).output().unwrap()
}

/// The same, by somebody who stands in a folder.
fn fairprint_within(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fairprint")).args(args).current_dir(folder).output().unwrap()
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| {
        panic!("{error}: {}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
    })
}

/// A folder with a short song: three stems and a sheet with two prints.
struct Song {
    folder: tempfile::TempDir,
}

impl Song {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        write_song(folder.path(), 5, SHEET);
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn sheet(&self) -> String {
        self.path("sheet.toml").display().to_string()
    }

    fn change(&self, from: &str, to: &str) {
        let text = fs::read_to_string(self.path("sheet.toml")).unwrap();
        assert!(text.contains(from));
        fs::write(self.path("sheet.toml"), text.replace(from, to)).unwrap();
    }
}

#[test]
fn in_the_folder_of_a_song_its_sheet_need_not_be_named() {
    let song = Song::new();
    let checked = fairprint_within(song.folder.path(), &["check"]);
    assert_eq!(checked.status.code(), Some(0), "{}", String::from_utf8_lossy(&checked.stderr));
    let empty = tempfile::tempdir().unwrap();
    let missed = fairprint_within(empty.path(), &["check"]);
    let said = String::from_utf8_lossy(&missed.stderr);
    assert!(missed.status.code() == Some(2) && said.contains("There is no sheet.toml in this folder."), "{said}");
}

#[test]
fn a_print_is_described_in_json_and_lands_in_a_revision() {
    let song = Song::new();
    let output = fairprint(&["print", &song.sheet(), "--json"]);
    let report = json(&output);
    assert_eq!(output.status.code(), Some(0), "{report:#}");
    assert_eq!(report["revision"], "r001");
    let prints = report["prints"].as_array().unwrap();
    assert_eq!(prints.len(), 4);
    for print in prints {
        let path = PathBuf::from(print["path"].as_str().unwrap());
        assert!(path.is_file(), "{}", path.display());
        assert_eq!(print["sha256"].as_str().unwrap().len(), 64);
        assert!(print["realtime_factor"].as_f64().unwrap() > 0.0 && print["findings"].is_array());
    }
    let loud = prints.iter().filter(|print| print["name"] == "for approval");
    for print in loud {
        let lufs = print["measures"]["integrated_lufs"].as_f64().unwrap();
        // Design, section 5: within 0.05 LU; an MP3 file may add its own.
        assert!((lufs + 12.0).abs() <= 0.05 + 0.05, "{lufs}");
        assert!(
            print["measures"]["true_peak_dbtp"].as_f64().unwrap() <= -0.98
                || print["path"].as_str().unwrap().ends_with("mp3")
        );
    }
    let folder = song.path("prints/r001");
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names.len(), 7, "four files, two reports and the sheet, nothing else: {names:?}");
    assert_eq!(fs::read_to_string(song.path("prints/r001/sheet.toml")).unwrap(), SHEET);
}

#[test]
fn a_second_print_is_a_new_revision_with_the_same_audio() {
    let song = Song::new();
    let audio = |revision: &str| {
        let output = fairprint(&["print", &song.sheet(), "--json", "--only", "for mastering"]);
        let report = json(&output);
        assert_eq!(report["revision"], revision);
        let path = report["prints"][0]["path"].as_str().unwrap().to_owned();
        let bytes = fs::read(path).unwrap();
        let data = bytes.windows(4).position(|window| window == b"data").unwrap();
        bytes[data..].to_vec()
    };
    assert!(audio("r001") == audio("r002"));
}

#[test]
fn a_faulty_sheet_ends_with_2_and_points_at_the_place() {
    let song = Song::new();
    song.change("threshold_db", "treshold_db");
    let output = fairprint(&["print", &song.sheet(), "--json"]);
    assert_eq!(output.status.code(), Some(2));
    let finding = &json(&output)["findings"][0];
    assert_eq!(finding["severity"], "fail");
    assert_eq!(finding["place"]["line"], 23);
    assert!(finding["remedy"].as_str().unwrap().contains("threshold_db"), "{finding}");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.contains("sheet.toml:23") && said.contains("treshold_db"), "{said}");
    assert!(!song.path("prints").exists(), "nothing was written");
}

#[test]
fn a_print_that_would_be_silent_ends_check_with_1() {
    let song = Song::new();
    song.change("name = \"mix\"\n[[print]]", "name = \"mix\"\nmute = true\n[[print]]");
    let output = fairprint(&["check", &song.sheet(), "--json"]);
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(json(&output)["findings"].as_array().unwrap().iter().any(|finding| finding["severity"] == "fail"));
}

#[test]
fn a_pattern_names_the_files() {
    let song = Song::new();
    song.change("kind = \"mastering\"", "kind = \"mastering\"\npattern = \"{title}-{print}-{revision}-{resolution}\"");
    let output = fairprint(&["print", &song.sheet(), "--json", "--only", "for mastering"]);
    let path = json(&output)["prints"][0]["path"].as_str().unwrap().to_owned();
    assert!(path.ends_with("LanternWeather-ForMastering-01-48k24.wav"), "{path}");
}

#[test]
fn a_missing_stem_ends_with_2_and_names_it() {
    let song = Song::new();
    fs::remove_file(song.path("keys.wav")).unwrap();
    for command in ["check", "print"] {
        let output = fairprint(&[command, &song.sheet()]);
        assert_eq!(output.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&output.stderr).contains("keys.wav"));
    }
    assert!(!song.path("prints").exists());
}

#[test]
fn a_loudness_out_of_reach_ends_with_1() {
    let song = Song::new();
    song.change("lufs = -12", "lufs = -6");
    song.change("ceiling_dbtp = -1", "ceiling_dbtp = -12");
    let output = fairprint(&["print", &song.sheet(), "--json", "--only", "for approval"]);
    assert_eq!(output.status.code(), Some(1));
    let report = json(&output);
    assert!(
        report["findings"].as_array().unwrap().iter().any(|finding| finding["code"] == "loudness-missed"),
        "{report}"
    );
    let verdict = &report["verdict"];
    assert!(verdict["finished"] == false && verdict["stands"][0][0] == "loudness-missed", "{verdict}");
    assert_eq!(verdict["not_printed"][0], "for mastering");
    // With a reason it may go out.
    song.change("[song]", "[[accept]]\ncode = \"loudness-missed\"\nreason = \"as loud as it goes\"\n[song]");
    let output = fairprint(&["print", &song.sheet(), "--json"]);
    let verdict = &json(&output)["verdict"];
    assert!(output.status.success() && verdict["finished"] == true && verdict["accepted"] == 1, "{verdict}");
}

#[test]
fn a_folder_that_cannot_be_written_ends_with_3() {
    let song = Song::new();
    fs::write(song.path("in the way"), "a file, not a folder").unwrap();
    let out = song.path("in the way").join("prints").display().to_string();
    let output = fairprint(&["print", &song.sheet(), "--out", &out]);
    assert_eq!(output.status.code(), Some(3), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn a_killed_run_leaves_no_revision_and_the_next_one_succeeds() {
    let song = Song::new();
    for wait_ms in [5, 40, 120, 250] {
        let mut run =
            Command::new(env!("CARGO_BIN_EXE_fairprint")).args(["print", &song.sheet(), "--quiet"]).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(wait_ms));
        run.kill().unwrap();
        run.wait().unwrap();
        let finished = fs::read_dir(song.path("prints")).into_iter().flatten().map(|entry| entry.unwrap().path());
        for revision in finished.filter(|path| !path.file_name().unwrap().to_string_lossy().starts_with('.')) {
            assert!(revision.join("report.json").is_file(), "{} is whole", revision.display());
        }
    }
    assert_eq!(fairprint(&["print", &song.sheet(), "--quiet"]).status.code(), Some(0));
    // Killed in the moment between a folder and its lock, a run leaves one that might be somebody's: for a minute.
    let left = fs::read_dir(song.path("prints")).unwrap().map(|entry| entry.unwrap());
    let held = |folder: &fs::DirEntry| folder.path().join(".held").exists();
    let hidden = |folder: &fs::DirEntry| folder.file_name().to_string_lossy().starts_with('.');
    assert!(left.into_iter().filter(hidden).all(|folder| !held(&folder)), "what was killed is cleared away");
}

#[test]
fn measure_gives_every_figure_and_null_for_silence() {
    let song = Song::new();
    write_wav(&song.path("silence.wav"), &[[0.0, 0.0]; 48_000]);
    let (tone, silence) = (song.path("keys.wav").display().to_string(), song.path("silence.wav").display().to_string());
    let output = fairprint(&["measure", &tone, &silence, "--json"]);
    assert_eq!(output.status.code(), Some(0));
    let files = json(&output)["files"].clone();
    for key in [
        "path",
        "rate_hz",
        "channels",
        "frames",
        "integrated_lufs",
        "loudness_range_lu",
        "max_momentary_lufs",
        "max_short_term_lufs",
        "true_peak_dbtp",
        "sample_peak_dbfs",
        "crest_db",
        "plr_db",
        "correlation",
        "third_octave_db",
    ] {
        assert!(files[0].get(key).is_some_and(|value| !value.is_null()), "{key}: {}", files[0]);
    }
    // A sine's crest is 3.01 dB.
    assert!((files[0]["crest_db"].as_f64().unwrap() - 3.01).abs() < 0.01);
    assert!(files[1]["integrated_lufs"].is_null() && files[1]["true_peak_dbtp"].is_null());
    assert_eq!(fairprint(&["measure", "no such file.wav"]).status.code(), Some(2));
}

#[test]
fn compare_finds_delay_gain_and_polarity() {
    let song = Song::new();
    let a = chance::Random(1).signal(96_000, 0.4);
    let mut b = vec![[0.0, 0.0]; 111];
    b.extend(a.iter().map(|[l, r]| [-0.5 * l, -0.5 * r]));
    write_wav(&song.path("a.wav"), &a);
    write_wav(&song.path("b.wav"), &b);
    let paths = ["a.wav", "b.wav"].map(|name| song.path(name).display().to_string());
    let found = json(&fairprint(&["compare", &paths[0], &paths[1], "--json"]));
    assert!((found["delay_samples"].as_f64().unwrap() - 111.0).abs() < 0.01, "{}", found["delay_samples"]);
    assert!((found["gain_db"].as_f64().unwrap() - 6.0206).abs() < 0.05);
    assert_eq!(found["polarity"], "inverted");
    assert!(found["null_depth_db"].as_f64().unwrap() < -70.0);
    assert!(found["a"]["integrated_lufs"].is_number() && found["difference"]["integrated_lufs"].is_number());
}

#[test]
fn intake_writes_a_sheet_that_prints_without_edits() {
    let song = Song::new();
    fs::remove_file(song.path("sheet.toml")).unwrap();
    let folder = song.folder.path().display().to_string();
    let output = fairprint(&["intake", &folder, "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(json(&output)["findings"].is_array());
    let printed = fairprint(&["print", &song.sheet(), "--json"]);
    assert_eq!(printed.status.code(), Some(0), "{}", String::from_utf8_lossy(&printed.stderr));
    // A second intake leaves the sheet alone, and is no more than the first deceived by what was written beside it.
    for written in ["handover", "listening"] {
        fs::create_dir(song.path(written)).unwrap();
        fs::copy(song.path("keys.wav"), song.path(written).join("a copy.wav")).unwrap();
    }
    let output = fairprint(&["intake", &folder, "--json"]);
    assert_eq!(output.status.code(), Some(0), "a second intake leaves the sheet alone");
    assert!(!json(&output).to_string().contains("a copy"), "{}", json(&output));
    assert_eq!(fairprint(&["check", &folder]).status.code(), Some(0), "a folder stands for the sheet in it");
}

#[test]
fn schema_and_welcome_speak_for_themselves() {
    let schema = json(&fairprint(&["schema"]));
    assert!(schema["$schema"].as_str().unwrap().contains("2020-12"));
    let welcome = fairprint(&[]);
    assert_eq!(welcome.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&welcome.stdout).lines().count() <= 12);
}

#[test]
fn starting_points_are_listed_shown_measured_and_put_into_a_sheet() {
    let song = Song::new();
    let listed = json(&fairprint(&["starts", "--json"]));
    let all = listed["starts"].as_array().unwrap();
    assert!(all.len() >= 12);
    for key in ["name", "task", "suits", "place", "at", "chain", "measured", "adjust", "fragment"] {
        assert!(all.iter().all(|start| start[key].as_str().is_some_and(|text| !text.is_empty())), "{key}");
    }
    let shown = fairprint(&["starts", "crushed", "copy"]);
    let fragment = String::from_utf8(shown.stdout).unwrap();
    assert!(fragment.contains("[[bus]]") && fragment.contains("valve"), "{fragment}");
    let wrong = fairprint(&["starts", "crushd copy", "--json"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(json(&wrong)["findings"][0]["remedy"].as_str().unwrap().contains("crushed copy"));

    let before = fs::read_to_string(song.path("sheet.toml")).unwrap();
    let tried = fairprint(&["starts", "gentle glue", "--on", &song.sheet(), "--at", "mix", "--json"]);
    assert_eq!(tried.status.code(), Some(0), "{}", String::from_utf8_lossy(&tried.stderr));
    assert!(json(&tried)["effect"]["adds_crest_db"].as_f64().unwrap().abs() < 20.0);
    assert_eq!(fs::read_to_string(song.path("sheet.toml")).unwrap(), before, "measuring writes nothing");
    let lost = fairprint(&["starts", "gentle glue", "--into", &song.sheet()]);
    assert_eq!(lost.status.code(), Some(2), "there is no bus called main");
    assert_eq!(fs::read_to_string(song.path("sheet.toml")).unwrap(), before);
    let put = fairprint(&["starts", "gentle glue", "--into", &song.sheet(), "--at", "mix", "--quiet"]);
    assert_eq!((put.status.code(), put.stdout.len()), (Some(0), 0));
    let after = fs::read_to_string(song.path("sheet.toml")).unwrap();
    assert!(before.lines().all(|line| after.contains(line)) && after.contains("kind = \"bus\""), "{after}");
    assert_eq!(fairprint(&["check", &song.sheet()]).status.code(), Some(0));
}

#[test]
fn the_reference_is_written_and_takes_no_foreign_files_place() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("pages");
    let written = fairprint(&["reference", &dir.display().to_string(), "--json"]);
    assert_eq!(written.status.code(), Some(0), "{}", String::from_utf8_lossy(&written.stderr));
    let names = json(&written)["files"].as_array().unwrap().len();
    assert_eq!(fs::read_dir(&dir).unwrap().count(), names);
    assert!(fs::read_to_string(dir.join("README.md")).unwrap().contains("compressor.md"));
    fs::write(dir.join("README.md"), "my own notes").unwrap();
    fs::remove_file(dir.join("eq.md")).unwrap();
    assert_eq!(fairprint(&["reference", &dir.display().to_string()]).status.code(), Some(2));
    assert!(!dir.join("eq.md").exists(), "nothing is written then");
    assert_eq!(fs::read_to_string(dir.join("README.md")).unwrap(), "my own notes");
}

#[test]
fn advise_gives_findings_and_figures_and_a_page_only_where_asked() {
    let song = Song::new();
    let page = song.path("advice.html");
    let advice = json(&fairprint(&["advise", &song.sheet(), "--json", "--page", &page.display().to_string()]));
    for key in ["findings", "paths", "pre_delays", "alignment", "costs", "ledger", "drivers", "sides"] {
        assert!(advice[key].is_array(), "{key}");
    }
    assert!(advice["paths"].as_array().unwrap().iter().any(|path| path["name"] == "crush" && path["kind"] == "return"));
    assert!(fs::read_to_string(&page).unwrap().starts_with("<!DOCTYPE html>"));
    fs::remove_file(&page).unwrap();
    let before = fs::read_dir(song.folder.path()).unwrap().count();
    let quiet = fairprint(&["advise", &song.sheet(), "--quiet"]);
    assert!(quiet.stdout.is_empty(), "{}", String::from_utf8_lossy(&quiet.stdout));
    assert_eq!(fs::read_dir(song.folder.path()).unwrap().count(), before, "advice leaves nothing behind");
    song.change("name = \"kick\"", "nam = \"kick\"");
    assert_eq!(fairprint(&["advise", &song.sheet()]).status.code(), Some(2));
}
