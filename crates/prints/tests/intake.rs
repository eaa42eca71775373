//! Intake on constructed faults, and on clean files, where it must stay quiet.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use chance::Random;
use media::{FileFormat, Metadata, WavSample};
use prints::intake::{Intake, intake, starter_text};
use units::{Frame, Severity};

use song::{RATE_HZ, write, write_stem};

mod song;

const INT24: FileFormat = FileFormat::Wav(WavSample::Int24);

/// Noise that fades in and out at its ends, as a recording does.
fn noise(frames: usize, seed: u64) -> Vec<Frame> {
    let mut frames = steady(frames, seed);
    let last = frames.len() - 1;
    for n in 0..2400 {
        let gain = (f64::from(n) / 1800.0 - 1.0 / 3.0).max(0.0);
        for at in [n as usize, last - n as usize] {
            frames[at] = frames[at].map(|x| gain * gain * x);
        }
    }
    frames
}

fn steady(frames: usize, seed: u64) -> Vec<Frame> {
    Random(seed).signal(frames, 0.2)
}

fn mono(frames: Vec<Frame>) -> Vec<Frame> {
    frames.into_iter().map(|[left, _]| [left, left]).collect()
}

/// Intake of some files.
fn take(files: &[(&str, Vec<Frame>)]) -> Intake {
    let folder = tempfile::tempdir().unwrap();
    files.iter().for_each(|(name, frames)| write(folder.path(), name, RATE_HZ, &INT24, frames));
    intake(folder.path(), 2, &|_| ()).unwrap()
}

/// Codes of the findings about a file.
fn codes<'a>(taken: &'a Intake, file: &str) -> Vec<&'a str> {
    taken.findings.iter().filter(|finding| finding.at == file).map(|finding| finding.code).collect()
}

#[test]
fn a_late_twin_turned_over_is_found_with_its_delay() {
    // 2.3 ms at 48 kHz is 110.4 frames; the nearest whole one here.
    let source = mono(noise(96_000, 1));
    let mut late = vec![[0.0, 0.0]; 110];
    late.extend(source.iter().map(|[l, r]| [-0.7 * l, -0.7 * r]));
    late.truncate(96_000);
    let taken = take(&[("snare top.wav", source), ("snare under.wav", late), ("bass.wav", mono(noise(96_000, 9)))]);
    let found = codes(&taken, "snare under.wav");
    assert!(found.contains(&"pair-polarity") && found.contains(&"pair-delay"), "{found:?}");
    let delay = taken.findings.iter().find(|finding| finding.code == "pair-delay").unwrap();
    assert!(delay.message.contains("2.29 ms"), "{}", delay.message);
    assert!(delay.remedy.contains("delay_ms = 2.29"), "{}", delay.remedy);
}

#[test]
fn faults_of_samples_are_found_with_their_time() {
    let mut clipped = noise(96_000, 2);
    clipped[48_000..48_003].fill([1.0, 1.0]);
    let offset: Vec<Frame> = noise(96_000, 3).iter().map(|[l, r]| [l + 0.01, r + 0.01]).collect();
    let left: Vec<Frame> = noise(96_000, 4).iter().map(|[l, _]| [*l, 0.0]).collect();
    let against: Vec<Frame> = noise(96_000, 5).iter().map(|[l, _]| [*l, -l]).collect();
    let taken = take(&[
        ("kick.wav", clipped),
        ("bass.wav", offset),
        ("organ.wav", left),
        ("pad.wav", against),
        ("toms.wav", vec![[0.0, 0.0]; 96_000]),
        ("keys.wav", mono(noise(96_000, 6))),
        ("keys two.wav", mono(noise(96_000, 6))),
    ]);
    assert_eq!(codes(&taken, "kick.wav"), ["clipped"]);
    let clip = taken.findings.iter().find(|finding| finding.code == "clipped").unwrap();
    assert!(clip.message.contains("0:01.000"), "{}", clip.message);
    assert_eq!(codes(&taken, "bass.wav"), ["dc"]);
    assert_eq!(codes(&taken, "organ.wav"), ["one-sided"]);
    assert_eq!(codes(&taken, "pad.wav"), ["channel-polarity"]);
    assert_eq!(codes(&taken, "toms.wav"), ["silent"]);
    assert!(codes(&taken, "keys.wav").contains(&"duplicate"), "the second in order of names");
    assert!(codes(&taken, "keys two.wav").contains(&"dual-mono"));
}

#[test]
fn samples_that_are_no_numbers_fail() {
    let folder = tempfile::tempdir().unwrap();
    write_stem(folder.path(), "bass.wav", &noise(48_000, 1));
    let path = folder.path().join("bass.wav");
    let mut bytes = std::fs::read(&path).unwrap();
    let data = bytes.windows(4).position(|window| window == b"data").unwrap() + 8;
    let at = data + 24_000 * 8;
    bytes[at..at + 4].copy_from_slice(&f32::NAN.to_le_bytes());
    std::fs::write(&path, bytes).unwrap();
    let taken = intake(folder.path(), 1, &|_| ()).unwrap();
    let finding = taken.findings.iter().find(|finding| finding.code == "not-a-number").unwrap();
    assert_eq!(finding.severity, Severity::Fail);
    assert!(finding.message.contains("0:00.500"), "{}", finding.message);
}

#[test]
fn clean_files_of_one_export_raise_nothing() {
    let files = [("kick.wav", 1), ("bass.wav", 2), ("lead voice.wav", 3)];
    assert_eq!(take(&files.map(|(name, seed)| (name, noise(96_000, seed)))).findings, []);
}

#[test]
fn other_rates_and_lengths_are_notes_and_a_damaged_file_fails_alone() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "kick.wav", 48_000, &INT24, &noise(96_000, 1));
    write(folder.path(), "bass.wav", 48_000, &INT24, &noise(90_000, 2));
    write(folder.path(), "pad.wav", 44_100, &INT24, &noise(88_200, 3));
    std::fs::write(folder.path().join("keys.wav"), b"RIFF....WAVEfmt ").unwrap();
    let taken = intake(folder.path(), 2, &|_| ()).unwrap();
    assert_eq!(taken.rate_hz, 48_000);
    assert_eq!(codes(&taken, "pad.wav"), ["other-rate"]);
    assert_eq!(codes(&taken, "keys.wav"), ["cannot-read"]);
    assert!(taken.findings.iter().any(|finding| finding.code == "lengths" && finding.severity == Severity::Note));
    assert_eq!(taken.findings[0].severity, Severity::Fail, "the worst comes first");
}

#[test]
fn the_starter_sheet_groups_by_name_and_matches_a_rough_mix() {
    let files = [("kick.wav", 1), ("snare.wav", 2), ("lead voice.wav", 3), ("rough mix.wav", 4)];
    let taken = take(&files.map(|(name, seed)| (name, noise(48_000, seed))));
    let (sheet, problems) = sheet::read(&starter_text(&taken), &engine::specs());
    let sheet = sheet.unwrap_or_else(|| panic!("{problems:#?}"));
    assert!(problems.iter().all(|problem| problem.severity != Severity::Fail), "{problems:#?}");
    assert_eq!(sheet.stems().count(), 3);
    assert_eq!(sheet.node("kick").unwrap().1.to.as_deref(), Some("drums"));
    assert_eq!(sheet.references.len(), 1);
    assert!(matches!(&sheet.prints[1].loudness, Some(sheet::Loudness::Match(name)) if *name == "rough mix"));
}

#[test]
fn what_all_labels_say_alike_is_the_songs_own() {
    let folder = tempfile::tempdir().unwrap();
    let label = |title: &str| Metadata {
        title: Some(title.to_owned()),
        artist: Some("The Tin Orchard".to_owned()),
        ..Metadata::default()
    };
    let song = |name: &str, title: &str| {
        let frames = noise(48_000, name.len() as u64);
        media::write_all(&folder.path().join(name), &INT24, RATE_HZ, &frames, &label(title)).unwrap();
        let taken = intake(folder.path(), 2, &|_| ()).unwrap();
        sheet::read(&starter_text(&taken), &engine::specs()).0.unwrap().song
    };
    let one = song("kick.wav", "Kick close");
    assert_ne!(one.title, "Kick close", "one file's title is its own");
    std::fs::remove_file(folder.path().join("kick.wav")).unwrap();
    song("bass.wav", "Lantern Weather");
    let two = song("snare.wav", "Lantern Weather");
    assert_eq!((two.title.as_str(), two.artist.as_str()), ("Lantern Weather", "The Tin Orchard"));
    let other = song("lead voice.wav", "Lead");
    assert_eq!((other.title == "Lantern Weather", other.artist.as_str()), (false, "The Tin Orchard"));
}
