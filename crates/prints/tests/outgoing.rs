//! Advice on prints as they leave, on small songs that are made for one figure each: twins, translation, a cappellas.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::f64::consts::TAU;
use std::fs;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use chance::Random;
use prints::Stopped;
use prints::advise::{Advice, Question, TranslationRecord, advise};
use units::{Frame, Problem, Severity, db_from_gain, db_from_power};

use song::{HEAD, RATE_HZ, write_stem};

mod song;

const SECS: f64 = 4.0;

const CLEAN: &str = r#"
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
kind = "mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
"#;

/// A stem of the sheet, straight to a bus.
fn stem(name: &str, to: &str, more: &str) -> String {
    format!("[[stem]]\nname = \"{name}\"\nfile = \"{name}.wav\"\nto = \"{to}\"\n{more}\n")
}

fn signal(frame: impl Fn(usize, f64) -> Frame) -> Vec<Frame> {
    song::signal(SECS, |n| frame(n, n as f64 / f64::from(RATE_HZ)))
}

fn sine(hz: f64, t: f64) -> f64 {
    libm::sin(TAU * hz * t)
}

/// Half a second over and over: sound from one time to another within it, with edges of 4 ms.
fn gate(t: f64, from: f64, to: f64) -> f64 {
    let within = t % 0.5;
    let edge = |secs: f64| (secs / 0.004).clamp(0.0, 1.0);
    edge(within - from).min(edge(to - within))
}

fn asked(folder: &Path, hear: Option<&Path>) -> Result<Advice, Stopped> {
    let (sheet, page) = (folder.join("sheet.toml"), folder.join("advice.html"));
    let (stop, page) = (AtomicBool::new(false), Some(page.as_path()));
    advise(&Question { sheet: &sheet, page, residual: None, hear, threads: 2, stop: &stop, progress: &|_, _| () })
}

/// Advice on a sheet with these stems, heard from a folder of its own.
fn advice(stems: &[(&str, Vec<Frame>)], nodes: &str) -> Advice {
    let folder = tempfile::tempdir().unwrap();
    stems.iter().for_each(|(name, frames)| write_stem(folder.path(), &format!("{name}.wav"), frames));
    fs::write(folder.path().join("sheet.toml"), format!("{HEAD}{nodes}")).unwrap();
    asked(folder.path(), None).unwrap_or_else(|stopped| match stopped {
        Stopped::Sheet(loaded) => panic!("{:#?}", loaded.problems),
        Stopped::Fault(fault) => panic!("{fault}"),
    })
}

fn finding<'a>(advice: &'a Advice, code: &str) -> Option<&'a Problem> {
    advice.findings.iter().find(|finding| finding.code == code)
}

/// How one stem travels that is all of the mix.
fn translated(frames: Vec<Frame>) -> (Advice, TranslationRecord) {
    let advice = advice(&[("keys", frames)], &format!("{}{CLEAN}", stem("keys", "mix", "")));
    let record = advice.translations[0].clone();
    (advice, record)
}

#[test]
fn what_a_limiter_takes_of_the_kick_is_told_to_the_decibel() {
    // Kick and pad take turns, with time for the limiter to let go in between. The kick's peak, at the gain that the
    // loudness asks for, stands so far over the ceiling: that much is taken of it, and nothing of the pad.
    let kick = signal(|_, t| [0.8 * gate(t, 0.0, 0.1) * sine(400.0, t); 2]);
    let pad = signal(|_, t| [0.25 * gate(t, 0.25, 0.4) * sine(1000.0, t); 2]);
    let nodes = format!(
        r#"{}{}
[[section]]
name = "verse"
from = 0.0
[[section]]
name = "chorus"
from = 2.0
{CLEAN}
[[print]]
name = "for approval"
from = "mix"
chain = [{{ limiter = {{ ceiling_dbtp = -1.0, release_ms = 20, auto_release = false, clip_percent = 0 }} }}]
loudness = {{ lufs = -7.0 }}
files = [{{ format = "wav" }}]
"#,
        stem("kick", "mix", ""),
        stem("pad", "mix", "")
    );
    let advice = advice(&[("kick", kick), ("pad", pad)], &nodes);
    let twins = &advice.twins[0];
    assert_eq!((twins.mastering.as_str(), twins.approval.as_str()), ("for mastering", "for approval"));
    assert_eq!(twins.shared, 3, "both stems and the mix");
    assert!(twins.parted.iter().all(Vec::is_empty), "{twins:#?}");
    assert_eq!(twins.own, [Vec::<String>::new(), vec!["gain".to_owned(), "limiter".to_owned()]]);
    let over_db = advice.costs[0].at(-7.0, |point| point.gain_db).unwrap() + db_from_gain(0.8) + 1.0;
    assert!(over_db > 3.0, "the test needs a limiter at work: {over_db}");
    for section in &twins.sections {
        let stems = section.stems_db();
        let of = |stem: &str| stems.iter().find(|(name, _)| *name == stem).unwrap().1;
        let taken = of("pad") - of("kick");
        assert!((taken - over_db).abs() < 0.35, "{}: {taken}, expected {over_db}", section.name);
        let colour = &section.colour;
        assert!(colour.loudness_lu.unwrap().abs() < 1e-9, "nothing stands ahead of the gain: {colour:?}");
        assert!(section.limiter.as_ref().unwrap().crest_db.unwrap() < -0.5);
    }
    assert_eq!(twins.sections.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(), ["verse", "chorus"]);
    let found = finding(&advice, "end-moves-balance").unwrap();
    assert!(found.message.contains("“kick”") || found.message.contains("“pad”"), "{found:?}");
    assert!(finding(&advice, "twins-part-early").is_none());
}

#[test]
fn prints_of_two_mixes_are_no_twins() {
    let nodes = format!(
        "{}{CLEAN}\n[[bus]]\nname = \"glued\"\n[[print]]\nname = \"for approval\"\nfrom = \"glued\"\nfiles = [{{ format = \"wav\" }}]\n",
        stem("keys", "mix", "sends = [{ to = \"glued\" }]")
    );
    let advice = advice(&[("keys", signal(|_, t| [0.1 * sine(500.0, t); 2]))], &nodes);
    let found = finding(&advice, "twins-part-early").unwrap();
    assert_eq!((found.severity, found.at.as_str()), (Severity::Warn, "print for approval"));
    assert!(found.message.contains("“mix”, “glued”"), "{found:?}");
}

#[test]
fn mono_loses_what_the_correlation_says() {
    // Channels of equal level and correlation r: power of (L+R)/2 is (1+r)/2 of theirs (stereo definitions; closed form).
    for r in [0.5, -0.8] {
        let noise = Random(7).signal((SECS * f64::from(RATE_HZ)) as usize, 1.0);
        let frames = noise.iter().map(|[a, b]| [0.1 * a, 0.1 * (r * a + f64::sqrt(1.0 - r * r) * b)]);
        let (advice, record) = translated(frames.collect());
        let lost_db = -db_from_power((1.0 + r) / 2.0);
        assert!((record.mono_lost_db.unwrap() - lost_db).abs() < 0.1, "{record:?}, expected {lost_db}");
        let wide = record.mono.iter().filter(|band| band.hz >= 1000.0);
        wide.for_each(|band| assert!((band.lost_db.unwrap() - lost_db).abs() < 1.0, "{band:?}, expected {lost_db}"));
        // Sides over middle are (1-r)/(1+r).
        let side_db = db_from_power((1.0 - r) / (1.0 + r));
        assert!((record.side_low_mid_high_db[2].unwrap() - side_db).abs() < 0.3, "{record:?}, expected {side_db}");
        assert_eq!(finding(&advice, "mono-band-lost").is_some(), r < -0.5);
    }
}

#[test]
fn a_bass_out_of_phase_is_told_for_the_disc_and_for_mono() {
    // Of unlike polarity it is all vertical; (L-R)/sqrt 2 of a sine of 0.2 has the peak 0.2 sqrt 2, -10.97 dBFS.
    let bass = |side: f64| signal(|_, t| [0.2 * sine(50.0, t), side * 0.2 * sine(50.0, t)]);
    let (told, record) = translated(bass(-1.0));
    assert!((record.disc.vertical_db.unwrap() + 13.98).abs() < 0.1, "mean square 0.04: {:?}", record.disc);
    assert!((record.disc.vertical_peak_dbfs.unwrap() + 10.97).abs() < 0.3, "{:?}", record.disc);
    assert_eq!(finding(&told, "vertical-low-end").unwrap().severity, Severity::Warn);
    assert!(finding(&told, "mono-band-lost").unwrap().message.contains("50 Hz"), "{:#?}", told.findings);
    let (fine, record) = translated(bass(1.0));
    assert!(record.disc.vertical_db.is_none_or(|db| db < -120.0));
    assert!(finding(&fine, "vertical-low-end").is_none() && finding(&fine, "mono-band-lost").is_none());
}

#[test]
fn a_deep_bass_is_missing_on_a_small_speaker_and_when_played_softly() {
    let (told, record) = translated(signal(|_, t| [0.2 * sine(100.0, t) + 0.1 * sine(1000.0, t); 2]));
    // ISO 226:2003, worked value at 100 Hz from 80 to 60 phon: -6.17 dB; 1 kHz stays by definition.
    let [low, middle, _] = record.soft_low_mid_high_db.map(Option::unwrap);
    assert!((low + 6.17).abs() < 0.3 && middle.abs() < 0.1, "{record:?}");
    // K-weighted: 100 Hz at 0.02 - 1.13 dB, 1 kHz at 0.005 + 0.70 dB (BS.1770-5, response of the printed coefficients).
    let (bass, tone) = (0.02 * 0.7704, 0.005 * 1.1743);
    let left = db_from_power(tone / (bass + tone));
    assert!((record.small_speaker_lu.unwrap() - left).abs() < 0.1, "{record:?}, expected {left}");
    assert_eq!(finding(&told, "small-speaker-thin").unwrap().at, "print for mastering");
    // A door of first order takes 10 lg(1 + (f/500)^2): 0.17 dB at 100 Hz and 6.99 at 1 kHz.
    let [near, far] = record.low_over_middle_db.map(Option::unwrap);
    assert!((near - db_from_power(bass / tone)).abs() < 0.1, "{record:?}");
    assert!((far - near - 6.99 + 0.17).abs() < 0.1, "{record:?}");
    let (deep, _) = translated(signal(|_, t| [0.2 * sine(45.0, t); 2]));
    let stem = deep.findings.iter().find(|f| f.code == "small-speaker-thin" && f.at == "stem keys");
    assert!(stem.is_some(), "{:#?}", deep.thin_stems);
}

#[test]
fn an_ess_is_told_with_its_time() {
    let voice = |esses: f64| {
        signal(|_, t| {
            let ess = if (2.0..2.1).contains(&t) { esses } else { 0.0 };
            [0.05 * sine(400.0, t) + ess * sine(7000.0, t); 2]
        })
    };
    let (told, record) = translated(voice(0.2));
    // 50 ms of a sine of 0.2 over the mean of all, 0.00125 + 0.02 / 40; the band's edge takes 0.4 dB at 7 kHz.
    let expected = db_from_power(0.02 / 0.00175);
    assert!((record.sibilance_db.unwrap() - expected).abs() < 0.8, "{record:?}, expected {expected}");
    assert!((2.0..2.1).contains(&record.sibilance_secs.unwrap()));
    assert!(finding(&told, "sibilant").unwrap().message.contains("0:02.0"));
    assert!(finding(&translated(voice(0.03)).0, "sibilant").is_none());
}

#[test]
fn what_travels_can_be_heard_at_one_loudness() {
    let folder = tempfile::tempdir().unwrap();
    let noise = Random(3).signal((SECS * f64::from(RATE_HZ)) as usize, 0.05);
    let wide = signal(|n, t| noise[n].map(|noise| 0.2 * sine(90.0, t) + noise));
    write_stem(folder.path(), "keys.wav", &wide);
    fs::write(folder.path().join("sheet.toml"), format!("{HEAD}{}{CLEAN}", stem("keys", "mix", ""))).unwrap();
    let hear = folder.path().join("aloud");
    let Ok(advice) = asked(folder.path(), Some(&hear)) else { panic!("advice") };
    let names: Vec<String> =
        advice.heard.iter().map(|file| file.path.file_stem().unwrap().to_string_lossy().into_owned()).collect();
    assert_eq!(names, ["as printed", "mono", "small speaker", "far", "side only", "soft"]);
    for file in &advice.heard {
        let (_, frames) = media::read_all(&file.path, None).unwrap();
        let mut meter = measure::LoudnessMeter::new(f64::from(RATE_HZ));
        meter.push(&frames);
        let lufs = meter.integrated_lufs().unwrap();
        assert!((lufs + 23.0).abs() < 0.01 && file.lufs == -23.0, "{}: {lufs}", file.path.display());
        assert!(frames[..480].iter().flatten().all(|sample| sample.abs() < 1e-3), "a quiet start");
        if file.what == "both channels in one" {
            assert!(frames.iter().all(|[left, right]| (left - right).abs() < 1e-6));
        }
    }
    let Err(Stopped::Fault(fault)) = asked(folder.path(), Some(&hear)) else { panic!("nothing is written over") };
    assert!(fault.to_string().contains("exists already"), "{fault}");
}

/// A voice, a snare and a shaker, with a room for voice and snare and a crush for the snare alone.
fn band(alternate: &str, chain: &str) -> Advice {
    let stems = ["lead voice", "snare", "shaker"]
        .map(|name| (name, signal(|_, t| [0.1 * sine(700.0, t) * gate(t, 0.0, 0.3); 2])));
    let nodes = format!(
        r#"{}{}{}
[[bus]]
name = "drums"
to = "mix"
[[bus]]
name = "room"
to = "mix"
level_db = -10
chain = [{{ room = {{}} }}]
[[bus]]
name = "crush"
to = "mix"
level_db = -20
chain = [{{ compressor = {{}} }}]
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
chain = [{chain}]
files = [{{ format = "wav", bits = 24 }}]
[[alternate]]
name = "A Cappella"
of = "for mastering"
{alternate}
"#,
        stem("lead voice", "mix", "sends = [{ to = \"room\" }]"),
        stem("snare", "drums", "sends = [{ to = \"room\" }, { to = \"crush\" }]"),
        stem("shaker", "mix", "")
    );
    advice(&stems, &nodes)
}

#[test]
fn an_a_cappella_tells_what_else_still_sounds() {
    let forgotten = band("mute = [\"drums\"]", "");
    let record = &forgotten.a_cappellas[0];
    assert_eq!(record.kept, ["lead voice", "shaker"]);
    let found = finding(&forgotten, "a-cappella-leftover").unwrap();
    assert_eq!((found.severity, found.at.as_str()), (Severity::Warn, "alternate A Cappella"));
    assert!(found.message.contains("“shaker”") && !found.message.contains("snare"), "{found:?}");
    let right = band("only = [\"lead voice\"]", "");
    let record = &right.a_cappellas[0];
    let returns: Vec<_> = record.returns.iter().map(|fed| (fed.name.as_str(), fed.by.join(" "))).collect();
    assert_eq!(returns, [("room", "lead voice".to_owned())], "the crush falls silent with the snare");
    assert!(finding(&right, "a-cappella-leftover").is_none(), "{:#?}", right.findings);
}

#[test]
fn noise_in_an_a_cappella_is_told_unless_it_is_left_out() {
    let hiss = "{ tape = { hiss_db = -60 } }";
    for alternate in ["mute = [\"drums\", \"shaker\"]", "only = [\"lead voice\"]\ndynamics = \"free\""] {
        let told = band(alternate, hiss);
        let left_db = told.a_cappellas[0].left_db.unwrap();
        // Of two channels at -60 dBFS rms under a voice of 0.005 in 0.3 of 0.5 s, -25.2 dB, about as it lies on the tape.
        assert!((-42.0..-30.0).contains(&left_db), "{alternate}: {left_db}");
        assert!(finding(&told, "a-cappella-leftover").is_some(), "{alternate}: {:#?}", told.findings);
    }
    let clean = band("only = [\"lead voice\"]", hiss);
    assert!(clean.a_cappellas[0].left_db.is_none() && finding(&clean, "a-cappella-leftover").is_none());
}
