//! Intake on recordings that were damaged before they came in, each made for one finding, and on clean ones.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::f64::consts::TAU;

use chance::Random;
use media::{FileFormat, Kbps, WavSample};
use prints::intake::{Intake, intake};
use units::{Frame, Problem, Severity};

use song::{RATE_HZ, write};

mod song;

const SECS: f64 = 12.0;

/// A part that plays chords in a tuning: plucked notes with many partials, and a little of the noise of fingers, from silence
/// to silence. Each seed is a performance of its own: other moments, other strengths.
fn part(a_hz: f64, chords: &[[i32; 3]], seed: u64) -> Vec<Frame> {
    let rate = f64::from(RATE_HZ);
    let mut random = Random(seed);
    let mut frames = vec![units::SILENCE; (SECS * rate) as usize];
    for (beat, on) in (7200..frames.len() - 48_000).step_by(24_000).enumerate() {
        let chord = chords[beat / 4 % chords.len()];
        let (start, strength) = ((on as f64 + 2400.0 * random.even()) as usize, 0.7 + 0.3 * random.even());
        for n in 0..36_000 {
            let t = n as f64 / rate;
            let grows = (t / 0.004).min(1.0);
            let mut x = 0.004 * random.even() * libm::exp(-4.0 * t);
            for note in chord {
                let hz = a_hz * libm::exp2(f64::from(note - 9) / 12.0);
                for k in 1..=9 {
                    let k = f64::from(k);
                    x += 0.06 * strength / (k * k) * libm::exp(-(3.0 + k) * t) * libm::sin(TAU * k * hz * t);
                }
            }
            // The last part of a note's tail fades.
            let fades = ((36_000 - n) as f64 / 4800.0).min(1.0);
            frames[start + n] = frames[start + n].map(|sum| sum + grows * fades * x);
        }
    }
    frames
}

const CHORDS: [[i32; 3]; 4] = [[0, 4, 7], [5, 9, 12], [7, 11, 14], [-3, 0, 4]];

fn take(files: &[(&str, Vec<Frame>)]) -> Intake {
    let folder = tempfile::tempdir().unwrap();
    let wav = FileFormat::Wav(WavSample::Int24);
    files.iter().for_each(|(name, frames)| write(folder.path(), name, RATE_HZ, &wav, frames));
    intake(folder.path(), 2, &|_| ()).unwrap()
}

/// The only warning about a file.
fn only<'a>(taken: &'a Intake, file: &str) -> &'a Problem {
    let urgent = |finding: &&Problem| finding.severity > Severity::Note && finding.at == file;
    let found: Vec<&Problem> = taken.findings.iter().filter(urgent).collect();
    assert_eq!(found.len(), 1, "{:#?}", taken.findings);
    found[0]
}

#[test]
fn clean_parts_raise_no_alarm() {
    let files = [("piano.wav", 1), ("guitar.wav", 2), ("pad.wav", 3)];
    let chords = |seed: u64| CHORDS.map(|chord| chord.map(|note| note + 12 * (seed as i32 % 2)));
    let taken = take(&files.map(|(name, seed)| (name, part(440.0, &chords(seed), seed))));
    // That they are mono is worth a note.
    assert!(taken.findings.iter().all(|finding| finding.code == "dual-mono"), "{:#?}", taken.findings);
    let a_hz = taken.a_hz.unwrap();
    assert!((a_hz - 440.0).abs() < 0.5, "{a_hz}");
}

#[test]
fn hum_clicks_cuts_and_lowered_clipping_are_found_with_their_place() {
    let clean = part(440.0, &CHORDS, 1);
    let rate = f64::from(RATE_HZ);
    let hums = |(n, frame): (usize, &Frame)| frame.map(|x| x + 0.001 * libm::sin(TAU * 60.0 * n as f64 / rate));
    let hum: Vec<Frame> = clean.iter().enumerate().map(hums).collect();
    let mut click = part(440.0, &CHORDS, 2);
    click[100_000] = [0.2, 0.2];
    let mut cut = part(440.0, &CHORDS, 3);
    cut.truncate(5 * 48_000);
    let mut late = part(440.0, &CHORDS, 4);
    late.drain(..9000);
    let clipped = part(440.0, &CHORDS, 5).iter().map(|x| x.map(|x| 0.5 * x.clamp(-0.1, 0.1))).collect();
    let taken = take(&[
        ("piano.wav", hum),
        ("guitar.wav", click),
        ("organ.wav", cut),
        ("strings.wav", late),
        ("bass.wav", clipped),
        ("pad.wav", part(440.0, &CHORDS, 6)),
    ]);
    let hum = only(&taken, "piano.wav");
    assert!(hum.code == "hum" && hum.message.contains("60 Hz at -60 dBFS"), "{hum:?}");
    let click = only(&taken, "guitar.wav");
    assert!(click.code == "click" && click.message.contains("0:02.083") && click.at_ms == Some(2083), "{click:?}");
    let cut = only(&taken, "organ.wav");
    assert!(cut.code == "cut-end" && cut.message.contains("0:05"), "{cut:?}");
    assert_eq!(only(&taken, "strings.wav").code, "cut-start");
    let clipped = only(&taken, "bass.wav");
    assert!(clipped.code == "clipped-lowered" && clipped.message.contains("-26.0 dBFS"), "{clipped:?}");
    let short: Vec<&str> = taken.short_list().iter().map(|finding| finding.at.as_str()).collect();
    assert!(short.len() >= 5 && !short.contains(&"pad.wav"), "{short:?}");
}

#[test]
fn what_came_through_lame_is_told_and_what_did_not_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let mut random = Random(1);
    // Cymbals: noise that decays, softer by 6 dB an octave from 5 kHz on.
    let mut held = 0.0;
    let cymbal = |n: usize| {
        held += 0.5 * (random.even() - held);
        [0.3 * held * libm::exp(-((n % 48_000) as f64) / 12_000.0) * (n as f64 / 480.0).min(1.0); 2]
    };
    let mut clean: Vec<Frame> = (0..480_000).map(cymbal).collect();
    clean.extend(vec![units::SILENCE; 4800]);
    let wav = FileFormat::Wav(WavSample::Int16);
    write(folder.path(), "hats.wav", RATE_HZ, &wav, &clean);
    for (name, kbps) in [("ride", 128), ("crash", 192), ("cymbals", 320)] {
        let coded = tempfile::tempdir().unwrap();
        let kbps = Kbps::new(kbps).unwrap();
        write(coded.path(), "x.mp3", RATE_HZ, &FileFormat::Mp3(kbps), &clean);
        write(
            folder.path(),
            &format!("{name}.wav"),
            RATE_HZ,
            &wav,
            &media::read_all(&coded.path().join("x.mp3"), None).unwrap().1,
        );
    }
    let taken = intake(folder.path(), 2, &|_| ()).unwrap();
    let walls: Vec<&str> =
        taken.findings.iter().filter(|f| f.code == "lossy-source").map(|finding| finding.at.as_str()).collect();
    assert_eq!(walls, ["crash.wav", "cymbals.wav", "ride.wav"], "{:#?}", taken.findings);
}

#[test]
fn a_song_at_another_a_and_a_stem_apart_from_it_are_told() {
    let tuned = |a_hz: f64, seed: u64| part(a_hz, &CHORDS, seed);
    let taken =
        take(&[("piano.wav", tuned(443.0, 1)), ("guitar.wav", tuned(443.0, 2)), ("organ.wav", tuned(443.0, 3))]);
    let tuning = taken.findings.iter().find(|finding| finding.code == "tuning").unwrap();
    assert!(tuning.message.contains("A = 443.") || tuning.message.contains("A = 442.9"), "{}", tuning.message);
    let taken =
        take(&[("piano.wav", tuned(440.0, 1)), ("guitar.wav", tuned(440.0, 2)), ("organ.wav", tuned(446.0, 3))]);
    taken.files.iter().for_each(|f| println!("{} {:?}", f.file, f.facts.tuning));
    let apart = taken.findings.iter().find(|finding| finding.code == "tuned-apart").unwrap();
    // 1200 log2(446 / 440) is 23.4 cents; it is told within one.
    let told = ["23 cents higher", "24 cents higher"].iter().any(|told| apart.message.contains(told));
    assert!(apart.at == "organ.wav" && told, "{apart:?}");
}

#[test]
fn a_wrong_label_of_rate_is_told_with_the_right_one() {
    let folder = tempfile::tempdir().unwrap();
    let wav = FileFormat::Wav(WavSample::Int24);
    write(folder.path(), "piano.wav", 48_000, &wav, &part(440.0, &CHORDS, 1));
    write(folder.path(), "guitar.wav", 48_000, &wav, &part(440.0, &CHORDS, 2));
    // As many frames as the others, under another label.
    write(folder.path(), "organ.wav", 44_100, &wav, &part(440.0, &CHORDS, 3));
    // Recorded at 44.1 kHz and labelled 48 kHz: the same part at a lower rate, by interpolation between frames.
    let source = part(440.0, &CHORDS, 4);
    let frames = (source.len() as f64 * 0.91875).round() as usize;
    let at = |n: usize| {
        let place = n as f64 / 0.91875;
        let (index, share) = (place as usize, place.fract());
        let next = source.get(index + 1).copied().unwrap_or_default();
        [0, 1].map(|c| source[index][c] + share * (next[c] - source[index][c]))
    };
    write(folder.path(), "strings.wav", 48_000, &wav, &(0..frames).map(at).collect::<Vec<_>>());
    let taken = intake(folder.path(), 2, &|_| ()).unwrap();
    // 1200 log2(48000 / 44100) is 146.7 cents.
    let low = only(&taken, "organ.wav");
    assert!(low.code == "rate-label" && low.message.contains("48000 Hz: it plays 1.5 semitones too low"), "{low:?}");
    let high = only(&taken, "strings.wav");
    assert!(
        high.code == "rate-label" && high.message.contains("44100 Hz: it plays 1.5 semitones too high"),
        "{high:?}"
    );
}

#[test]
fn a_take_that_came_twice_is_told_with_its_level() {
    let take_one = part(440.0, &CHORDS, 1);
    let softer: Vec<Frame> = take_one.iter().map(|x| x.map(|x| 0.5 * x)).collect();
    let taken =
        take(&[("guitar left.wav", take_one), ("guitar right.wav", softer), ("pad.wav", part(440.0, &CHORDS, 9))]);
    let found = taken.findings.iter().find(|finding| finding.code == "duplicate-take").unwrap();
    assert!(found.at == "guitar right.wav" && found.message.contains("-6.0 dB"), "{found:?}");
    let copies = taken.findings.iter().filter(|finding| finding.code == "duplicate-take");
    assert_eq!(copies.count(), 1, "another performance of the part is no copy: {:#?}", taken.findings);
}

#[test]
fn drums_in_the_overheads_are_told_with_polarity_and_delay() {
    let hit = |n: usize, every: usize, from: usize, seed: u64| {
        let since = (n + every - from % every) % every;
        let count = (n + every - from % every) / every;
        let white = Random(since as u64 + 7919 * count as u64 + seed).even();
        let grows = (since as f64 / 96.0).min(1.0);
        if n < from { 0.0 } else { 0.3 * grows * white * libm::exp(-(since as f64) / 1500.0) }
    };
    let frames = 12 * 48_000 - 20_000;
    let snare = |n: usize| hit(n, 24_000, 12_000, 1);
    let kick = |n: usize| hit(n, 24_000, 0, 2);
    let one = |of: &dyn Fn(usize) -> f64| -> Vec<Frame> {
        (0..frames + 20_000).map(|n| [if n < frames { of(n) } else { 0.0 }; 2]).collect()
    };
    // The snare reaches the overheads 2.3 ms (110 samples) later and upside down.
    let above = |n: usize| 0.5 * n.checked_sub(150).map_or(0.0, kick) - 0.4 * n.checked_sub(110).map_or(0.0, snare);
    let taken = take(&[("kick.wav", one(&kick)), ("snare.wav", one(&snare)), ("overheads.wav", one(&above))]);
    let of = |code: &str, at: &str| taken.findings.iter().find(|f| f.code == code && f.at == at);
    assert!(of("drum-polarity", "snare.wav").is_some(), "{:#?}", taken.findings);
    assert!(of("drum-polarity", "kick.wav").is_none());
    let delay = of("drum-delay", "snare.wav").unwrap();
    assert!(delay.remedy.contains("delay_ms = 2.29") && delay.remedy.contains("“snare”"), "{delay:?}");
    assert!(of("drum-delay", "kick.wav").unwrap().remedy.contains("delay_ms = 3.12"));
}
