//! Damaged files of every format: an error or some frames, never a panic, and never more than the file can hold.

#![allow(clippy::unwrap_used)]

mod signals;

use std::cell::RefCell;
use std::fs;

use media::{FileFormat, IntegerBits, Kbps, Metadata, OggKbps, Reader, WavSample, create};
use proptest::collection::vec;
use proptest::prelude::*;
use signals::{FILES, aiff, caf, signal};
use tempfile::TempDir;

/// One file of each format, with its ending.
fn whole_files() -> Vec<(String, Vec<u8>)> {
    let folder = tempfile::tempdir().unwrap();
    let metadata = Metadata {
        title: Some("Lantern Weather".to_owned()),
        track_names: vec!["left".to_owned(), "right".to_owned()],
        ..Metadata::default()
    };
    let mut list: Vec<(String, Vec<u8>)> = FILES.iter().map(|(name, bytes)| (ending(name), bytes.to_vec())).collect();
    list.push(("aiff".to_owned(), aiff(&signal())));
    list.push(("caf".to_owned(), caf(&signal())));
    for format in [
        FileFormat::Wav(WavSample::Int16),
        FileFormat::Wav(WavSample::Float32),
        FileFormat::Aiff(IntegerBits::Sixteen),
        FileFormat::Flac(IntegerBits::Sixteen),
        FileFormat::Mp3(Kbps::ALL[4]),
        FileFormat::Vorbis(OggKbps::ALL[2]),
        FileFormat::Opus(OggKbps::ALL[2]),
    ] {
        let path = folder.path().join(format!("{}.{}", list.len(), format.extension()));
        let mut writer = create(&path, &format, format.rate_for(44_100), None, &metadata).unwrap();
        writer.write(&signal()).unwrap();
        writer.finish().unwrap();
        let bytes = fs::read(&path).unwrap();
        // A wave file as its long form, whose sizes lie.
        if format == FileFormat::Wav(WavSample::Int16) {
            let mut long = bytes.clone();
            long[..8].copy_from_slice(b"RF64\xff\xff\xff\xff");
            long[12..16].copy_from_slice(b"ds64");
            list.push(("wav".to_owned(), long));
        }
        list.push((format.extension().to_owned(), bytes));
    }
    list
}

fn ending(name: &str) -> String {
    name.rsplit('.').next().unwrap().to_owned()
}

/// One way to damage a file.
#[derive(Clone, Debug)]
enum Damage {
    Flip { at: f64, bit: u8 },
    Overwrite { at: f64, with: Vec<u8> },
    Remove { at: f64, bytes: usize },
    Insert { at: f64, with: Vec<u8> },
    Cut { at: f64 },
}

/// A place in the file, most often in its first tenth, where the headers are.
fn place() -> impl Strategy<Value = f64> {
    prop_oneof![3 => 0.0..0.02, 2 => 0.0..0.1, 2 => 0.0..1.0]
}

fn damage() -> impl Strategy<Value = Damage> {
    let word = prop_oneof![
        Just(vec![0xff; 4]),
        Just(vec![0; 4]),
        Just(vec![0x7f, 0xff, 0xff, 0xff]),
        Just(vec![0xff, 0xff, 0xff, 0x7f]),
        vec(any::<u8>(), 1..9),
    ];
    prop_oneof![
        4 => (place(), 0..8_u8).prop_map(|(at, bit)| Damage::Flip { at, bit }),
        4 => (place(), word.clone()).prop_map(|(at, with)| Damage::Overwrite { at, with }),
        1 => (place(), 1..64_usize).prop_map(|(at, bytes)| Damage::Remove { at, bytes }),
        1 => (place(), word).prop_map(|(at, with)| Damage::Insert { at, with }),
        1 => (0.0..1.0).prop_map(|at| Damage::Cut { at }),
    ]
}

fn apply(bytes: &mut Vec<u8>, damage: &Damage) {
    let index = |at: f64| ((at * bytes.len() as f64) as usize).min(bytes.len().saturating_sub(1));
    match damage {
        _ if bytes.is_empty() => {}
        Damage::Flip { at, bit } => {
            let at = index(*at);
            bytes[at] ^= 1 << bit;
        }
        Damage::Overwrite { at, with } => {
            let at = index(*at);
            let count = with.len().min(bytes.len() - at);
            bytes[at..at + count].copy_from_slice(&with[..count]);
        }
        Damage::Remove { at, bytes: count } => {
            let at = index(*at);
            let end = (at + count).min(bytes.len());
            bytes.drain(at..end);
        }
        Damage::Insert { at, with } => {
            let at = index(*at);
            bytes.splice(at..at, with.iter().copied());
        }
        Damage::Cut { at } => bytes.truncate((at * bytes.len() as f64) as usize),
    }
}

/// Reads all there is, with a seek in the middle; true if there was no error.
fn use_file(folder: &TempDir, ending: &str, bytes: &[u8]) -> bool {
    let path = folder.path().join(format!("a.{ending}"));
    fs::write(&path, bytes).unwrap();
    let Ok(mut reader) = Reader::open(&path) else { return false };
    let frames = reader.info().frames;
    let mut out = vec![[0.0; 2]; 4096];
    // A lossy or lossless codec may hold silence in next to nothing, but not for ever.
    for _ in 0..40 {
        match reader.read(&mut out) {
            Ok(0) => break,
            Ok(_) => {}
            Err(_) => return false,
        }
    }
    for at in [frames / 2, 0, frames] {
        if reader.seek(at).and_then(|()| reader.read(&mut out)).is_err() {
            return false;
        }
    }
    true
}

#[test]
fn damaged_files_never_panic() {
    let files = whole_files();
    let folder = tempfile::tempdir().unwrap();
    let counts = RefCell::new((0_u32, 0_u32));
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
        cases: cases(),
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let strategy = (0..files.len(), vec(damage(), 1..4));
    let result = runner.run(&strategy, |(index, list)| {
        let (ending, mut bytes) = files[index].clone();
        list.iter().for_each(|damage| apply(&mut bytes, damage));
        let fine = use_file(&folder, &ending, &bytes);
        let mut counts = counts.borrow_mut();
        if fine {
            counts.0 += 1
        } else {
            counts.1 += 1
        }
        Ok(())
    });
    result.unwrap();
    let (fine, refused) = *counts.borrow();
    // Both ends are met: harmless damage and damage that is seen.
    assert!(fine > 100 && refused > 100, "{fine} fine, {refused} refused");
}

/// Cases of a run; more for a night by an environment variable.
fn cases() -> u32 {
    std::env::var("FAIRPRINT_DAMAGE_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(2500)
}

#[test]
fn whole_files_are_fine() {
    let folder = tempfile::tempdir().unwrap();
    for (ending, bytes) in whole_files() {
        // The long wave file states sizes of zero: that one is refused.
        let long = bytes.starts_with(b"RF64");
        assert!(use_file(&folder, &ending, &bytes) != long || long, "{ending}");
    }
}
