//! Rights that are lost in mid-run, and clocks that were set back.

use std::fs;
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant, SystemTime};

use crate::kills::Moments;
use crate::song::{Song, entries, said, whole_revisions};

/// The program on the sheet, bound by the rights of files even where the tests run as the one to whom all is allowed.
fn print(song: &Song) -> Command {
    let program = env!("CARGO_BIN_EXE_fairprint");
    let may_all = fs::metadata("/proc/self").unwrap().uid() == 0;
    let mut command = Command::new(if may_all { "setpriv" } else { program });
    if may_all {
        let without = "-dac_override,-dac_read_search";
        command.args([&format!("--bounding-set={without}"), &format!("--inh-caps={without}"), program]);
    }
    command.args(["print", "sheet.toml", "--quiet"]).current_dir(song.folder.path());
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn allow(path: &Path, mode: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

#[test]
fn rights_that_are_lost_in_mid_run_end_it_in_words_and_the_next_run_succeeds() {
    let song = Song::new();
    let begun = Instant::now();
    let whole = print(&song).output().unwrap();
    assert_eq!(whole.status.code(), Some(0), "{}", said(&whole));
    let mut moments = Moments::within(begun.elapsed(), 5);
    for turn in 0.. {
        if moments.are_enough() {
            break;
        }
        // Nothing can be named in the folder any more, or a recording cannot be opened once more.
        let (lost, mode) = if turn % 2 == 0 { ("prints", 0o500) } else { ("keys.wav", 0o000) };
        let path = song.path(lost);
        let given = fs::metadata(&path).unwrap().permissions().mode();
        let run = print(&song).spawn().unwrap();
        moments.wait();
        allow(&path, mode);
        let output = run.wait_with_output().unwrap();
        allow(&path, given);
        let words = said(&output);
        match output.status.code() {
            Some(0) => moments.note(false),
            Some(2 | 3) => {
                moments.note(true);
                assert!(words.contains("ermission denied") && words.contains(lost), "{words}");
            }
            code => panic!("{code:?}: {words}"),
        }
        whole_revisions(&song.path("prints"));
    }
    println!("rights lost: {moments}");
    let before = whole_revisions(&song.path("prints"));
    song.print();
    assert_eq!(whole_revisions(&song.path("prints")), before + 1);
    // A run that may remove nothing any more leaves its empty folder, which a run of a minute later clears away.
    let left = entries(&song.path("prints")).into_iter().filter(|name| name.starts_with('.'));
    assert!(left.into_iter().all(|name| entries(&song.path("prints").join(name)).is_empty()));
}

#[test]
fn revisions_from_the_future_are_revisions_and_what_was_left_behind_there_is_cleared_away() {
    let song = Song::new();
    song.print();
    let prints = song.path("prints");
    fs::create_dir(prints.join(".r002.part")).unwrap();
    let future = SystemTime::now() + Duration::from_secs(50 * 365 * 86_400);
    let report = prints.join("r001/report.json");
    let text = fs::read_to_string(&report).unwrap().replace("\"date\": \"20", "\"date\": \"21");
    assert!(text.contains("\"date\": \"21"), "{text:.400}");
    fs::write(&report, text).unwrap();
    for path in [report, prints.join("r001"), prints.join(".r002.part"), song.path("keys.wav"), song.path("sheet.toml")]
    {
        fs::File::open(path).unwrap().set_modified(future).unwrap();
    }
    song.print();
    assert_eq!(entries(&prints), ["r001", "r002"]);
    assert_eq!(whole_revisions(&prints), 2);
    for act in [["history", "sheet.toml"], ["handover", "sheet.toml"], ["listen", "sheet.toml"]] {
        let output = song.run(&act);
        assert_eq!(output.status.code(), Some(0), "{act:?}: {}", said(&output));
    }
    let newest = song.run(&["history", "sheet.toml", "--json"]);
    assert!(said(&newest).contains("r002"), "{}", said(&newest));
}
