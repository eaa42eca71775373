//! The printed demo, measured by programs from outside the project.
//!
//! Runs where the test command has set `FAIRPRINT_PYTHON` and `FAIRPRINT_FFMPEG`; elsewhere it says so and passes.

use std::path::Path;
use std::process::Command;

#[test]
fn outside_meters_agree_with_the_report() {
    let tools = (std::env::var("FAIRPRINT_PYTHON"), std::env::var("FAIRPRINT_FFMPEG"));
    let (Ok(python), Ok(ffmpeg)) = tools else {
        println!("FAIRPRINT_PYTHON or FAIRPRINT_FFMPEG is not set: the outside meters are not asked.");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let song = folder.path().join("song");
    let demo = Command::new(env!("CARGO_BIN_EXE_fairprint")).arg("demo").arg(&song).output().unwrap();
    assert!(demo.status.success(), "{}", String::from_utf8_lossy(&demo.stderr));
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside_prints.py");
    let checked = Command::new(python).arg(script).arg(song.join("prints/r001")).arg(ffmpeg).output().unwrap();
    let said = String::from_utf8_lossy(&checked.stdout);
    println!("{said}");
    assert!(checked.status.success(), "{said}{}", String::from_utf8_lossy(&checked.stderr));
    assert!(said.lines().filter(|line| line.starts_with("ok")).count() >= 15, "{said}");
}
