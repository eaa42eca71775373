//! Pages as they are written: what stands in them, and what a browser that decodes them would play.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod scene;

use std::fs;
use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use listening::notes::{self, Note, Notes, State};
use listening::{Audio, Order};
use scene::{RATE_HZ, ROUGH_DELAY, Scene};
use serde_json::Value;
use units::Frame;

fn order<'a>(scene: &'a Path, audio: Audio, single: bool) -> Order<'a> {
    let progress = &|_: &str, _: f64| {};
    Order { sheet: scene, revision: None, prints: None, only: &[], audio, single, to: None, progress }
}

/// What the page is told.
fn song(html: &str) -> Value {
    let text = html.split_once("id=\"song\">").unwrap().1.split_once("</script>").unwrap().0;
    serde_json::from_str(text).unwrap()
}

/// The bytes of a piece, from a folder's script or from the page itself.
fn piece(page: &Path, html: &str, name: &str) -> Vec<u8> {
    let script = page.with_file_name("audio").join(format!("{name}.js"));
    let text = match fs::read_to_string(script) {
        Ok(text) => text.split('"').nth(3).unwrap().to_owned(),
        Err(_) => {
            let from = format!("id=\"piece-{name}\">");
            html.split_once(&from).unwrap().1.split_once('<').unwrap().0.to_owned()
        }
    };
    STANDARD.decode(text).unwrap()
}

/// A version as the page plays it: each piece decoded, its margins cut away, and faded into the next.
fn played(page: &Path, html: &str, song: &Value, version: usize, ending: &str) -> Vec<Frame> {
    let number = |key: &str| song["audio"][key].as_u64().unwrap() as usize;
    let [frames, long, before, fade] = ["frames", "piece_frames", "before_frames", "fade_frames"].map(number);
    let half = fade / 2;
    let mut out = vec![[0.0; 2]; frames];
    let work = tempfile::tempdir().unwrap();
    for index in 0..frames.div_ceil(long) {
        let file = work.path().join(format!("{index}.{ending}"));
        fs::write(&file, piece(page, html, &format!("{version}-{index}"))).unwrap();
        let decoded = media::read_all(&file, None).unwrap().1;
        let (from, to) = (index * long, frames.min((index + 1) * long));
        for at in from.saturating_sub(half)..frames.min(to + half) {
            let rising = if from == 0 { 1.0 } else { ((at + half - from) as f64 + 0.5) / fade as f64 };
            let falling = if to == frames { 1.0 } else { ((to + half - at) as f64 - 0.5) / fade as f64 };
            let gain = rising.min(1.0).min(falling.min(1.0));
            let x = decoded[at + before - from];
            out[at] = [out[at][0] + gain * x[0], out[at][1] + gain * x[1]];
        }
    }
    out
}

#[test]
fn versions_line_up_within_a_sample_and_a_tenth_of_a_loudness_unit() {
    let scene = Scene::new();
    for (audio, ending) in [(Audio::Mp3, "mp3"), (Audio::Opus, "opus"), (Audio::Flac, "flac")] {
        let written = listening::write(&order(&scene.sheet(), audio, false)).unwrap();
        assert!(written.findings.is_empty(), "{:?}", written.findings);
        let html = fs::read_to_string(&written.page).unwrap();
        let song = song(&html);
        assert_eq!(written.versions.len(), 3, "two prints and the rough mix");
        assert_eq!(written.versions[2].2, ROUGH_DELAY as i64, "the rough mix is known to start later");
        let heard: Vec<Vec<Frame>> =
            (0..3).map(|version| played(&written.page, &html, &song, version, ending)).collect();
        let clean = media::read_all(&scene.prints().join("r001/for mastering.wav"), None).unwrap().1;
        for (index, frames) in heard.iter().enumerate() {
            let fit = measure::align(&clean, frames, 4800).unwrap();
            println!("{ending} version {index}: {:+.4} samples", fit.delay_samples);
            assert!(fit.delay_samples.abs() < 1.0, "{ending} {index}: {fit:?}");
            let gain = units::gain_from_db(song["versions"][index]["matched_db"].as_f64().unwrap());
            let mut meter = measure::LoudnessMeter::new(f64::from(RATE_HZ));
            meter.push(&frames.iter().map(|x| x.map(|x| gain * x)).collect::<Vec<_>>());
            let lufs = meter.integrated_lufs().unwrap();
            let off = lufs - song["matched_lufs"].as_f64().unwrap();
            println!("{ending} version {index}: {off:+.3} LU from matched");
            assert!(off.abs() <= 0.1, "{ending} {index}: {lufs} LUFS");
        }
        if audio == Audio::Flac {
            let worst = heard[0]
                .iter()
                .zip(&clean)
                .map(|(a, b)| (a[0] - b[0]).abs().max((a[1] - b[1]).abs()))
                .fold(0.0, f64::max);
            assert!(worst < 1e-9, "lossless pieces join to the print: {worst}");
        }
    }
}

#[test]
fn one_file_holds_all_and_lets_nothing_in() {
    let scene = Scene::new();
    let written = listening::write(&order(&scene.sheet(), Audio::Mp3, true)).unwrap();
    let html = fs::read_to_string(&written.page).unwrap();
    assert!(written.page.ends_with("listening/Lantern Weather r001.html") && written.bytes == html.len() as u64);
    let script = html.split_once("<script type=\"module\">").unwrap().1.split_once("</script>").unwrap().0;
    use sha2::{Digest, Sha256};
    let hash = STANDARD.encode(Sha256::digest(script.as_bytes()));
    let policy = html.split_once("Content-Security-Policy\" content=\"").unwrap().1.split_once('"').unwrap().0;
    assert!(policy.contains(&format!("script-src 'sha256-{hash}';")), "{policy}");
    assert!(
        policy.starts_with("default-src 'none'") && !policy.contains("http") && !policy.contains("file:"),
        "{policy}"
    );
    assert_eq!(
        html.matches("http://").count() + html.matches("https://").count(),
        html.matches("://www.w3.org/").count()
    );
    let song = song(&html);
    assert!(!played(&written.page, &html, &song, 2, "mp3").is_empty());
    assert_eq!(song["versions"][2]["sha256"], Value::Null, "a rough mix is not ours to have approved");
}

#[test]
fn what_a_listener_wrote_cannot_become_part_of_the_page() {
    let scene = Scene::new();
    let hostile = "</script><script>alert(1)</script><!--";
    let note = Note {
        id: "a1".to_owned(),
        who: hostile.to_owned(),
        revision: "r001".to_owned(),
        version: hostile.to_owned(),
        at_secs: 3.0,
        to_secs: None,
        text: hostile.to_owned(),
        written: "2026-11-27T10:00:00Z".to_owned(),
        state: State::Done,
        answer: Some(hostile.to_owned()),
        answered: None,
    };
    notes::save(&scene.sheet(), &Notes { notes: vec![note], ..Notes::of("Lantern Weather") }).unwrap();
    let written = listening::write(&order(&scene.sheet(), Audio::Mp3, false)).unwrap();
    let html = fs::read_to_string(&written.page).unwrap();
    assert!(!html.contains("alert(1)</") && !html.contains("<!--"));
    assert_eq!(html.matches("<script").count(), html.matches("</script>").count());
    assert_eq!(song(&html)["notes"][0]["text"], hostile, "the page is told the text as it is");
}

#[test]
fn notes_follow_the_start_of_the_song_into_the_next_revision() {
    let scene = Scene::new();
    let moved = 60_000;
    let song: Vec<Frame> =
        vec![[0.0; 2]; moved].into_iter().chain(scene::music((RATE_HZ * scene::SECS) as usize)).collect();
    scene.print("r002", &song);
    let note = serde_json::json!({"fairprint_notes": 1, "notes": [{"id": "a1", "who": "Mara", "revision": "r001",
        "version": "for approval", "at_secs": 8.0, "to_secs": 9.5, "text": "voice up", "written": "2026-11-27T10:00:00Z"}]});
    let file = scene.path("mara.json");
    fs::write(&file, note.to_string()).unwrap();
    let mut collected = notes::load(&scene.sheet(), "Lantern Weather").unwrap();
    notes::add(&mut collected, notes::read(&file).unwrap());
    assert!(notes::learn_starts(&mut collected, &scene.prints(), "r002").unwrap());
    let shift = moved as f64 / f64::from(RATE_HZ);
    let at = notes::place(&collected, 8.0, "r001", "r002").unwrap();
    assert!((at - 8.0 - shift).abs() < 1.0 / f64::from(RATE_HZ), "{at}");
    notes::save(&scene.sheet(), &collected).unwrap();
    let written = listening::write(&order(&scene.sheet(), Audio::Mp3, false)).unwrap();
    let told = self::song(&fs::read_to_string(&written.page).unwrap());
    assert_eq!(written.revision, "r002");
    assert!((told["notes"][0]["at_secs"].as_f64().unwrap() - 8.0 - shift).abs() < 1e-3, "{told:?}");
    assert!((told["notes"][0]["to_secs"].as_f64().unwrap() - 9.5 - shift).abs() < 1e-3);
}

#[test]
fn a_print_that_was_changed_or_a_missing_revision_is_refused() {
    let scene = Scene::new();
    let sheet = scene.sheet();
    let mut order = order(&sheet, Audio::Mp3, false);
    order.revision = Some("r009");
    assert_eq!(listening::write(&order).unwrap_err().problem().code, "unknown-revision");
    order.revision = Some("../r001");
    assert_eq!(listening::write(&order).unwrap_err().problem().code, "unknown-revision");
    order.revision = None;
    let only = ["nothing".to_owned()];
    order.only = &only;
    assert_eq!(listening::write(&order).unwrap_err().problem().code, "unknown-version");
    order.only = &[];
    let print = scene.prints().join("r001/for approval.wav");
    let mut bytes = fs::read(&print).unwrap();
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    fs::write(&print, bytes).unwrap();
    assert_eq!(listening::write(&order).unwrap_err().problem().code, "print-changed");
    assert!(!scene.path("listening").exists(), "nothing is written");
}

#[test]
fn writing_again_replaces_a_page_and_nothing_else() {
    let scene = Scene::new();
    let sheet = scene.sheet();
    let mut order = order(&sheet, Audio::Mp3, false);
    let only = ["for approval".to_owned()];
    order.only = &only;
    listening::write(&order).unwrap();
    // What a killed run leaves: its folder, with a lock that nobody holds.
    let abandoned = scene.path("listening").join(".r001.7.part");
    fs::create_dir(&abandoned).unwrap();
    fs::write(abandoned.join(".held"), "").unwrap();
    listening::write(&order).unwrap();
    let names: Vec<_> = fs::read_dir(scene.path("listening")).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names, ["r001"], "no part and no old page is left");
    let other = scene.path("not ours");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("keep.txt"), "x").unwrap();
    order.to = Some(&other);
    assert_eq!(listening::write(&order).unwrap_err().problem().code, "not-a-page");
    assert!(other.join("keep.txt").exists());
}
