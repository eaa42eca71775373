//! A listening from end to end in a real browser: play, switch, write, read in, vote, approve, send; then the notes come
//! in, are answered, and the next page shows it. Desk and phone.
//!
//! Runs where the test command has set `FAIRPRINT_CHROMIUM` and installed the packages of `crates/pages/web`; elsewhere it
//! says so and passes.

#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test that cannot go on fails, and tells its figures")]

mod scene;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use listening::notes::{self, State};
use listening::{Audio, Order};
use scene::{RATE_HZ, Scene};
use serde_json::Value;
use sha2::{Digest, Sha256};
use units::Frame;

fn order(sheet: &Path, single: bool) -> Order<'_> {
    let progress = &|_: &str, _: f64| {};
    Order { sheet, revision: None, prints: None, only: &[], audio: Audio::Mp3, single, to: None, progress }
}

/// The sizes that a page is opened at.
const SIZES: [&str; 2] = ["desk", "phone"];

/// One part of the script, at both sizes at once.
fn node(act: &str, page: &Path, out: &Path) {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../pages/web/e2e/listening.mjs");
    let address = format!("file://{}", page.display().to_string().replace(' ', "%20"));
    let start = |size| {
        let mut node = Command::new("node");
        node.arg(&script).args([act, &address]).arg(out).arg(size).stdout(Stdio::piped()).stderr(Stdio::piped());
        (size, node.spawn().unwrap())
    };
    for (size, running) in SIZES.map(start) {
        let done = running.wait_with_output().unwrap();
        let said = [done.stdout, done.stderr].map(|text| String::from_utf8_lossy(&text).into_owned()).concat();
        assert!(done.status.success(), "{act} on the {size}: {said}");
    }
}

/// What the browser sent to the loudspeakers.
struct Recording {
    frames: Vec<Frame>,
    marks: Vec<(String, usize)>,
}

impl Recording {
    fn read(out: &Path, size: &str) -> Self {
        let bytes = fs::read(out.join(format!("{size}.f32"))).unwrap();
        let samples: Vec<f64> = bytes.as_chunks::<4>().0.iter().map(|b| f64::from(f32::from_le_bytes(*b))).collect();
        let marks: Value = serde_json::from_slice(&fs::read(out.join(format!("{size}.marks.json"))).unwrap()).unwrap();
        assert_eq!(marks["rate"], RATE_HZ, "the page plays at the rate of the song");
        let mark = |mark: &Value| (mark["what"].as_str().unwrap().to_owned(), mark["frame"].as_u64().unwrap() as usize);
        Self {
            frames: samples.as_chunks::<2>().0.to_vec(),
            marks: marks["marks"].as_array().unwrap().iter().map(mark).collect(),
        }
    }

    fn at(&self, what: &str) -> usize {
        self.marks.iter().find(|(name, _)| name == what).unwrap().1
    }

    /// Delay and gain of the stretch after a mark against a whole song: the song's first frame in the recording.
    fn fit(&self, song: &[Frame], what: &str) -> measure::Alignment {
        // Left alone: the switch itself and what a press takes to arrive.
        let from = self.at(what) + RATE_HZ as usize / 4;
        let stretch = &self.frames[from..from + RATE_HZ as usize * 6 / 10];
        let fit = measure::align(song, stretch, RATE_HZ as usize * 20).unwrap();
        measure::Alignment { delay_samples: fit.delay_samples + from as f64, ..fit }
    }
}

#[test]
fn a_listening_goes_round_from_page_to_notes_to_the_next_page() {
    if std::env::var("FAIRPRINT_CHROMIUM").is_err() {
        println!("FAIRPRINT_CHROMIUM is not set: no browser is asked.");
        return;
    }
    let scene = Scene::new();
    let out = std::env::var("FAIRPRINT_SHOTS").map_or_else(|_| scene.path("out"), Into::into);
    fs::create_dir_all(&out).unwrap();
    let sheet = scene.sheet();
    let written = listening::write(&order(&sheet, false)).unwrap();
    let mut collected = notes::load(&sheet, "Lantern Weather").unwrap();
    node("listen", &written.page, &out);
    for size in SIZES {
        heard_what_was_asked_for(&scene, &written, &Recording::read(&out, size));
        let sent = notes::read(&out.join(format!("{size}.notes.json"))).unwrap();
        assert_eq!((sent.notes.len(), sent.approvals.len(), sent.ballots.len()), (3, 1, 1));
        let ballot = &sent.ballots[0];
        assert_eq!((ballot.rounds.len(), ballot.versions.len()), (10, 3));
        assert!(ballot.trims_db.values().any(|db| *db == 0.5), "the trim is logged: {:?}", ballot.trims_db);
        assert!(ballot.rounds.iter().all(|round| round.order[0] == round.chose), "the first was chosen each time");
        notes::add(&mut collected, sent);
    }
    // The same note by Theo came in by both.
    assert_eq!((collected.notes.len(), collected.approvals.len()), (5, 2));
    let print = fs::read(scene.prints().join("r001/for approval.wav")).unwrap();
    let sum: String = Sha256::digest(print).iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(collected.approvals_of(&sum).count(), 2, "the approval names the file that was printed");
    let voice: Vec<String> =
        collected.notes.iter().filter(|note| note.text == "Voice up a little.").map(|note| note.id.clone()).collect();
    notes::answer(&mut collected, &voice[0], State::Done, "Up by 1 dB from the second line on.").unwrap();
    notes::answer(&mut collected, "theo1", State::Declined, "It is the bell of the ride.").unwrap();
    notes::save(&sheet, &collected).unwrap();
    let single = listening::write(&order(&sheet, true)).unwrap();
    node("answers", &single.page, &out);
}

/// Each version was in time to the sample and at its gain; no switch clicked; as delivered came slowly.
fn heard_what_was_asked_for(scene: &Scene, written: &listening::Written, heard: &Recording) {
    let html = fs::read_to_string(&written.page).unwrap();
    let told: Value =
        serde_json::from_str(html.split_once("id=\"song\">").unwrap().1.split_once("</script>").unwrap().0).unwrap();
    let songs = ["prints/r001/for mastering.wav", "prints/r001/for approval.wav", "rough mix.wav"];
    let (mut delays, mut played) = (Vec::new(), Vec::new());
    for (index, ((name, _, late), song)) in written.versions.iter().zip(songs).enumerate() {
        let song = media::read_all(&scene.path(song), None).unwrap().1;
        let fit = heard.fit(&song[*late as usize..], name);
        let gain = told["versions"][index]["matched_db"].as_f64().unwrap();
        println!(
            "{name}: {:.3} samples after the song, {:+.3} dB from its gain",
            fit.delay_samples,
            fit.gain_db - gain
        );
        assert!((fit.gain_db - gain).abs() < 0.1, "{name}: {fit:?}, wanted {gain} dB");
        if index == 0 {
            // Two seconds around the seam of two pieces.
            let gains = gains_db(&song, heard, fit.delay_samples, heard.at(name), 1.8);
            let worst = gains.iter().fold(0.0f64, |worst, db| worst.max((db - gain).abs()));
            println!("across the seam: at most {worst:.3} dB off in 20 ms");
            assert!(worst < 0.5, "{gains:?}");
        }
        delays.push(fit.delay_samples);
        let factor = units::gain_from_db(gain);
        played.push(song[*late as usize..].iter().map(|x| x.map(|x| factor * x)).collect::<Vec<Frame>>());
    }
    let apart = delays.iter().fold(0.0f64, |most, delay| most.max((delay - delays[0]).abs()));
    assert!(apart < 1.0, "versions are {apart} samples apart: {delays:?}");
    // The clean and the loud print differ enough to see one give way to the other; the rough mix is too near the loud one.
    let fastest = fastest_change(&played[0], &played[1], heard, delays[0], heard.at("for approval"));
    println!("to the loud print: at most {:.0} % of the way in 4 ms", 100.0 * fastest);
    assert!((0.1..0.7).contains(&fastest), "the switch clicks, or never came: {fastest}");
    let song = media::read_all(&scene.path(songs[1]), None).unwrap().1;
    rises_slowly(&song, heard, delays[1], &told);
}

/// How much of the way from one version to the other is made in 4 ms at most, around a switch. What is heard is
/// `a + w (b - a)`, and least squares give `w` in windows of 2 ms. A switch without a fade makes all of the way at once.
fn fastest_change(a: &[Frame], b: &[Frame], heard: &Recording, delay: f64, switch: usize) -> f64 {
    let (window, hop) = (RATE_HZ as usize / 500, RATE_HZ as usize / 2000);
    let way_at = |at: usize| {
        let song = (at as f64 - delay).round() as usize;
        let [mut moved, mut whole] = [0.0; 2];
        for i in 0..window {
            for c in 0..2 {
                let apart = b[song + i][c] - a[song + i][c];
                moved += apart * (heard.frames[at + i][c] - a[song + i][c]);
                whole += apart * apart;
            }
        }
        moved / whole
    };
    let from = switch - RATE_HZ as usize / 20;
    let ways: Vec<f64> = (from..switch + RATE_HZ as usize / 4).step_by(hop).map(way_at).collect();
    ways.windows(2 * window / hop + 1).map(|ways| ways[ways.len() - 1] - ways[0]).fold(0.0, f64::max)
}

/// Gain of what was heard against a song in windows of 20 ms.
fn gains_db(song: &[Frame], heard: &Recording, delay: f64, from: usize, secs: f64) -> Vec<f64> {
    let window = RATE_HZ as usize / 50;
    let gain_at = |at: usize| {
        let song = &song[(at as f64 - delay).round() as usize..][..window];
        let [mut both, mut own] = [0.0; 2];
        for (a, b) in song.iter().zip(&heard.frames[at..at + window]) {
            both += a[0] * b[0] + a[1] * b[1];
            own += a[0] * a[0] + a[1] * a[1];
        }
        units::db_from_gain(both / own)
    };
    (from..from + (secs * f64::from(RATE_HZ)) as usize).step_by(window).map(gain_at).collect()
}

/// The gain after the change to “as delivered”: it arrives, and in no window by more than 3 dB.
fn rises_slowly(song: &[Frame], heard: &Recording, delay: f64, told: &Value) {
    let gains = gains_db(song, heard, delay, heard.at("delivered"), 1.8);
    let wanted = told["versions"][1]["delivered_db"].as_f64().unwrap();
    let end = gains[gains.len() - 5..].iter().sum::<f64>() / 5.0;
    let steepest = gains.windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max);
    println!("as delivered: {end:.2} dB in the end (wanted {wanted:.2}), at most {steepest:.2} dB in 20 ms");
    assert!((end - wanted).abs() < 0.5, "{gains:?}");
    assert!(steepest < 3.0, "{gains:?}");
}
