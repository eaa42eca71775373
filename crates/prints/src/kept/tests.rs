//! The same bytes with kept work cold, warm, damaged and deleted; what is kept is bounded; a changed recording is seen.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use chance::Random;
use media::{FileFormat, Metadata, WavSample};
use sha2::{Digest, Sha256};
use units::Frame;

use super::FOLDER;
use crate::labels::Moment;
use crate::print::{Order, Stopped, make};
use crate::revision::Revision;

const RATE_HZ: u32 = 48_000;
const FRAMES: usize = 60_000;
const ROOM: u64 = 1 << 30;
const SHEET: &str = r#"
fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
tempo_bpm = 92
[[stem]]
name = "kick"
file = "kick.wav"
to = "band"
chain = [{ compressor = { threshold_db = -20 } }]
[[stem]]
name = "keys"
file = "keys.wav"
to = "band"
[[stem]]
name = "voice"
file = "voice.wav"
to = "main"
sends = [{ to = "crush", tap = "pre" }, { to = "room" }]
[[stem]]
name = "rest"
file = "rest.wav"
to = "main"
[[bus]]
name = "band"
to = "main"
sends = [{ to = "crush" }]
[[bus]]
name = "main"
to = "mix"
chain = [{ drive = { drive_db = 3 } }]
[[bus]]
name = "crush"
to = "mix"
level_db = -12
chain = [{ compressor = { kind = "valve", threshold_db = -40, ratio = 8, look_ahead_ms = 2 } }, { drive = { drive_db = 9 } }]
rides = [{ what = "level_db", points = [["0:00.2", -12], ["0:00.8", -6]] }]
[[bus]]
name = "room"
to = "mix"
level_db = -14
chain = [{ room = {} }]
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }, { format = "wav", bits = 32 }]
[[print]]
name = "for approval"
from = "mix"
chain = [{ compressor = { kind = "bus", threshold_db = -24 } }, { tape = {} }, { limiter = { ceiling_dbtp = -1 } }]
loudness = { lufs = -12 }
survive = ["mp3 192"]
files = [{ format = "wav", bits = 24 }, { format = "mp3", kbps = 128 }]
[[alternate]]
name = "instrumental"
of = "for approval"
mute = ["voice"]
files = [{ format = "wav", bits = 24 }]
"#;

/// A song in a folder of its own: noise that comes and goes, with a frame that is no number, and a silent stem.
struct Song(tempfile::TempDir);

impl Song {
    fn new() -> Self {
        let song = Self(tempfile::tempdir().unwrap());
        for (seed, name) in ["kick.wav", "keys.wav", "voice.wav"].into_iter().enumerate() {
            song.record(name, seed as u64 + 1);
        }
        write(&song.path("rest.wav"), &vec![[0.0; 2]; FRAMES]);
        song
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn record(&self, name: &str, seed: u64) {
        let mut random = Random(seed);
        let ramp = |n: usize| (n % 24_000) as f64 / 24_000.0;
        let swell = |n: usize| 0.6 * ramp(n) * ramp(n);
        let mut frames: Vec<Frame> =
            (0..FRAMES).map(|n| [swell(n) * (random.share() - 0.5), swell(n) * (random.share() - 0.5)]).collect();
        if name == "keys.wav" {
            frames[30_000][0] = f64::NAN;
        }
        write(&self.path(name), &frames);
    }

    fn kept(&self) -> PathBuf {
        self.path("prints").join(FOLDER)
    }

    /// Pieces that were kept, the largest first.
    fn pieces(&self) -> Vec<(u64, PathBuf)> {
        let entries = fs::read_dir(self.kept()).into_iter().flatten().flatten();
        let mut pieces: Vec<_> = entries.map(|entry| (entry.metadata().unwrap().len(), entry.path())).collect();
        pieces.sort();
        pieces.reverse();
        pieces
    }

    /// Checksums of all files that a sheet gives, and all that is found, as if each run were the first.
    fn printed(&self, sheet: &str, reuse_bytes: Option<u64>) -> Vec<String> {
        let path = self.path("sheet.toml");
        fs::write(&path, sheet).unwrap();
        let order = Order { reuse_bytes, ..Order::of(&path, 2) };
        let moment = Moment::of_report("2026-11-27 10:00:00 UTC").unwrap();
        fs::create_dir_all(order.revisions()).unwrap();
        let loaded = crate::load(&path).unwrap_or_else(|_| panic!("no sheet"));
        let made = make(&order, loaded, moment, &|| Revision::again(&order.revisions(), 1));
        let report = made
            .unwrap_or_else(|stopped| match stopped {
                Stopped::Sheet(loaded) => panic!("{:#?}", loaded.problems),
                Stopped::Fault(fault) => panic!("{}", fault.into_problem().message),
            })
            .report;
        let files = report.prints.iter().map(|file| format!("{} {} {}", file.name, file.format, file.sha256));
        let found = report.findings.iter().map(|finding| format!("{} at {}", finding.code, finding.at));
        let solved = report.versions.iter().map(|version| format!("{:?}", version.solved));
        let returns = report.returns.iter().map(|record| format!("{record:?}"));
        files.chain(found).chain(solved).chain(returns).collect()
    }
}

fn write(path: &Path, frames: &[Frame]) {
    let format = FileFormat::Wav(WavSample::Float32);
    // What is no number is no fault of a file, but no writer of ours makes one: it is put in by hand below.
    let finite: Vec<Frame> = frames.iter().map(|frame| frame.map(|x| if x.is_nan() { 0.123 } else { x })).collect();
    media::write_all(path, &format, RATE_HZ, &finite, &Metadata::default()).unwrap();
    if frames.as_flattened().iter().any(|x| x.is_nan()) {
        let mut bytes = fs::read(path).unwrap();
        let mark = 0.123_f32.to_le_bytes();
        let at = bytes.windows(4).position(|window| window == mark).unwrap();
        bytes[at..at + 4].copy_from_slice(&f32::NAN.to_le_bytes());
        fs::write(path, bytes).unwrap();
    }
}

#[test]
fn kept_work_cold_warm_damaged_and_deleted_gives_the_same_bytes() {
    let song = Song::new();
    let plain = song.printed(SHEET, None);
    assert!(!song.kept().exists(), "nothing is kept that nobody asked for");
    for code in ["not-a-number", "silent-stem"] {
        assert!(plain.iter().any(|found| found.starts_with(code)), "{code}: {plain:#?}");
    }
    assert_eq!(song.printed(SHEET, Some(ROOM)), plain, "cold");
    assert!(song.pieces().len() > 8, "{:?}", song.pieces());
    assert_eq!(song.printed(SHEET, Some(ROOM)), plain, "warm");
    for (bytes, path) in song.pieces() {
        let mut content = fs::read(&path).unwrap();
        content[bytes as usize / 2] ^= 1;
        fs::write(path, content).unwrap();
    }
    assert_eq!(song.printed(SHEET, Some(ROOM)), plain, "damaged");
    for (index, (bytes, path)) in song.pieces().into_iter().enumerate() {
        let cut = [0, 31, bytes - 1][index % 3];
        File::options().write(true).open(path).unwrap().set_len(cut).unwrap();
    }
    assert_eq!(song.printed(SHEET, Some(ROOM)), plain, "cut short");
    fs::remove_dir_all(song.kept()).unwrap();
    assert_eq!(song.printed(SHEET, Some(ROOM)), plain, "deleted");
}

#[test]
fn what_is_changed_is_printed_as_without_kept_work() {
    let song = Song::new();
    song.printed(SHEET, Some(ROOM));
    for (from, to) in [
        ("level_db = -14\nchain = [{ room = {} }]", "level_db = -11\nchain = [{ room = { low_cut_hz = 300 } }]"),
        ("drive_db = 9", "drive_db = 6"),
        ("threshold_db = -24", "threshold_db = -22"),
        ("lufs = -12", "lufs = -13"),
        ("mp3 192", "mp3 128"),
        ("-12], [\"0:00.8\"", "-9], [\"0:00.8\""),
        ("tempo_bpm = 92", "tempo_bpm = 93"),
    ] {
        let changed = SHEET.replace(from, to);
        assert_ne!(changed, SHEET, "{from}");
        let plain = song.printed(&changed, None);
        assert_eq!(song.printed(&changed, Some(ROOM)), plain, "{to}");
    }
}

#[test]
fn a_recording_with_other_samples_is_seen_whatever_its_time_and_length() {
    let song = Song::new();
    let before = song.printed(SHEET, Some(ROOM));
    let facts = fs::metadata(song.path("voice.wav")).unwrap();
    fs::remove_file(song.path("voice.wav")).unwrap();
    song.record("voice.wav", 99);
    let file = File::options().write(true).open(song.path("voice.wav")).unwrap();
    file.set_modified(facts.modified().unwrap()).unwrap();
    assert_eq!(fs::metadata(song.path("voice.wav")).unwrap().len(), facts.len());
    let after = song.printed(SHEET, Some(ROOM));
    assert_ne!(after, before);
    assert_eq!(after, song.printed(SHEET, None));
}

#[test]
fn kept_work_is_used_and_a_piece_under_anothers_name_is_not() {
    let song = Song::new();
    let plain = song.printed(SHEET, Some(ROOM));
    let sounds: Vec<PathBuf> =
        song.pieces().into_iter().filter(|(bytes, _)| *bytes > 4096).map(|(_, path)| path).collect();
    let contents: Vec<Vec<u8>> = sounds.iter().map(|path| fs::read(path).unwrap()).collect();
    // Each under the name of the next.
    for (path, content) in sounds.iter().zip(contents.iter().cycle().skip(1)) {
        fs::write(path, content).unwrap();
    }
    assert_eq!(song.printed(SHEET, Some(ROOM)), plain);
    // Silence, and a checksum that says that it is right: what no damage does.
    for path in &sounds {
        let name = path.file_name().unwrap().to_str().unwrap();
        let silence = vec![0; fs::metadata(path).unwrap().len() as usize - 32];
        let sum = Sha256::new_with_prefix(name).chain_update(&silence).finalize();
        fs::write(path, [silence, sum.to_vec()].concat()).unwrap();
    }
    assert_ne!(song.printed(SHEET, Some(ROOM)), plain, "kept sounds are played");
}

#[test]
fn what_is_kept_stays_within_its_bounds() {
    let song = Song::new();
    let all = || song.pieces().iter().map(|(bytes, _)| bytes).sum::<u64>();
    let plain = song.printed(SHEET, None);
    // Room for about three sounds, for none, and for nothing at all.
    for most in [3_500_000, 100_000, 0] {
        for drive_db in [9, 10] {
            let changed = SHEET.replace("drive_db = 9", &format!("drive_db = {drive_db}"));
            let printed = song.printed(&changed, Some(most));
            assert!(all() <= most, "{} of {most}", all());
            assert!(drive_db != 9 || printed == plain, "{most}");
        }
    }
}

#[test]
fn runs_at_once_do_not_disturb_each_other() {
    let song = Song::new();
    let sheet = song.path("sheet.toml");
    fs::write(&sheet, SHEET).unwrap();
    let run = || {
        let order = Order { reuse_bytes: Some(4_000_000), ..Order::of(&sheet, 1) };
        let report = match crate::print(&order) {
            Ok(printed) => printed.report,
            Err(crate::Stopped::Fault(fault)) => panic!("not printed: {fault:?}"),
            Err(crate::Stopped::Sheet(_)) => panic!("the sheet is whole"),
        };
        let lossless = report.prints.iter().filter(|file| !file.lossy);
        let sound = |path: &str| media::read_all(Path::new(path), None).unwrap().1;
        lossless.map(|file| sound(&file.path)).collect::<Vec<_>>()
    };
    let first = run();
    std::thread::scope(|scope| {
        let others: Vec<_> = (0..3).map(|_| scope.spawn(run)).collect();
        others.into_iter().for_each(|other| assert!(other.join().unwrap() == first));
    });
    let hidden =
        fs::read_dir(song.kept()).unwrap().flatten().filter(|e| e.file_name().to_string_lossy().starts_with('.'));
    assert_eq!(hidden.count(), 0);
}
