//! Every format that is read: exact lengths, no delay, and seeks that find the samples that reading would have met.

#![allow(clippy::unwrap_used)]

mod signals;

use std::fs;
use std::path::PathBuf;

use media::{FileFormat, Format, Info, Kbps, Metadata, Reader, create, read_all};
use signals::{FILES, FRAMES, aiff, caf, signal};
use tempfile::TempDir;
use units::Frame;

/// Every file, with its format, the frames that its decoder adds in front, and those in all.
fn files(folder: &TempDir) -> Vec<(PathBuf, Format, usize, usize)> {
    let put = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path
    };
    let mut list = vec![
        (put("hand.aiff", &aiff(&signal())), Format::Aiff, 0, FRAMES),
        (put("hand.caf", &caf(&signal())), Format::Caf, 0, FRAMES),
    ];
    for (name, bytes) in FILES {
        let (format, lead, frames) = match name {
            "aac.m4a" => (Format::Aac, 0, FRAMES),
            // A bare stream: one frame of delay by the encoder; whole frames of 1024.
            "bare.aac" => (Format::Aac, 1024, 7 * 1024),
            "vorbis.ogg" => (Format::Vorbis, 0, FRAMES),
            // A bare stream: 576 frames by the encoder and 529 by any decoder; whole frames of 1152.
            "bare.mp3" => (Format::Mp3, 1105, 7 * 1152),
            _ => (Format::Alac, 0, FRAMES),
        };
        list.push((put(name, bytes), format, lead, frames));
    }
    let path = folder.path().join("own.mp3");
    let format = FileFormat::Mp3(Kbps::new(128).unwrap());
    let mut writer = create(&path, &format, 44_100, None, &Metadata::default()).unwrap();
    writer.write(&signal()).unwrap();
    writer.finish().unwrap();
    list.push((path, Format::Mp3, 0, FRAMES));
    list
}

/// Root mean square of the difference from the signal at a lag, in dB of the signal's.
fn error_db(read: &[Frame], signal: &[Frame], lag: usize) -> f64 {
    let square = |x: f64| x * x;
    // Encoders start roughly.
    let inner = 1000..FRAMES - 500;
    let error: f64 =
        inner.clone().map(|i| square(read.get(i + lag).map_or(0.0, |frame| frame[0]) - signal[i][0])).sum();
    units::db_from_power(error / inner.map(|i| square(signal[i][0])).sum::<f64>())
}

#[test]
fn lengths_are_exact_and_nothing_is_late() {
    let folder = tempfile::tempdir().unwrap();
    let signal = signal();
    for (path, format, lead, frames) in files(&folder) {
        let (info, read): (Info, Vec<Frame>) = read_all(&path, None).unwrap();
        let name = path.display();
        assert_eq!((info.format, info.rate_hz, info.channels), (format, 44_100, 2), "{name}");
        assert_eq!((info.frames, read.len()), (frames as u64, frames), "{name}");
        if info.lossy {
            let best = (lead.saturating_sub(400)..=lead + 400)
                .min_by(|a, b| error_db(&read, &signal, *a).total_cmp(&error_db(&read, &signal, *b)));
            assert_eq!(best, Some(lead), "{name}");
            let db = error_db(&read, &signal, lead);
            assert!(db < -15.0, "{name}: {db:.1} dB");
        } else {
            let bits = if format == Format::Caf { 32 } else { 16 };
            assert_eq!(info.bits, Some(bits), "{name}");
            assert!(read == signal, "{name}");
        }
    }
}

#[test]
fn seeking_finds_the_samples_that_reading_meets() {
    let folder = tempfile::tempdir().unwrap();
    for (path, _, _, frames) in files(&folder) {
        let (_, whole) = read_all(&path, None).unwrap();
        let mut reader = Reader::open(&path).unwrap();
        for at in [4000, 0, 5000, 4999, 1, frames, 17, frames - 1, 2048] {
            reader.seek(at as u64).unwrap();
            let mut out = [[0.0; 2]; 300];
            let count = reader.read(&mut out).unwrap();
            assert_eq!(count, 300.min(frames - at), "{} at {at}", path.display());
            assert!(out[..count] == whole[at..at + count], "{} at {at}", path.display());
        }
        assert!(reader.seek(frames as u64 + 1).is_err());
    }
}

#[test]
fn cut_files_say_so() {
    let folder = tempfile::tempdir().unwrap();
    for (path, format, lead, _) in files(&folder) {
        // Bare streams and pages promise no length.
        if lead > 0 || format == Format::Vorbis {
            continue;
        }
        let bytes = fs::read(&path).unwrap();
        fs::write(&path, &bytes[..bytes.len() * 2 / 3]).unwrap();
        let error = read_all(&path, None).unwrap_err();
        assert!(!error.is_machine_fault() && error.to_string().contains(path.to_str().unwrap()), "{error}");
    }
}
