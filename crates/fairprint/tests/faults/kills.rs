//! Runs that are killed at random moments.

use std::path::Path;
use std::process::{Child, Command};
use std::thread::sleep;
use std::time::{Duration, Instant};
use std::{fmt, fs};

use chance::Random;

use crate::song::{Song, WRITTEN, entries, said, sha256, whole_revisions};

/// Kills of each kind.
pub fn kills() -> u32 {
    std::env::var("FAIRPRINT_KILLS").ok().and_then(|count| count.parse().ok()).unwrap_or(4)
}

/// Random moments within a run. How long a run takes hangs on what else the machine does, so the stretch within which they
/// fall follows what was seen: it is shorter after a run that was over first, longer after one that was caught.
pub struct Moments {
    random: Random,
    stretch_secs: f64,
    runs: u32,
    caught: u32,
}

impl Moments {
    pub fn within(run: Duration, seed: u64) -> Self {
        Self { random: Random(seed), stretch_secs: run.as_secs_f64(), runs: 0, caught: 0 }
    }

    pub fn wait(&mut self) {
        assert!(self.runs < 20 * kills(), "{self}: most were over first");
        self.runs += 1;
        sleep(Duration::from_secs_f64(self.stretch_secs * self.random.share()));
    }

    pub fn note(&mut self, was_caught: bool) {
        self.stretch_secs *= if was_caught { 1.1 } else { 0.8 };
        self.caught += u32::from(was_caught);
    }

    /// Whether as many runs as asked were really caught before their end.
    pub fn are_enough(&self) -> bool {
        self.caught >= kills()
    }
}

impl fmt::Display for Moments {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(
            f,
            "{} of {} runs caught before their end, at last within {:.3} s",
            self.caught, self.runs, self.stretch_secs
        )
    }
}

/// Lets `start` run whole once, then kills it at random moments; `check` looks at what is left each time.
fn kill_often(what: &str, start: &dyn Fn() -> Child, check: &dyn Fn()) {
    let begun = Instant::now();
    let whole = start().wait_with_output().unwrap();
    assert!(whole.status.success(), "{}", said(&whole));
    let mut moments = Moments::within(begun.elapsed(), 1);
    check();
    while !moments.are_enough() {
        let mut run = start();
        moments.wait();
        run.kill().unwrap();
        moments.note(!run.wait().unwrap().success());
        check();
    }
    println!("{what}: {moments}");
}

/// What a run may leave that was killed between making its folder and locking it, or between unlocking and naming it: the
/// next run waits a minute before it clears such a folder away.
fn is_unlocked(folder: &Path) -> bool {
    !folder.join(".held").exists()
}

#[test]
fn a_print_killed_at_any_moment_leaves_no_unfinished_file_under_a_final_name() {
    let song = Song::new();
    let prints = song.path("prints");
    let sources = WRITTEN.map(|name| sha256(&song.path(name)));
    let start = || song.command(&["print", "sheet.toml", "--quiet"]).spawn().unwrap();
    kill_often("print", &start, &|| {
        whole_revisions(&prints);
        let others = entries(song.folder.path()).into_iter().filter(|name| !WRITTEN.contains(&&**name));
        assert_eq!(others.collect::<Vec<_>>(), ["prints"]);
    });
    let before = whole_revisions(&prints);
    song.print();
    assert_eq!(whole_revisions(&prints), before + 1, "the next run succeeds");
    let left = entries(&prints).into_iter().filter(|name| name.starts_with('.'));
    assert!(left.into_iter().all(|name| is_unlocked(&prints.join(name))), "what was killed is cleared away");
    assert_eq!(WRITTEN.map(|name| sha256(&song.path(name))), sources);
}

#[test]
fn a_handover_killed_at_any_moment_is_whole_or_not_there() {
    let song = Song::new();
    song.print();
    let made = song.path("out/set");
    let verified = || {
        // By a program from outside: GNU coreutils.
        let mut outside = Command::new("sha256sum");
        outside.args(["-c", "--quiet", "--strict", "SHA256SUMS"]).current_dir(&made).status().unwrap().success()
    };
    let start = || song.command(&["handover", "sheet.toml", "--to", "out/set"]).spawn().unwrap();
    kill_often("handover", &start, &|| {
        if made.exists() {
            assert!(verified());
            fs::remove_dir_all(&made).unwrap();
        }
    });
    let output = song.run(&["handover", "sheet.toml", "--to", "out/set"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(verified());
    let left = entries(&song.path("out"));
    let harmless = |name: &String| name == "set" || is_unlocked(&song.path("out").join(name));
    assert!(left.iter().all(harmless), "what was killed is cleared away: {left:?}");
}

#[test]
fn notes_killed_while_they_are_taken_in_are_the_old_or_the_new() {
    let song = Song::new();
    song.print();
    let collection = song.path("sheet.notes.json");
    let note = |id: u32, text: &str| {
        serde_json::json!({ "id": format!("{id:08x}"), "who": "Ivy", "revision": "r001", "version": "for approval",
            "at_secs": 1.0, "text": text.repeat(400), "written": "2026-11-27T10:00:00Z" })
    };
    let send = |text: &str| {
        let notes: Vec<_> = (0..200).map(|id| note(id, text)).collect();
        let sent = serde_json::json!({ "fairprint_notes": 1, "title": "Lantern Weather", "notes": notes });
        fs::write(song.path(&format!("{text}.json")), sent.to_string()).unwrap();
    };
    ["brighter", "darker"].into_iter().for_each(send);
    let start = || song.command(&["notes", "sheet.toml", "add", "brighter.json", "darker.json"]).spawn().unwrap();
    kill_often("notes add", &start, &|| {
        if let Ok(bytes) = fs::read(&collection) {
            let kept: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
            assert_eq!(kept["notes"].as_array().unwrap().len(), 200);
            fs::remove_file(&collection).unwrap();
        }
    });
    assert_eq!(song.run(&["notes", "sheet.toml", "add", "darker.json"]).status.code(), Some(0));
    assert_eq!(song.run(&["notes", "sheet.toml", "list"]).status.code(), Some(0));
}

const SAVING: &str = "FAIRPRINT_SAVES_INTO";

/// Not a test by itself: what the next one starts as a program of its own. It saves a sheet by the call that the desk
/// saves with, in turns short and long, without end.
#[test]
fn saving_without_end() {
    let Some(sheet) = std::env::var_os(SAVING).map(std::path::PathBuf::from) else { return };
    let whole = fs::read_to_string(&sheet).unwrap();
    for turn in 0_u32.. {
        let text = format!("{whole}# {}\n", "turn ".repeat(turn as usize % 2 * 40_000));
        prints::load::save(&sheet, &text).unwrap();
    }
}

#[test]
fn a_sheet_that_the_desk_saves_is_whole_at_any_moment() {
    let song = Song::new();
    let sheet = song.path("sheet.toml");
    let mut random = Random(2);
    for _ in 0..kills() {
        let mut saving = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "kills::saving_without_end"])
            .env(SAVING, &sheet)
            .spawn()
            .unwrap();
        sleep(Duration::from_secs_f64(0.05 + 0.3 * random.share()));
        saving.kill().unwrap();
        saving.wait().unwrap();
        let text = fs::read_to_string(&sheet).unwrap();
        assert!(text.starts_with("fairprint = 1") && text.ends_with('\n'));
        assert_eq!(song.run(&["check", "sheet.toml", "--quiet"]).status.code(), Some(0));
        let others = entries(song.folder.path());
        let known = |name: &String| name.starts_with('.') || WRITTEN.contains(&&**name);
        assert!(others.iter().all(known), "{others:?}");
    }
    println!("save: {} kills", kills());
}
