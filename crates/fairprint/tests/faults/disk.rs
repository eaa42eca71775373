//! Full disks and folders that nobody may write.
//!
//! The disks are memory disks in a name space of the test's own; where the system allows none, files that may not grow
//! past a limit stand in for them.

use std::fs;
use std::process::{Command, Output};

use crate::song::{Song, entries, said};

/// Runs a shell script in the song's folder. `$fairprint` is the program.
fn script(song: &Song, shell: &[&str], script: &str) -> Output {
    let mut command = Command::new(shell[0]);
    command.args(&shell[1..]).args(["sh", "-c", script]).current_dir(song.folder.path());
    command.env("fairprint", env!("CARGO_BIN_EXE_fairprint")).output().unwrap()
}

/// Whether this system lets anybody have a memory disk of their own.
fn may_mount() -> bool {
    let tried = Command::new("unshare").args(["-rm", "mount", "-t", "tmpfs", "none", "/mnt"]).output();
    let may = tried.is_ok_and(|output| output.status.success());
    if !may {
        println!("This system mounts no memory disk for a test: limits of files stand in for it.");
    }
    may
}

#[test]
fn a_full_disk_ends_with_3_and_leaves_nothing() {
    if !may_mount() {
        return;
    }
    let song = Song::new();
    fs::create_dir(song.path("disk")).unwrap();
    let mut full = 0;
    // From room for next to nothing to room for nearly all of it.
    for kib in [64, 512, 1024, 2048, 3072] {
        let run = format!(
            "mount -t tmpfs -o size={kib}k none disk && \"$fairprint\" print sheet.toml --out disk/prints --json
             echo \"exit $? left $(ls -A disk disk/prints | tr '\\n' ' ')\""
        );
        let words = said(&script(&song, &["unshare", "-rm"], &run));
        if words.contains("exit 0") {
            continue;
        }
        full += 1;
        assert!(words.contains("exit 3 left disk: prints  disk/prints: \n"), "{kib} KiB: {words}");
        assert!(words.contains("\"cannot-write\"") && words.contains("Make room on the disk"), "{kib} KiB: {words}");
    }
    println!("disks that were full: {full}");
    assert!(full >= 3);
}

#[test]
fn a_folder_that_only_may_be_read_ends_with_3_and_keeps_what_is_there() {
    if !may_mount() {
        return;
    }
    let song = Song::new();
    fs::create_dir(song.path("disk")).unwrap();
    let run = "mount -t tmpfs none disk && \"$fairprint\" print sheet.toml --out disk/prints --quiet
        before=$(cd disk/prints && find . -type f | sort | xargs -d '\\n' sha256sum)
        mount -o remount,ro disk
        for act in 'print sheet.toml --out disk/prints' 'handover sheet.toml --out disk/prints --to disk/out'; do
          \"$fairprint\" $act; echo \"exit $?\"
        done
        [ \"$before\" = \"$(cd disk/prints && find . -type f | sort | xargs -d '\\n' sha256sum)\" ] && echo unchanged";
    let words = said(&script(&song, &["unshare", "-rm"], run));
    assert_eq!(words.matches("exit 3").count(), 2, "{words}");
    assert!(words.contains("may write to") && words.contains("unchanged"), "{words}");
}

#[test]
fn a_file_that_may_not_grow_ends_with_3_and_leaves_nothing() {
    let song = Song::new();
    // In blocks of 512 bytes: less than a 64-bit file in between, less than a 24-bit print, less than a report.
    let mut stopped = 0;
    for blocks in [100, 500, 1_000, 1_750] {
        let run = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$fairprint\" print sheet.toml --json");
        let output = script(&song, &["env"], &run);
        if output.status.code() == Some(0) {
            continue;
        }
        stopped += 1;
        assert_eq!(output.status.code(), Some(3), "{blocks} blocks: {}", said(&output));
        assert!(said(&output).contains("\"cannot-write\""), "{blocks} blocks: {}", said(&output));
        assert!(entries(&song.path("prints")).is_empty(), "{blocks} blocks: {:?}", entries(&song.path("prints")));
    }
    assert!(stopped >= 2);
}
