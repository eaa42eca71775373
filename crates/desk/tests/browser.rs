//! The desk in a real browser: it opens, plays the samples of the print, follows a hand in time, undoes, seeks, saves and
//! prints; a sheet of forty stems stays legible.
//!
//! Runs where the test command has set `FAIRPRINT_CHROMIUM` and installed the packages of `crates/pages/web`; elsewhere it
//! says so and passes. `FAIRPRINT_SHOTS` names a folder that keeps the pictures.

#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test that cannot go on fails, and tells its figures")]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;

use media::{FileFormat, Metadata, WavSample};
use serde_json::Value;
use units::Frame;

const RATE_HZ: usize = 48_000;
const SECONDS: usize = 12;
/// Level of listening at the start, and how near a recorded gain has to be to it.
const MONITOR_DB: f64 = -18.0;
const NEAR_DB: f64 = 0.02;
/// How much of a recording is laid against a print.
const STRETCH: usize = RATE_HZ / 4;
/// From the key to the loudspeakers. The goal is 100 ms; a machine that compiles beside the test is given more.
const HEARD_MS: f64 = 250.0;

const SONG: &str = r#"
fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
[[section]]
name = "verse"
from = 1.0
[[section]]
name = "chorus"
from = 8.0
[[stem]]
name = "drums"
file = "drums.wav"
to = "band"
[[stem]]
name = "bass"
file = "bass.wav"
to = "band"
level_db = -4
[[stem]]
name = "voice"
file = "voice.wav"
to = "mix"
[[bus]]
name = "band"
to = "mix"
sends = [{ to = "crush", level_db = -3 }]
[[bus]]
name = "crush"
to = "mix"
level_db = -20
chain = [{ compressor = { kind = "valve", threshold_db = -30 } }]
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
pattern = "{print}"
[[print]]
name = "for approval"
from = "mix"
chain = [{ limiter = { ceiling_dbtp = -1 } }]
files = [{ format = "wav", bits = 24 }]
pattern = "{print}"
"#;

/// A folder with a song.
struct Scene {
    folder: tempfile::TempDir,
}

impl Scene {
    fn song() -> Self {
        let scene = Self { folder: tempfile::tempdir().unwrap() };
        for (seed, name) in ["drums", "bass", "voice"].into_iter().enumerate() {
            scene.record(&format!("{name}.wav"), SECONDS * RATE_HZ, seed as u64 + 1);
        }
        fs::write(scene.path("sheet.toml"), SONG).unwrap();
        scene
    }

    /// Forty stems on eight buses.
    fn forty() -> Self {
        let scene = Self { folder: tempfile::tempdir().unwrap() };
        let mut sheet = "fairprint = 1\n[song]\ntitle = \"Slack Water\"\nrate_hz = 48000\n".to_owned();
        for stem in 0..40 {
            scene.record(&format!("{stem}.wav"), 6 * RATE_HZ, stem + 1);
            let bus = stem % 8 + 1;
            let _ = write!(
                sheet,
                "[[stem]]\nname = \"part {stem}\"\nfile = \"{stem}.wav\"\nto = \"group {bus}\"\nlevel_db = {}\n",
                -12.0 - stem as f64 / 2.0
            );
        }
        for bus in 1..9 {
            let _ = write!(
                sheet,
                "[[bus]]\nname = \"group {bus}\"\nto = \"mix\"\nsends = [{{ to = \"room\", level_db = -12 }}]\n"
            );
        }
        sheet.push_str("[[bus]]\nname = \"room\"\nto = \"mix\"\nlevel_db = -12\nchain = [{ room = {} }]\n[[bus]]\nname = \"mix\"\n");
        sheet.push_str(
            "[[print]]\nname = \"for mastering\"\nfrom = \"mix\"\nfiles = [{ format = \"wav\", bits = 24 }]\n",
        );
        fs::write(scene.path("sheet.toml"), sheet).unwrap();
        scene
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Noise whose level swells and falls, the same for the same seed.
    fn record(&self, name: &str, frames: usize, seed: u64) {
        let mut random = chance::Random(seed);
        let mut low = [0.0; 2];
        let noise: Vec<Frame> = (0..frames)
            .map(|at| {
                let swell = 0.35 + 0.25 * ((at / 4800) % 7) as f64 / 7.0;
                low = low.map(|x| 0.8 * x + 0.1 * random.even());
                low.map(|x| x * swell)
            })
            .collect();
        let format = FileFormat::Wav(WavSample::Float32);
        media::write_all(&self.path(name), &format, RATE_HZ as u32, &noise, &Metadata::default()).unwrap();
    }

    /// Opens the desk and goes through a part of the script; returns its figures.
    fn node(&self, act: &str, out: &Path) -> Value {
        let setup = desk::Setup { sheet: self.path("sheet.toml"), port: 0, threads: 2, device: None };
        let desk = desk::open(&setup).unwrap();
        let link = desk.link().to_owned();
        // It is served until the test ends.
        thread::spawn(move || desk.serve());
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../pages/web/e2e/desk.mjs");
        let mut node = Command::new("node");
        node.arg(&script).args([act, &link]).arg(out).stdout(Stdio::piped()).stderr(Stdio::piped());
        let done = node.spawn().unwrap().wait_with_output().unwrap();
        let [said, cried] = [done.stdout, done.stderr].map(|text| String::from_utf8_lossy(&text).into_owned());
        assert!(done.status.success(), "{act}: {cried}");
        println!("{act}: {said}");
        serde_json::from_str(&said).unwrap()
    }
}

/// What the browser sent to the loudspeakers.
struct Recording {
    frames: Vec<Frame>,
    marks: Value,
}

impl Recording {
    fn read(out: &Path) -> Self {
        let bytes = fs::read(out.join("heard.f32")).unwrap();
        let samples: Vec<f64> = bytes.as_chunks::<4>().0.iter().map(|b| f64::from(f32::from_le_bytes(*b))).collect();
        let marks: Value = serde_json::from_slice(&fs::read(out.join("heard.json")).unwrap()).unwrap();
        assert_eq!(marks["rate"], RATE_HZ, "the page plays at the rate of the song");
        Self { frames: samples.as_chunks::<2>().0.to_vec(), marks }
    }

    fn at(&self, what: &str) -> usize {
        let marks = self.marks["marks"].as_array().unwrap();
        marks.iter().find(|mark| mark["what"] == what).unwrap()["frame"].as_u64().unwrap() as usize
    }

    /// Delay and gain of a stretch after a mark against a print: where the print's first frame would be. None on a machine
    /// that is too busy.
    fn fit(&self, print: &[Frame], what: &str) -> Option<Fit> {
        // Sound that had to wait comes back gently.
        let gently = RATE_HZ / 20;
        let from = self.sounding(what, gently + STRETCH)?;
        Some(self.fit_at(print, from + gently, STRETCH))
    }

    fn fit_at(&self, print: &[Frame], from: usize, frames: usize) -> Fit {
        let fit = measure::align(print, &self.frames[from..from + frames], RATE_HZ * SECONDS).unwrap();
        Fit { from, start: from as i64 + fit.delay_samples.round() as i64, gain_db: fit.gain_db }
    }

    /// The first stretch of so many frames, within as many after a mark, in which sound did not have to wait; none on a
    /// machine that is too busy.
    fn sounding(&self, what: &str, frames: usize) -> Option<usize> {
        let from = self.at(what);
        (from..from + frames).step_by(480).find(|at| !self.waits(*at, at + frames))
    }

    /// Whether sound had to wait between two frames.
    fn waits(&self, from: usize, to: usize) -> bool {
        self.frames[from..to].chunks(64).any(|part| part.iter().all(|frame| frame[0].abs() <= 1e-5))
    }

    /// Most frames by which sound may be late where it had to wait between two frames: its silences, each with 50 ms in which
    /// it dies away and comes back.
    fn may_be_late(&self, from: usize, to: usize) -> i64 {
        let (mut frames, mut was_silent) = (0, false);
        for at in (from..to).step_by(64) {
            let is_silent = self.waits(at, (at + 64).min(to));
            frames += if is_silent { 64 } else { 0 } + if is_silent && !was_silent { RATE_HZ / 20 } else { 0 };
            was_silent = is_silent;
        }
        frames as i64
    }

    /// What is left at a frame of the recording when the print is taken away.
    fn rest(&self, print: &[Frame], fit: &Fit, at: usize) -> f64 {
        let gain = units::gain_from_db(fit.gain_db);
        let song = print[usize::try_from(at as i64 - fit.start).unwrap()];
        (self.frames[at][0] - gain * song[0]).abs().max((self.frames[at][1] - gain * song[1]).abs())
    }

    fn largest_rest(&self, print: &[Frame], fit: &Fit, from: usize) -> f64 {
        (from..from + STRETCH).map(|at| self.rest(print, fit, at)).fold(0.0, f64::max)
    }
}

#[derive(Debug)]
struct Fit {
    /// Where the stretch lies that was laid against the print.
    from: usize,
    start: i64,
    gain_db: f64,
}

fn out(scene: &Scene) -> PathBuf {
    let out = std::env::var("FAIRPRINT_SHOTS").map_or_else(|_| scene.path("out"), PathBuf::from);
    fs::create_dir_all(&out).unwrap();
    out
}

fn has_browser() -> bool {
    let is_there = std::env::var("FAIRPRINT_CHROMIUM").is_ok();
    if !is_there {
        println!("FAIRPRINT_CHROMIUM is not set: no browser is asked.");
    }
    is_there
}

#[test]
fn what_is_heard_is_the_print_and_follows_the_hand() {
    if !has_browser() {
        return;
    }
    let scene = Scene::song();
    let out = out(&scene);
    scene.node("song", &out);
    let heard = Recording::read(&out);
    let print = |name: &str| media::read_all(&scene.path(&format!("prints/r001/{name}.wav")), None).unwrap().1;
    let (mastering, approval) = (print("ForMastering"), print("ForApproval"));
    let (Some(before), Some(after)) = (heard.fit(&mastering, "start"), heard.fit(&mastering, "undone")) else {
        println!("sound had to wait all the time: what was heard is not held to the print");
        return is_told_apart(&scene, &heard, &mastering);
    };
    println!("before {before:?}, after {after:?}");
    for fit in [&before, &after] {
        assert!((fit.gain_db - MONITOR_DB).abs() < NEAR_DB, "{fit:?}");
    }
    let floor = heard.largest_rest(&mastering, &before, before.from);
    assert!(heard.largest_rest(&mastering, &after, after.from) < 3.0 * floor, "what is undone is undone to the sample");
    // Where the machine was too busy, sound waited; nothing else may come between, and nothing twice.
    let waited = after.start - before.start;
    println!("sound waited {waited} frames");
    let most = heard.may_be_late(before.from, after.from);
    assert!((0..=most).contains(&waited), "frames were lost or doubled: {waited}, of at most {most}");
    // The level of the voice goes down by 3 dB: from then on the print is not all of it.
    let is_other = |at: &usize| heard.rest(&mastering, &before, *at) > 4.0 * floor;
    let late_ms = |what: &str| {
        let moved = heard.at(what);
        // Once sound had to wait, it is not in step with what it is held to.
        let in_step = !(moved - RATE_HZ / 20..moved).any(|at| is_other(&at));
        let late = (moved..).find(is_other).unwrap();
        in_step.then_some((late - moved) as f64 / RATE_HZ as f64 * 1000.0)
    };
    let moves: Vec<f64> = ["moved", "moved again", "moved once more"].into_iter().filter_map(late_ms).collect();
    println!("moves were heard {moves:.0?} ms after the key; floor {floor:.2e}");
    let soonest = moves.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(soonest < HEARD_MS || moves.is_empty() || waited > 0, "{moves:?} ms");
    assert!(!moves.is_empty() || waited > 0, "no move was in step");
    assert!(heard.largest_rest(&mastering, &before, heard.at("settled")) > 10.0 * floor);
    is_in_step(&heard, &before, &mastering, &approval);
    assert!(fs::read_to_string(scene.path("sheet.toml")).unwrap().contains("threshold_db = -27.5"));
    is_told_apart(&scene, &heard, &mastering);
}

/// After a jump and a switch, the one print goes on where the other was.
fn is_in_step(heard: &Recording, before: &Fit, mastering: &[Frame], approval: &[Frame]) {
    let (Some(chorus), Some(switched)) = (heard.fit(mastering, "chorus"), heard.fit(approval, "switched")) else {
        println!("sound had to wait all the time: prints are not held to each other");
        return;
    };
    assert!(chorus.start != before.start && (chorus.gain_db - MONITOR_DB).abs() < NEAR_DB, "{chorus:?}");
    let apart = switched.start - chorus.start;
    let may_be = -1..2 + heard.may_be_late(chorus.from, switched.from);
    assert!(may_be.contains(&apart), "prints are in step: {switched:?} and {chorus:?}");
}

/// In the blind test of a print against itself in mono, what was heard is what was said, and X is what was kept.
fn is_told_apart(scene: &Scene, heard: &Recording, print: &[Frame]) {
    let is_mono = |what: &str| {
        let at = heard.sounding(what, RATE_HZ / 20)?;
        Some(heard.frames[at..at + RATE_HZ / 20].iter().all(|frame| (frame[0] - frame[1]).abs() < 1e-6))
    };
    for (what, expected) in [("a", false), ("b", true)] {
        assert!(is_mono(what).is_none_or(|found| found == expected), "{what}");
    }
    let kept = listening::blind::load(&scene.path("sheet.toml")).unwrap().tests;
    let [test] = &kept[..] else { panic!("one test: {kept:?}") };
    assert_eq!((test.a.as_str(), test.b.as_str()), ("for mastering", "for mastering, through mono"));
    for (round, asked) in test.rounds.iter().enumerate() {
        let is_b = asked.x == listening::blind::Side::B;
        assert!(is_mono(&format!("x{round}")).is_none_or(|found| found == is_b), "round {round}");
        assert_eq!(asked.answer, listening::blind::Side::A);
    }
    let middle: Vec<Frame> = print.iter().map(|[left, right]| [(left + right) / 2.0; 2]).collect();
    let (Some(a), Some(b)) = (heard.sounding("a", STRETCH), heard.sounding("b", STRETCH)) else {
        println!("sound had to wait all the time: A and B are not held to the print");
        return;
    };
    let [first, second] = [heard.fit_at(print, a, STRETCH), heard.fit_at(&middle, b, STRETCH)];
    println!("A {first:?}, B {second:?}, turned down by {:?} dB", test.turned_down_db);
    for (fit, down_db) in [(&first, test.turned_down_db[0]), (&second, test.turned_down_db[1])] {
        assert!((fit.gain_db - MONITOR_DB - down_db).abs() < NEAR_DB, "{fit:?}, {down_db} dB");
    }
    // They are in step, unless sound had to wait in between.
    let apart = second.start - first.start;
    assert!((0..RATE_HZ as i64 / 2).contains(&apart), "{apart} frames apart");
}

#[test]
fn forty_stems_stay_legible() {
    if !has_browser() {
        return;
    }
    let scene = Scene::forty();
    let figures = scene.node("forty", &out(&scene));
    assert!(figures["ready_ms"].as_f64().unwrap() > 0.0);
}
