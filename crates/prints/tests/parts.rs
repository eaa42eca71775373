//! Stems that sum to their print and alternates that splice with it, on short songs.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::fs;
use std::path::Path;

use prints::record::Report;
use prints::{Order, Printed, Stopped};
use units::{Frame, db_from_gain};

use song::{HEAD, RATE_HZ, signal, write_stem};

mod song;

/// What every sheet here goes on with: four stems, a bus with a compressor, a crushed parallel and a room.
const NETWORK: &str = r#"
[[stem]]
name = "kick"
file = "kick.wav"
to = "band"
[[stem]]
name = "bass"
file = "bass.wav"
to = "band"
sends = [{ to = "crush", level_db = -3 }]
[[stem]]
name = "keys"
file = "keys.wav"
to = "band"
pan_percent = -30
[[stem]]
name = "voice"
file = "voice.wav"
to = "mix"
sends = [{ to = "crush", tap = "pre", level_db = -6 }, { to = "room" }]
[[bus]]
name = "band"
to = "mix"
chain = [{ compressor = { kind = "bus", threshold_db = -30, ratio = 3 } }]
[[bus]]
name = "crush"
to = "mix"
level_db = -12
chain = [{ compressor = { kind = "valve", threshold_db = -40, ratio = 8, look_ahead_ms = 2 } }, { drive = { drive_db = 9 } }]
[[bus]]
name = "room"
to = "mix"
level_db = -12
chain = [{ room = {} }]
[[bus]]
name = "mix"
"#;

/// A print with everything that splits and one thing that does not (tape).
const APPROVAL: &str = r#"
[[print]]
name = "for approval"
from = "mix"
chain = [{ compressor = { kind = "bus", threshold_db = -24, ratio = 2 } }, { tape = { drive_db = 4 } }, { drive = { shape = "cubic", drive_db = 6 } }, { limiter = { ceiling_dbtp = -6 } }]
loudness = { lufs = -16 }
files = [{ format = "wav", bits = 24 }, { format = "wav", bits = 32 }]
"#;

/// A print that treats every lane alike.
const STRAIGHT: &str = r#"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 32 }]
"#;

/// Noise that falls towards the treble, in bursts; silent until `from_secs`.
fn sound(seed: u64, secs: f64, from_secs: f64) -> Vec<Frame> {
    let mut random = chance::Random(seed);
    let mut held = [0.0; 2];
    signal(secs, |n| {
        let start = (from_secs * f64::from(RATE_HZ)) as usize;
        let level = if n < start { 0.0 } else { 1.5 * libm::exp(-8.0 * (n % 16_000) as f64 / f64::from(RATE_HZ)) };
        held = held.map(|held| 0.97 * held + 0.03 * random.even());
        held.map(|x| level * x)
    })
}

/// A printed song.
struct Song {
    folder: tempfile::TempDir,
    report: Report,
}

impl Song {
    /// Prints a sheet with stems of three seconds; the voice comes in after one.
    fn print(sheet: &str, only: &[&str]) -> Self {
        Self::print_with(sheet, only, &sound(4, 3.0, 1.0))
    }

    fn print_with(sheet: &str, only: &[&str], voice: &[Frame]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        for (seed, name) in [(1, "kick"), (2, "bass"), (3, "keys")] {
            write_stem(folder.path(), &format!("{name}.wav"), &sound(seed, 3.0, 0.0));
        }
        write_stem(folder.path(), "voice.wav", voice);
        let report = printed(folder.path(), sheet, only).report;
        Self { folder, report }
    }

    /// The frames of a file by its name and format.
    fn file(&self, name: &str, format: &str) -> Vec<Frame> {
        let file = self.report.prints.iter().find(|file| file.name == name && file.format.contains(format));
        let path = &file.unwrap_or_else(|| panic!("{name}, {format}: {:#?}", self.report.prints)).path;
        media::read_all(Path::new(path), None).unwrap().1
    }

    fn sum(&self, names: &[&str], format: &str) -> Vec<Frame> {
        let files: Vec<_> = names.iter().map(|name| self.file(name, format)).collect();
        (0..files[0].len()).map(|n| [0, 1].map(|channel| files.iter().map(|file| file[n][channel]).sum())).collect()
    }
}

fn printed(folder: &Path, sheet: &str, only: &[&str]) -> Printed {
    let only: Vec<String> = only.iter().map(|name| (*name).to_owned()).collect();
    let path = folder.join("sheet.toml");
    fs::write(&path, format!("{HEAD}{sheet}")).unwrap();
    prints::print(&Order { only: &only, ..Order::of(&path, 2) }).unwrap_or_else(|stopped| match stopped {
        Stopped::Sheet(loaded) => panic!("{:#?}", loaded.problems),
        Stopped::Fault(fault) => panic!("{}", fault.into_problem().message),
    })
}

/// Peak of the difference of two signals, in dB of full scale.
fn difference_dbfs(a: &[Frame], b: &[Frame]) -> f64 {
    assert_eq!(a.len(), b.len());
    let differences = a.iter().zip(b).map(|(a, b)| (a[0] - b[0]).abs().max((a[1] - b[1]).abs()));
    db_from_gain(differences.fold(0.0, f64::max))
}

#[test]
fn stem_files_sum_to_the_print_through_everything() {
    let stems = r#"
[[stem_print]]
name = "parts"
of = "for approval"
groups = [{ name = "beat", from = ["kick", "bass"] }, { name = "voice", from = ["voice"] }]
files = [{ format = "wav", bits = 24 }, { format = "wav", bits = 32 }, { format = "flac", bits = 16 }]
"#;
    let song = Song::print(&format!("{NETWORK}{APPROVAL}{stems}"), &[]);
    let names = ["parts beat", "parts voice", "parts rest", "parts residue"];
    // The design's own figures: below -120 dBFS at 24 bits, below -140 dB in 32 bit float. Reached is more.
    let null = difference_dbfs(&song.file("for approval", "24 bit"), &song.sum(&names, "24 bit"));
    assert!(null == f64::NEG_INFINITY, "24 bits: {null}");
    let null = difference_dbfs(&song.file("for approval", "32 bit"), &song.sum(&names, "32 bit"));
    assert!(null < -160.0, "32 bit float: {null}");
    let record = &song.report.stems[0];
    assert!(record.null_dbfs.is_none_or(|null| null < -250.0), "{:?}", record.null_dbfs);
    assert_eq!(record.files_null_dbfs[0], ("WAV 24 bit, 48 kHz".to_owned(), None));
    assert_eq!(record.files_null_dbfs[2].1, None, "16 bits");
    let share = record.residue_share_db.unwrap();
    assert!((-70.0..-10.0).contains(&share), "the tape's residue is told: {share}");
    assert_eq!(record.groups[2], ("rest".to_owned(), vec!["keys".to_owned()]));
    for name in &names[..3] {
        let peak = difference_dbfs(&song.file(name, "32 bit"), &vec![[0.0; 2]; song.report.frames as usize]);
        assert!(peak > -30.0, "{name} carries sound: {peak}");
    }
}

#[test]
fn held_alternates_null_against_the_print_and_splice_with_it() {
    let alternates = r#"
[[alternate]]
name = "instrumental"
of = "for approval"
mute = ["voice"]
[[alternate]]
name = "a cappella"
of = "for approval"
only = ["voice"]
"#;
    let song = Song::print(&format!("{NETWORK}{APPROVAL}{alternates}"), &[]);
    for (format, least) in [("24 bit", -120.0), ("32 bit", -140.0)] {
        let print = song.file("for approval", format);
        let null = difference_dbfs(&print, &song.sum(&["instrumental", "a cappella"], format));
        assert!(null < least, "{format}: {null}");
        // Until the voice comes in, after one second, the instrumental is the print: a bar of one fits into the other.
        let before = 40_000;
        let null = difference_dbfs(&print[..before], &song.file("instrumental", format)[..before]);
        assert!(null < -180.0, "{format}: {null}");
        let voice = song.file("a cappella", format);
        assert!(voice[..before].iter().all(|frame| frame.iter().all(|x| x.abs() < 1e-6)), "nothing before the voice");
        assert!(voice.iter().any(|frame| frame[0].abs() > 0.01));
    }
    let records = &song.report.alternates;
    assert_eq!([&records[0].name, &records[1].name], ["instrumental", "a cappella"]);
    assert!(
        records.iter().all(|record| record.dynamics == "held" && record.null_dbfs.is_none_or(|null| null < -250.0))
    );
}

#[test]
fn a_voice_up_moves_with_its_space_and_its_parallels() {
    // Through processing that is the same for every level, held or free, a decibel is a decibel everywhere.
    let network =
        NETWORK.replace("{ compressor = { kind = \"bus\", threshold_db = -30, ratio = 3 } }", "{ trim = {} }");
    let crush = network.find("chain = [{ compressor = { kind = \"valve\"").unwrap();
    let end = crush + network[crush..].find('\n').unwrap();
    let network = format!("{}chain = [{{ trim = {{ gain_db = 3 }} }}]{}", &network[..crush], &network[end..]);
    let alternates = ["held", "free"].map(|dynamics| {
        format!(
            "[[alternate]]\nname = \"up {dynamics}\"\nof = \"for mastering\"\ndynamics = \"{dynamics}\"\n\
             offsets = [{{ node = \"voice\", db = 1 }}]\n\
             [[alternate]]\nname = \"voice {dynamics}\"\nof = \"for mastering\"\ndynamics = \"{dynamics}\"\n\
             only = [\"voice\"]\n"
        )
    });
    let song = Song::print(&format!("{network}{STRAIGHT}{}", alternates.concat()), &[]);
    let gain = libm::pow(10.0, 1.0 / 20.0);
    for dynamics in ["held", "free"] {
        let [print, voice, up] = ["for mastering", &format!("voice {dynamics}"), &format!("up {dynamics}")]
            .map(|name| song.file(name, "32 bit"));
        let expected: Vec<Frame> =
            print.iter().zip(&voice).map(|(p, v)| [0, 1].map(|c| p[c] + (gain - 1.0) * v[c])).collect();
        assert!(difference_dbfs(&up, &expected) < -135.0, "{dynamics}: {}", difference_dbfs(&up, &expected));
        assert!(difference_dbfs(&up, &print) > -60.0);
    }
}

/// Two songs that differ in nothing but what the voice's file holds, and how an alternate without it differs.
fn with_another_voice(sheet: &str) -> f64 {
    let song = Song::print(sheet, &["instrumental"]);
    let other = Song::print_with(sheet, &["instrumental"], &sound(99, 3.0, 0.0));
    assert_ne!(song.file("instrumental", "32 bit").len(), 0);
    difference_dbfs(&song.file("instrumental", "32 bit"), &other.file("instrumental", "32 bit"))
}

fn instrumental(of: &str, dynamics: &str) -> String {
    format!("[[alternate]]\nname = \"instrumental\"\nof = \"{of}\"\nmute = [\"voice\"]\ndynamics = \"{dynamics}\"\n")
}

#[test]
fn nothing_of_a_muted_stem_is_left() {
    // Free: whatever the processing, another voice changes not one bit.
    let free = format!("{NETWORK}{STRAIGHT}{}", instrumental("for mastering", "free"));
    assert_eq!(with_another_voice(&free), f64::NEG_INFINITY);
    // Held, where no gain depends on the level: not one bit either, for no lane of the alternate holds a sample of it.
    let straight = NETWORK.replace("compressor = { kind = \"bus\", threshold_db = -30, ratio = 3 }", "trim = {}");
    let crush = "{ compressor = { kind = \"valve\", threshold_db = -40, ratio = 8, look_ahead_ms = 2 } }, { drive = { drive_db = 9 } }";
    assert!(straight.contains(crush));
    let straight = straight.replace(crush, "{ trim = {} }");
    let held = format!("{straight}{STRAIGHT}{}", instrumental("for mastering", "held"));
    assert_eq!(with_another_voice(&held), f64::NEG_INFINITY);
    // Held, through compressors: their gains follow the voice, and must.
    let held = format!("{NETWORK}{STRAIGHT}{}", instrumental("for mastering", "held"));
    assert!(with_another_voice(&held) > -60.0);
}

#[test]
fn alternates_are_as_long_as_the_print_and_inherit_what_it_found() {
    let alternates = r#"
[[alternate]]
name = "no limiter"
of = "for approval"
without = ["limiter"]
dynamics = "free"
files = [{ format = "wav", bits = 32 }]
[[alternate]]
name = "dry"
of = "for approval"
mute = ["room"]
dynamics = "free"
[[alternate]]
name = "held without tape"
of = "for approval"
without = ["tape"]
mute = ["kick"]
"#;
    let song = Song::print(&format!("{NETWORK}{APPROVAL}{alternates}"), &[]);
    let print = song.file("for approval", "32 bit");
    for name in ["no limiter", "dry", "held without tape"] {
        assert_eq!(song.file(name, "32 bit").len(), print.len(), "{name}");
    }
    let solved = song.report.versions[0].solved.as_ref().unwrap();
    let peak =
        |name: &str| song.report.prints.iter().find(|f| f.name == name).unwrap().measures.true_peak_dbtp.unwrap();
    assert!(solved.gain_db > 0.0 && peak("no limiter") > peak("for approval") + 0.5, "{} dB", solved.gain_db);
    // Without the limiter, what never reaches it is the same, in time to the sample.
    let free = song.file("no limiter", "32 bit");
    let same = print.iter().zip(&free).filter(|(a, b)| (a[0] - b[0]).abs() < 1e-3).count();
    assert!(same > print.len() / 3, "{same} of {}", print.len());
    assert_eq!(song.report.alternates[1].dynamics, "free");
}

#[test]
fn one_alternate_or_print_in_stems_can_be_printed_alone() {
    let parts = r#"
[[alternate]]
name = "instrumental"
of = "for approval"
mute = ["voice"]
[[stem_print]]
name = "parts"
of = "for mastering"
"#;
    let sheet = format!("{NETWORK}{APPROVAL}{STRAIGHT}{parts}");
    let all = Song::print(&sheet, &[]);
    let one = printed(all.folder.path(), &sheet, &["instrumental"]).report;
    assert!(one.prints.iter().all(|file| file.name == "instrumental") && one.versions.is_empty(), "{:#?}", one.prints);
    let sums = |report: &Report| -> Vec<Vec<Frame>> {
        let files = report.prints.iter().filter(|file| file.name == "instrumental");
        files.map(|file| media::read_all(Path::new(&file.path), None).unwrap().1).collect()
    };
    assert_eq!(sums(&one), sums(&all.report), "the same samples, alone or with all");
    let stems = printed(all.folder.path(), &sheet, &["parts"]).report;
    let names: Vec<&str> = stems.prints.iter().map(|file| file.name.as_str()).collect();
    assert_eq!(names, ["parts kick", "parts bass", "parts keys", "parts voice", "parts residue"]);
}
