//! The round trip through lossy encoders: aligned, of the same length, at any rate.

#![allow(clippy::unwrap_used)]

use media::codec::{CodecChoice, Encoding, round_trip};
use media::{FileFormat, Format, IntegerBits, Kbps, Metadata, OggKbps, Reader, Reason, Source, create, read_all};
use units::Frame;

/// A sum of tones under a slow swell: no symmetry by which a shift could hide.
fn music(frames: usize, rate_hz: u32) -> Vec<Frame> {
    let angle = |hz: f64, i: usize| std::f64::consts::TAU * hz * i as f64 / f64::from(rate_hz);
    (0..frames)
        .map(|i| {
            let swell = 0.2 + 0.1 * libm::sin(angle(1.7, i));
            let left =
                libm::sin(angle(220.0, i)) + 0.5 * libm::sin(angle(1234.5, i)) + 0.2 * libm::sin(angle(5678.0, i));
            let right = libm::sin(angle(331.0, i)) + 0.5 * libm::sin(angle(987.6, i));
            [swell * left, swell * right]
        })
        .collect()
}

/// Lag with the least error, within 1500 frames, and the error at lag 0 in dB under the signal.
fn lag_and_error_db(a: &[Frame], b: &[Frame]) -> (i64, f64) {
    let error = |lag: i64| {
        let differences = (3000..a.len() - 3000).map(|i| a[i][0] - b[(i as i64 + lag) as usize][0]);
        differences.map(|x| x * x).sum::<f64>()
    };
    let lag = (-1500..=1500).min_by(|x, y| error(*x).total_cmp(&error(*y))).unwrap();
    let power: f64 = a[3000..a.len() - 3000].iter().map(|a| a[0] * a[0]).sum();
    (lag, units::db_from_power(error(0) / power))
}

#[test]
fn a_round_trip_keeps_length_and_alignment() {
    let folder = tempfile::tempdir().unwrap();
    let rates = [(44_100, 128), (48_000, 320), (96_000, 192), (88_200, 256), (32_000, 128)];
    let cases =
        ["mp3", "opus", "vorbis"].into_iter().flat_map(|codec| rates.map(|(rate_hz, kbps)| (codec, rate_hz, kbps)));
    for (codec, rate_hz, kbps) in cases {
        let choice: CodecChoice = format!("{codec} {kbps}").parse().unwrap();
        // Odd lengths, and one that is a multiple of the codecs' frames: 1152 of MP3, 960 of Opus.
        for frames in [30_011, 5760 * 5] {
            let there = music(frames, rate_hz);
            let back = round_trip(&there, rate_hz, choice, folder.path()).unwrap();
            assert_eq!(back.len(), frames);
            let (lag, error_db) = lag_and_error_db(&there, &back);
            assert!(lag == 0 && error_db < -25.0, "{rate_hz} Hz {choice}: lag {lag}, error {error_db:.1} dB");
        }
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn the_streamed_trip_is_the_same_and_can_seek() {
    let folder = tempfile::tempdir().unwrap();
    let choices = ["mp3 192", "opus 192", "vorbis 192"].map(|name| name.parse::<CodecChoice>().unwrap());
    for (rate_hz, choice) in [48_000, 96_000].into_iter().flat_map(|rate_hz| choices.map(|choice| (rate_hz, choice))) {
        let there = music(60_000, rate_hz);
        let whole = round_trip(&there, rate_hz, choice, folder.path()).unwrap();
        let mut encoding = Encoding::start(folder.path(), rate_hz, choice).unwrap();
        for part in there.chunks(1001) {
            encoding.write(part).unwrap();
        }
        let mut heard = encoding.finish().unwrap();
        assert_eq!((heard.frames(), heard.rate_hz()), (60_000, rate_hz));
        for at in [0_usize, 40_000, 7, 59_990, 25_000, 60_000] {
            heard.seek(at as u64).unwrap();
            let mut out = [[0.0; 2]; 500];
            let count = heard.read(&mut out).unwrap();
            assert_eq!(count, 500.min(60_000 - at), "at {at}");
            assert_eq!(out[..count], whole[at..at + count], "at {at}");
        }
    }
}

#[test]
fn codecs_are_named_as_sheets_name_them() {
    for name in ["mp3 192", "opus 96", "vorbis 160"] {
        assert_eq!(name.parse::<CodecChoice>().unwrap().to_string(), name);
    }
    assert!("opus 80".parse::<CodecChoice>().is_err());
    assert!("mp3 193".parse::<CodecChoice>().is_err() && "ogg".parse::<CodecChoice>().is_err());
    assert!(CodecChoice::Mp3(Kbps::new(320).unwrap()).encoder().starts_with("LAME 3."));
}

#[test]
fn mp3_files_carry_tags_and_exact_lengths() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.mp3");
    let metadata = Metadata {
        title: Some("Lantern Weather".to_owned()),
        artist: Some("The Tin Orchard".to_owned()),
        isrc: Some("ZZTOR2600001".to_owned()),
        tempo_bpm: Some(92.0),
        ..Metadata::default()
    };
    let mut writer = create(&path, &FileFormat::Mp3(Kbps::new(256).unwrap()), 44_100, None, &metadata).unwrap();
    writer.write(&music(44_101, 44_100)).unwrap();
    writer.finish().unwrap();
    let reader = Reader::open(&path).unwrap();
    let info = reader.info();
    assert_eq!((info.format, info.frames, info.lossy), (Format::Mp3, 44_101, true));
    assert_eq!((info.tag("title"), info.tag("isrc")), (Some("Lantern Weather"), Some("ZZTOR2600001")));
    assert_eq!(info.tag("tempo_bpm"), Some("92"));
    let refused = create(&folder.path().join("b.mp3"), &FileFormat::Mp3(Kbps::ALL[0]), 96_000, None, &metadata);
    assert!(matches!(refused.unwrap_err().reason, Reason::RateNotPossible { rate_hz: 96_000, .. }));
}

#[test]
fn ogg_files_carry_tags_and_exact_lengths() {
    let folder = tempfile::tempdir().unwrap();
    let metadata = Metadata {
        title: Some("Lantern Weather".to_owned()),
        isrc: Some("ZZTOR2600001".to_owned()),
        ..Metadata::default()
    };
    let kbps = OggKbps::new(160).unwrap();
    for (file, kind) in [(FileFormat::Opus(kbps), Format::Opus), (FileFormat::Vorbis(kbps), Format::Vorbis)] {
        for frames in [1, 959, 960, 961, 48_001] {
            let path = folder.path().join(format!("{frames}.{}", file.extension()));
            let mut writer = create(&path, &file, 48_000, None, &metadata).unwrap();
            writer.write(&music(frames, 48_000)).unwrap();
            writer.finish().unwrap();
            let (info, back) = read_all(&path, None).unwrap();
            assert_eq!((info.format, info.frames, info.lossy), (kind, frames as u64, true));
            assert_eq!(back.len(), frames);
            assert_eq!((info.tag("title"), info.tag("isrc")), (Some("Lantern Weather"), Some("ZZTOR2600001")));
        }
        let refused = create(&folder.path().join("b"), &file, 96_000, None, &metadata);
        assert!(matches!(refused.unwrap_err().reason, Reason::RateNotPossible { rate_hz: 96_000, .. }));
    }
}

#[test]
fn aiff_and_flac_files_are_exact_to_the_bit() {
    let folder = tempfile::tempdir().unwrap();
    let metadata = Metadata { title: Some("Lantern Weather".to_owned()), ..Metadata::default() };
    let formats = [IntegerBits::Sixteen, IntegerBits::TwentyFour]
        .into_iter()
        .flat_map(|bits| [(Format::Aiff, FileFormat::Aiff(bits)), (Format::Flac, FileFormat::Flac(bits))]);
    for (kind, format) in formats {
        let bits = format.integer_bits().unwrap();
        let scale = f64::from(1 << (bits - 1));
        let frames: Vec<Frame> = music(20_001, 48_000).iter().map(|f| f.map(|x| (x * scale).round() / scale)).collect();
        let path = folder.path().join(format!("{bits}.{}", format.extension()));
        let mut writer = create(&path, &format, 48_000, Some(20_001), &metadata).unwrap();
        frames.chunks(999).for_each(|part| writer.write(part).unwrap());
        assert_eq!(writer.finish().unwrap().frames, 20_001);
        let (info, back) = read_all(&path, None).unwrap();
        assert_eq!((info.format, info.bits, info.frames), (kind, Some(bits), 20_001));
        assert_eq!(info.tag("title"), Some("Lantern Weather"));
        assert!(back == frames);
        let mut reader = Reader::open(&path).unwrap();
        for at in [19_000_usize, 5, 4096, 12_345] {
            reader.seek(at as u64).unwrap();
            let mut out = [[0.0; 2]; 100];
            assert_eq!(reader.read(&mut out).unwrap(), 100);
            assert_eq!(out[..], frames[at..at + 100]);
        }
    }
}
