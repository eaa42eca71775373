//! The printed demo, and comparisons, measured by programs from outside the project.
//!
//! Runs where the test command has set `FAIRPRINT_PYTHON` and `FAIRPRINT_FFMPEG`; elsewhere it says so and passes.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]
#![expect(clippy::print_stdout, reason = "what the outside says is worth reading")]

use std::path::{Path, PathBuf};
use std::process::Command;

#[test]
fn outside_meters_agree_with_the_report() {
    let Some([python, ffmpeg]) = tools() else { return };
    let folder = tempfile::tempdir().unwrap();
    let song = folder.path().join("song");
    let demo = Command::new(env!("CARGO_BIN_EXE_fairprint")).arg("demo").arg(&song).output().unwrap();
    assert!(demo.status.success(), "{}", String::from_utf8_lossy(&demo.stderr));
    let script = script("outside_prints.py");
    hold(Command::new(&python).arg(&script).arg(song.join("prints/r001")).arg(&ffmpeg), 19);
    handover_opens_elsewhere(&python, &song);
    // The same print in every format that a sheet may ask for.
    let sheet = song.join("sheet.toml");
    let written = std::fs::read_to_string(&sheet).unwrap();
    let every = r#"files = [ { format = "wav" }, { format = "aiff" }, { format = "flac" }, { format = "mp3", kbps = 256 },
        { format = "opus", kbps = 192 }, { format = "vorbis", kbps = 256 } ]"#;
    let few = r#"files = [ { format = "wav", bits = 24 }, { format = "mp3", kbps = 256 } ]"#;
    assert!(written.contains(few));
    std::fs::write(&sheet, written.replace(few, every)).unwrap();
    let print = ["print", "--only", "for approval"];
    let printed = Command::new(env!("CARGO_BIN_EXE_fairprint")).args(print).arg(&sheet).output().unwrap();
    assert!(printed.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&printed.stderr));
    hold(Command::new(&python).arg(&script).arg(song.join("prints/r002")).arg(&ffmpeg), 54);
}

/// Hands the printed demo over twice and has both opened.
fn handover_opens_elsewhere(python: &str, song: &Path) {
    for to in ["out/Lantern Weather", "later/Lantern Weather"] {
        let handover = ["handover", "sheet.toml", "--zip", "--quiet", "--to", to];
        let handed = Command::new(env!("CARGO_BIN_EXE_fairprint")).args(handover).current_dir(song).output().unwrap();
        assert!(handed.status.success(), "{}", String::from_utf8_lossy(&handed.stderr));
    }
    let chromium = std::env::var("FAIRPRINT_CHROMIUM").unwrap_or_else(|_| "-".to_owned());
    let least = if chromium == "-" { 7 } else { 11 };
    let paths = ["out/Lantern Weather", "out/Lantern Weather.zip", "later/Lantern Weather.zip"];
    let mut checks = Command::new(python);
    checks.arg(script("outside_handover.py")).args(paths.map(|path| song.join(path))).arg(chromium);
    hold(&mut checks, least);
}

#[test]
fn comparisons_agree_with_figures_from_outside() {
    let Some([python, _]) = tools() else { return };
    let folder = tempfile::tempdir().unwrap();
    let script = script("outside_compare.py");
    hold(Command::new(python).arg(script).arg(env!("CARGO_BIN_EXE_fairprint")).arg(folder.path()), 28);
}

/// Python and ffmpeg, if the test command has named them.
fn tools() -> Option<[String; 2]> {
    let tools = [std::env::var("FAIRPRINT_PYTHON").ok(), std::env::var("FAIRPRINT_FFMPEG").ok()];
    let [Some(python), Some(ffmpeg)] = tools else {
        println!("FAIRPRINT_PYTHON or FAIRPRINT_FFMPEG is not set: the outside meters are not asked.");
        return None;
    };
    Some([python, ffmpeg])
}

fn script(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(name)
}

/// Runs a script of checks, which must all hold, and be so many at least.
fn hold(checks: &mut Command, least: usize) {
    let checked = checks.output().unwrap();
    let said = String::from_utf8_lossy(&checked.stdout);
    println!("{said}");
    assert!(checked.status.success(), "{said}{}", String::from_utf8_lossy(&checked.stderr));
    assert!(said.lines().filter(|line| line.starts_with("ok")).count() >= least, "{said}");
}
