//! Hostile files through the program: read right, or one clear error that names the file, with its time and memory held.

#![cfg(unix)]
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

#[allow(dead_code, reason = "this side looks at less of a case than the library's does")]
#[path = "../../media/tests/hostile/mod.rs"]
mod hostile;

use hostile::{Case, Outcome, corpus, ramp, wav};

/// What a file may cost: seconds of the processor, and kilobytes of addresses.
const MOST_SECS: u32 = 2;
const MOST_KB: u32 = 200 << 10;

/// The user that owns nothing, for rights that the test itself may not lack.
const NOBODY: u32 = 65_534;

/// A call with its means held.
fn held(args: &[&std::ffi::OsStr]) -> Command {
    let mut command = Command::new("sh");
    let script = format!("ulimit -t {MOST_SECS}; ulimit -v {MOST_KB}; exec \"$0\" \"$@\"");
    command.args(["-c", &script, env!("CARGO_BIN_EXE_fairprint")]).args(args);
    command
}

fn measure(path: &Path) -> Output {
    held(&["measure".as_ref(), "--".as_ref(), path.as_os_str()]).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// What is wrong with how the program took a file; it must have refused it, or may also have read it.
fn judge(output: &Output, name: &str, may_be_read: bool) -> Option<String> {
    let (said, code) = (said(output), output.status.code());
    if code == Some(0) {
        return (!may_be_read).then(|| "read".to_owned());
    }
    let errors = said.lines().filter(|line| line.trim_start().starts_with("fail")).count();
    let fault = match code {
        Some(2) if errors != 1 => "more or less than one error",
        Some(2) if !said.contains(name) => "the error does not name the file",
        Some(2) => return None,
        None => "killed by a signal",
        Some(101 | 134) => "a panic",
        Some(_) => "another exit code",
    };
    Some(format!("{fault} ({code:?}): {said}"))
}

#[test]
fn every_file_of_the_corpus_is_taken_within_its_means() {
    let folder = tempfile::tempdir().unwrap();
    let cases = corpus();
    let next = AtomicUsize::new(0);
    let work = || {
        let mut faults = Vec::new();
        while let Some((number, case)) =
            Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|n| Some((n, cases.get(n)?)))
        {
            let path = case.put(folder.path(), number);
            let output = measure(&path);
            let fault = judge_case(case, &output, &path.file_name().unwrap().to_string_lossy());
            faults.extend(fault.map(|fault| format!("{}: {fault}", case.name)));
            fs::remove_file(&path).unwrap();
        }
        faults
    };
    let faults: Vec<String> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..2).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
    });
    assert!(faults.is_empty(), "{} of {}:\n{}", faults.len(), cases.len(), faults.join("\n"));
}

fn judge_case(case: &Case, output: &Output, name: &str) -> Option<String> {
    match case.outcome {
        Outcome::Reads(_) if !output.status.success() => Some(format!("refused: {}", said(output))),
        Outcome::Reads(_) | Outcome::Either => judge(output, name, true),
        Outcome::Refused(words) if !said(output).contains(words) => Some(format!("other words: {}", said(output))),
        Outcome::Refused(_) => judge(output, name, false),
    }
}

/// A song of one stem, with one print.
const SHEET: &str = "fairprint = 1\n[song]\ntitle = \"Lantern Weather\"\nartist = \"The Tin Orchard\"\nrate_hz = 48000\n\
    [[stem]]\nname = \"keys\"\nfile = \"FILE\"\nto = \"mix\"\n[[bus]]\nname = \"mix\"\n\
    [[print]]\nname = \"for mastering\"\nfrom = \"mix\"\nfiles = [{ format = \"wav\", bits = 24 }]\n";

fn song(folder: &Path, file: &str) -> PathBuf {
    let sheet = folder.join("sheet.toml");
    let quoted = file.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n");
    fs::write(&sheet, SHEET.replace("FILE", &quoted)).unwrap();
    sheet
}

fn fairprint(args: &[&std::ffi::OsStr]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fairprint")).args(args).output().unwrap()
}

#[test]
fn what_is_no_file_is_refused_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    assert!(Command::new("mkfifo").arg(at("pipe.wav")).status().unwrap().success());
    fs::create_dir(at("folder.wav")).unwrap();
    symlink(at("loop b.wav"), at("loop a.wav")).unwrap();
    symlink(at("loop a.wav"), at("loop b.wav")).unwrap();
    symlink(at("gone"), at("nowhere.wav")).unwrap();
    symlink("/dev/zero", at("zero.wav")).unwrap();
    let _socket = std::os::unix::net::UnixListener::bind(at("socket.wav")).unwrap();
    fs::write(at("text"), "a file, not a folder").unwrap();
    for (name, words) in [
        ("pipe.wav", "a pipe or a device"),
        ("folder.wav", "a folder"),
        ("loop a.wav", "a link that leads nowhere"),
        ("nowhere.wav", "a link that leads nowhere"),
        ("zero.wav", "a pipe or a device"),
        ("socket.wav", "a pipe or a device"),
        ("text/a.wav", "Not a directory"),
        ("none.wav", "No such file"),
    ] {
        let output = measure(&at(name));
        assert!(judge(&output, name, false).is_none() && said(&output).contains(words), "{name}: {}", said(&output));
        // As a stem of a song the same, and nothing is written.
        let sheet = song(folder.path(), name);
        for command in ["check", "print"] {
            let output = fairprint(&[command.as_ref(), sheet.as_os_str()]);
            assert_eq!(output.status.code(), Some(2), "{name}: {}", said(&output));
            assert!(said(&output).contains(name) && !at("prints").exists(), "{name}: {}", said(&output));
        }
    }
    // An intake goes past them, and says so: one finding for each.
    fs::write(at("keys.wav"), wav::plain()).unwrap();
    fs::remove_file(at("sheet.toml")).unwrap();
    let output = fairprint(&["intake".as_ref(), folder.path().as_os_str(), "--json".as_ref()]);
    let findings = String::from_utf8_lossy(&output.stdout).into_owned();
    for name in ["pipe.wav", "loop a.wav", "nowhere.wav", "zero.wav", "socket.wav"] {
        assert!(findings.contains(name), "{name}: {findings}");
    }
}

#[test]
fn names_are_only_names() {
    let folder = tempfile::tempdir().unwrap();
    let longest = format!("{}.wav", "n".repeat(251));
    let names: [&[u8]; 9] = [
        b"with spaces .wav",
        "s\u{f6}ng \u{1f39b}.wav".as_bytes(),
        b"two\nlines.wav",
        b"-dash.wav",
        b"--json.wav",
        b"quote\" 'and $(this) %s.wav",
        b"\x1b[2Jclear.wav",
        longest.as_bytes(),
        b"not unicode \xff\xfe.wav",
    ];
    for bytes in names {
        let name = std::ffi::OsStr::from_bytes(bytes);
        let path = folder.path().join(name);
        fs::write(&path, wav::plain()).unwrap();
        // From within the folder too, where a dash comes first.
        for output in
            [measure(&path), held(&["measure".as_ref(), "--".as_ref(), name]).current_dir(&folder).output().unwrap()]
        {
            assert_eq!(output.status.code(), Some(0), "{name:?}: {}", said(&output));
            assert!(!output.stdout.contains(&0x1b), "{name:?} reaches the terminal as it is");
        }
        fs::write(&path, b"no audio").unwrap();
        let refused = measure(&path);
        assert_eq!(refused.status.code(), Some(2), "{name:?}: {}", said(&refused));
        assert!(!refused.stderr.contains(&0x1b) && said(&refused).lines().count() == 1, "{name:?}: {}", said(&refused));
        fs::write(&path, wav::plain()).unwrap();
        if let Some(text) = name.to_str().filter(|text| !text.chars().any(char::is_control)) {
            let sheet = song(folder.path(), text);
            let output = fairprint(&["print".as_ref(), sheet.as_os_str()]);
            assert_eq!(output.status.code(), Some(0), "{name:?}: {}", said(&output));
        }
    }
    // An intake takes what a sheet can name, and says what it cannot.
    fs::remove_file(folder.path().join("sheet.toml")).unwrap();
    fs::remove_dir_all(folder.path().join("prints")).unwrap();
    let output = fairprint(&["intake".as_ref(), folder.path().as_os_str(), "--json".as_ref()]);
    let found = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(found.contains("not unicode") && found.contains("cannot-read"), "{found}");
    let sheet = folder.path().join("sheet.toml");
    let output = fairprint(&["print".as_ref(), sheet.as_os_str()]);
    // So short a song cannot be as loud as is asked for: that finding is none of names.
    assert!(matches!(output.status.code(), Some(0 | 1)), "{}{}", said(&output), fs::read_to_string(&sheet).unwrap());
    let too_long = folder.path().join(format!("{}.wav", "n".repeat(300)));
    assert_eq!(judge(&measure(&too_long), "nnnn", false), None);
}

#[test]
fn what_may_not_be_read_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let shut = folder.path().join("shut.wav");
    fs::write(&shut, wav::plain()).unwrap();
    fs::set_permissions(&shut, fs::Permissions::from_mode(0o000)).unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o777)).unwrap();
    let sheet = song(folder.path(), "shut.wav");
    // Who may do everything is held by no rights: then the calls are made by nobody.
    let may_do_all = fs::read(&shut).is_ok();
    let call = |args: &[&std::ffi::OsStr]| {
        // A copy, because the place where the program was built may be closed to nobody.
        let program = folder.path().join("fairprint");
        if !program.exists() {
            fs::copy(env!("CARGO_BIN_EXE_fairprint"), &program).unwrap();
        }
        let mut command = Command::new(program);
        command.args(args);
        if may_do_all {
            command.uid(NOBODY).gid(NOBODY);
        }
        command.output().unwrap()
    };
    for args in [["measure".as_ref(), shut.as_os_str()], ["check".as_ref(), sheet.as_os_str()]] {
        let output = call(&args);
        let said = said(&output);
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains("shut.wav") && said.contains("Permission denied"), "{said}");
    }
    let inner = folder.path().join("inner");
    fs::create_dir(&inner).unwrap();
    fs::write(folder.path().join("keys.wav"), wav::plain()).unwrap();
    fs::set_permissions(&inner, fs::Permissions::from_mode(0o000)).unwrap();
    let to = folder.path().join("new.toml");
    let output = call(&["intake".as_ref(), folder.path().as_os_str(), "--sheet".as_ref(), to.as_os_str()]);
    let findings = String::from_utf8_lossy(&output.stdout);
    assert!(findings.contains("inner") && findings.contains("shut.wav"), "{findings}{}", said(&output));
    fs::set_permissions(&inner, fs::Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn a_sheet_reaches_nothing_outside_its_folder_unless_a_link_is_laid() {
    let (folder, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let recording = elsewhere.path().join("keys.wav");
    fs::write(&recording, wav::plain()).unwrap();
    let up = format!("../{}/keys.wav", elsewhere.path().file_name().unwrap().to_string_lossy());
    for path in [recording.to_str().unwrap(), &up, "~/keys.wav", "a/../../keys.wav"] {
        let sheet = song(folder.path(), path);
        let output = fairprint(&["print".as_ref(), sheet.as_os_str()]);
        assert_eq!(output.status.code(), Some(2), "{path}: {}", said(&output));
        assert!(said(&output).contains("a link to it") && said(&output).contains("sheet.toml:8"), "{}", said(&output));
    }
    // Recordings on another disk: whoever may write to the folder lays a link, which no sheet can.
    symlink(&recording, folder.path().join("linked.wav")).unwrap();
    symlink(elsewhere.path(), folder.path().join("disk")).unwrap();
    for path in ["linked.wav", "disk/keys.wav"] {
        let sheet = song(folder.path(), path);
        let output = fairprint(&["print".as_ref(), sheet.as_os_str()]);
        assert_eq!(output.status.code(), Some(0), "{path}: {}", said(&output));
    }
}

/// A stem of two minutes, so that a print is under way for a while.
fn long_song(folder: &Path) -> (PathBuf, PathBuf) {
    let stem = folder.join("keys.wav");
    let samples = hostile::integers(&ramp(120 * 48_000), 2, 2);
    fs::write(&stem, wav::riff(&[wav::chunk(b"fmt ", &wav::fmt(1, 2, 48_000, 16)), wav::chunk(b"data", &samples)]))
        .unwrap();
    (song(folder, "keys.wav"), stem)
}

#[test]
fn what_vanishes_after_the_intake_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let stem = folder.path().join("keys.wav");
    fs::write(&stem, wav::plain()).unwrap();
    assert_eq!(fairprint(&["intake".as_ref(), folder.path().as_os_str()]).status.code(), Some(0));
    fs::remove_file(&stem).unwrap();
    let sheet = folder.path().join("sheet.toml");
    let output = fairprint(&["print".as_ref(), sheet.as_os_str()]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("keys.wav") && !folder.path().join("prints").exists(), "{}", said(&output));
}

type Change = fn(&Path);

/// What changes a stem under a print.
const CHANGES: [(&str, Change); 4] = [
    ("cut", |stem| fs::File::options().write(true).open(stem).unwrap().set_len(100_000).unwrap()),
    ("replaced", |stem| {
        fs::write(stem.with_extension("new"), wav::plain()).unwrap();
        fs::rename(stem.with_extension("new"), stem).unwrap();
    }),
    ("written over", |stem| {
        use std::os::unix::fs::FileExt;
        fs::File::options().write(true).open(stem).unwrap().write_all_at(&[1; 4096], 20_000_000).unwrap();
    }),
    ("removed", |stem| fs::remove_file(stem).unwrap()),
];

#[test]
fn what_changes_during_a_print_makes_no_revision() {
    for (how, change) in CHANGES {
        // On a crowded machine a print may be over before this test has its turn: then another is made.
        assert!((0..20).any(|_| is_noticed(how, change)), "{how}: all prints went well");
    }
}

/// Changes a stem under a print; whether that had to be told. False if the print was made all the same.
fn is_noticed(how: &str, change: Change) -> bool {
    let folder = tempfile::tempdir().unwrap();
    let (sheet, stem) = long_song(folder.path());
    let mut run = Command::new(env!("CARGO_BIN_EXE_fairprint"))
        .args(["print".as_ref(), sheet.as_os_str()])
        .stderr(std::process::Stdio::piped())
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    // The run is under way once its folder is there.
    let out = folder.path().join("prints");
    let working = || fs::read_dir(&out).is_ok_and(|mut entries| entries.next().is_some());
    while !working() && run.try_wait().unwrap().is_none() {
        std::thread::sleep(Duration::from_millis(1));
    }
    change(&stem);
    let output = run.wait_with_output().unwrap();
    if output.status.success() {
        return false;
    }
    let said = said(&output);
    assert_eq!(output.status.code(), Some(2), "{how}: {said}");
    assert!(said.contains("keys.wav"), "{how}: {said}");
    assert_eq!(fs::read_dir(&out).unwrap().count(), 0, "{how}: nothing is left behind");
    true
}
