//! Wave files, against headers made by hand from EBU Tech 3285 (bext), EBU Tech 3306 (RF64) and the RIFF rules.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::PathBuf;

use media::{FileFormat, Format, Loudness, MediaError, Metadata, Reader, Reason, WavSample, create, read_all};
use tempfile::TempDir;
use units::Frame;

fn chunk(id: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let mut bytes = id.to_vec();
    bytes.extend((content.len() as u32).to_le_bytes());
    bytes.extend_from_slice(content);
    bytes.extend(std::iter::repeat_n(0, content.len() % 2));
    bytes
}

fn fmt(tag: u16, channels: u16, rate_hz: u32, bits: u16) -> Vec<u8> {
    let frame = channels * bits.div_ceil(8);
    let mut bytes = Vec::new();
    bytes.extend(tag.to_le_bytes());
    bytes.extend(channels.to_le_bytes());
    bytes.extend(rate_hz.to_le_bytes());
    bytes.extend((rate_hz * u32::from(frame)).to_le_bytes());
    bytes.extend(frame.to_le_bytes());
    bytes.extend(bits.to_le_bytes());
    bytes
}

fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((body.len() as u32 + 4).to_le_bytes());
    bytes.extend(b"WAVE");
    bytes.extend(body);
    bytes
}

fn put(folder: &TempDir, bytes: &[u8]) -> PathBuf {
    let path = folder.path().join("a.wav");
    fs::write(&path, bytes).unwrap();
    path
}

fn open(bytes: &[u8]) -> Result<Reader, MediaError> {
    let folder = tempfile::tempdir().unwrap();
    Reader::open(&put(&folder, bytes))
}

fn frames_of(bytes: &[u8]) -> Vec<Frame> {
    let folder = tempfile::tempdir().unwrap();
    read_all(&put(&folder, bytes), None).unwrap().1
}

#[test]
fn unknown_chunks_and_odd_ones_are_stepped_over() {
    let file = riff(&[
        chunk(b"odd ", &[1, 2, 3]),
        chunk(b"fmt ", &fmt(1, 1, 44_100, 16)),
        chunk(b"\x01\x02\x03\x04", &[9; 5]),
        chunk(b"data", &[0, 0x40, 0, 0xc0]),
        chunk(b"LIST", b"INFOINAM\x05\0\0\0Fog A\0XYZW\x02\0\0\0q\0"),
    ]);
    let reader = open(&file).unwrap();
    let info = reader.info();
    assert_eq!((info.format, info.rate_hz, info.channels, info.frames), (Format::Wav, 44_100, 1, 2));
    assert_eq!(info.tag("title"), Some("Fog A"));
    assert_eq!(info.tag("XYZW"), Some("q"));
    assert_eq!(frames_of(&file), [[0.5, 0.5], [-0.5, -0.5]]);
}

#[test]
fn extensible_headers_name_their_encoding() {
    // Microsoft, WAVEFORMATEXTENSIBLE: the sub-format's first two bytes are the format tag.
    let mut extended = fmt(0xfffe, 2, 96_000, 24);
    extended.extend([22, 0, 24, 0, 3, 0, 0, 0, 1, 0]);
    extended.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71]);
    let file = riff(&[chunk(b"fmt ", &extended), chunk(b"data", &[0, 0, 0x40, 0, 0, 0xa0])]);
    assert_eq!(frames_of(&file), [[0.5, -0.75]]);
    let mut foreign = extended.clone();
    foreign[39] = 0;
    let file = riff(&[chunk(b"fmt ", &foreign), chunk(b"data", &[0; 6])]);
    assert!(matches!(open(&file).unwrap_err().reason, Reason::UnsupportedEncoding(_)));
}

#[test]
fn files_past_4_gib_state_their_sizes_elsewhere() {
    // EBU Tech 3306: RF64, 0xffffffff, WAVE, ds64 (riff size, data size, sample count, table length).
    for (id, format) in [(b"RF64", Format::Rf64), (b"BW64", Format::Bw64)] {
        let mut sizes = Vec::new();
        for size in [84_u64, 8, 2] {
            sizes.extend(size.to_le_bytes());
        }
        sizes.extend([0; 4]);
        let mut file = riff(&[chunk(b"ds64", &sizes), chunk(b"fmt ", &fmt(1, 2, 48_000, 16)), chunk(b"data", &[])]);
        file[..4].copy_from_slice(id);
        let end = file.len();
        for place in [4, end - 4] {
            file[place..place + 4].fill(0xff);
        }
        file.extend([0, 0x40, 0, 0xc0, 0, 0x20, 0, 0xe0]);
        file.extend(chunk(b"LIST", b"INFOIART\x02\0\0\0T\0"));
        let reader = open(&file).unwrap();
        assert_eq!((reader.info().format, reader.info().frames), (format, 2));
        assert_eq!(reader.info().tag("artist"), Some("T"));
        assert_eq!(frames_of(&file), [[0.5, -0.5], [0.25, -0.25]]);
    }
}

#[test]
fn broadcast_extensions_are_read_by_the_standards_offsets() {
    // EBU Tech 3285 v2, table 1; -23.0 LUFS is -2300 = 0xf704; 0x7fff: not given.
    let mut bext = vec![0; 602];
    bext[..4].copy_from_slice(b"Note");
    bext[256..260].copy_from_slice(b"Bram");
    bext[320..330].copy_from_slice(b"2026-03-01");
    bext[330..338].copy_from_slice(b"12:30:00");
    // 01:00:00 at 48 kHz is 172 800 000 frames = 0x0a4cb800, low word first.
    bext[338..342].copy_from_slice(&[0x00, 0xb8, 0x4c, 0x0a]);
    bext[342] = 1;
    bext[346] = 2;
    bext[412..422].copy_from_slice(&[0x04, 0xf7, 0xff, 0x7f, 0x9c, 0xff, 0xff, 0x7f, 0xff, 0x7f]);
    bext.extend(b"A=PCM,F=48000\r\n");
    let make =
        |bext: &[u8]| riff(&[chunk(b"bext", bext), chunk(b"fmt ", &fmt(1, 2, 48_000, 16)), chunk(b"data", &[0; 4])]);
    let reader = open(&make(&bext)).unwrap();
    let read = reader.info().bwf.clone().unwrap();
    assert_eq!((read.description.as_str(), read.originator.as_str()), ("Note", "Bram"));
    assert_eq!((read.date.as_str(), read.time.as_str()), ("2026-03-01", "12:30:00"));
    assert_eq!(read.time_reference, (1 << 32) + 172_800_000);
    assert_eq!(read.loudness.integrated_lufs, Some(-23.0));
    assert_eq!(read.loudness.true_peak_dbtp, Some(-1.0));
    assert_eq!(read.loudness.range_lu, None);
    assert_eq!(read.coding_history, "A=PCM,F=48000");
    // Version 1 has no loudness fields.
    bext[346] = 1;
    assert_eq!(open(&make(&bext)).unwrap().info().bwf.clone().unwrap().loudness, Loudness::default());
}

#[test]
fn sizes_that_lie_are_named() {
    let header = |data: u32| {
        let mut file = riff(&[chunk(b"fmt ", &fmt(1, 2, 48_000, 16)), chunk(b"data", &[1; 40])]);
        file[40..44].copy_from_slice(&data.to_le_bytes());
        file
    };
    let cut = open(&header(4000)).unwrap_err();
    assert!(matches!(cut.reason, Reason::CutShort { declared: 1000, present: 10 }), "{cut}");
    assert!(cut.to_string().contains("a.wav") && !cut.remedy().is_empty());
    assert!(matches!(open(&header(0)).unwrap_err().reason, Reason::Unfinished { bytes: 40 }));
    // A writer that could not go back leaves all ones: the audio runs to the end.
    assert_eq!(open(&header(u32::MAX)).unwrap().info().frames, 10);
    // An empty file is a file.
    let empty = riff(&[chunk(b"fmt ", &fmt(1, 2, 48_000, 16)), chunk(b"data", &[])]);
    assert_eq!(frames_of(&empty), [[0.0; 2]; 0]);
}

#[test]
fn headers_that_cannot_be_are_refused() {
    let with = |fmt: Vec<u8>| open(&riff(&[chunk(b"fmt ", &fmt), chunk(b"data", &[0; 48])])).unwrap_err().reason;
    assert!(matches!(with(fmt(1, 6, 48_000, 16)), Reason::TooManyChannels(6)));
    assert!(matches!(with(fmt(1, 0, 48_000, 16)), Reason::FaultyHeader(_)));
    assert!(matches!(with(fmt(1, 2, 0, 16)), Reason::FaultyHeader(_)));
    assert!(matches!(with(fmt(2, 2, 48_000, 4)), Reason::UnsupportedEncoding(_)));
    assert!(matches!(with(vec![0; 3]), Reason::FaultyHeader(detail) if detail.contains("3 bytes")));
    let mut odd = fmt(1, 2, 48_000, 16);
    odd[12] = 3;
    assert!(matches!(with(odd), Reason::FaultyHeader(_)));
    assert!(matches!(open(&riff(&[chunk(b"data", &[0; 4])])).unwrap_err().reason, Reason::FaultyHeader(_)));
    assert!(matches!(open(b"RIFF").unwrap_err().reason, Reason::UnknownFormat(_)));
}

#[test]
fn an_impulse_response_may_have_four_channels() {
    // RIFF wave: samples of a frame stand in the order of the channels. 16-bit full scale is 32768.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("hall.wav");
    let write = |channels: u16, samples: &[i16]| {
        let bytes: Vec<u8> = samples.iter().flat_map(|x| x.to_le_bytes()).collect();
        std::fs::write(&path, riff(&[chunk(b"fmt ", &fmt(1, channels, 48_000, 16)), chunk(b"data", &bytes)])).unwrap();
    };
    let read = |channels: u16, rate_hz| {
        write(channels, &(0..3 * channels as i16).map(|i| i * 256).collect::<Vec<_>>());
        media::read_channels(&path, rate_hz)
    };
    for count in [1, 2, 4] {
        let expected: Vec<Vec<f64>> = (0..count)
            .map(|channel| (0..3).map(|frame| f64::from(frame * count + channel) / 128.0).collect())
            .collect();
        assert_eq!(read(count, None).unwrap(), expected, "{count} channels");
        // At another rate each channel is that of a mono file with the same samples, but for rounding.
        let doubled = read(count, Some(96_000)).unwrap();
        for (channel, samples) in expected.iter().enumerate() {
            write(1, &samples.iter().map(|x| (x * 32_768.0) as i16).collect::<Vec<_>>());
            let (_, mono) = media::read_all(&path, Some(96_000)).unwrap();
            assert_eq!(doubled[channel].len(), mono.len(), "channel {channel}");
            let apart = doubled[channel].iter().zip(&mono).map(|(x, frame)| (x - frame[0]).abs());
            assert!(apart.fold(0.0, f64::max) < 1e-15, "channel {channel}");
        }
    }
    let refused = read(3, None).unwrap_err();
    assert!(matches!(refused.reason, Reason::NotAResponse(3)), "{refused}");
    assert!(refused.to_string().contains("1 (mono), 2 (left, right) or 4 (true stereo: LL, LR, RL, RR)"), "{refused}");
    // A song has two at most.
    read(4, None).unwrap();
    assert!(matches!(Reader::open(&path).unwrap_err().reason, Reason::TooManyChannels(4)));
}

#[test]
fn only_files_are_opened() {
    let folder = tempfile::tempdir().unwrap();
    assert!(matches!(Reader::open(folder.path()).unwrap_err().reason, Reason::NotAFile("a folder")));
    let missing = Reader::open(&folder.path().join("none.wav")).unwrap_err();
    assert!(matches!(missing.reason, Reason::System(_)) && !missing.is_machine_fault());
    if cfg!(unix) {
        let device = Reader::open(std::path::Path::new("/dev/null")).unwrap_err();
        assert!(matches!(device.reason, Reason::NotAFile("a pipe or a device")));
        let pipe = folder.path().join("pipe.wav");
        if std::process::Command::new("mkfifo").arg(&pipe).status().is_ok_and(|status| status.success()) {
            assert!(matches!(Reader::open(&pipe).unwrap_err().reason, Reason::NotAFile("a pipe or a device")));
        }
    }
}

fn ramp(frames: usize) -> Vec<Frame> {
    (0..frames).map(|i| [i as f64 / 8_388_608.0 - 0.25, 0.5 - i as f64 / 32_768.0]).collect()
}

fn metadata() -> Metadata {
    Metadata {
        title: Some("Lantern Weather".to_owned()),
        artist: Some("The Tin Orchard".to_owned()),
        version: Some("for mastering & <all>".to_owned()),
        originator: Some("Fairprint".to_owned()),
        date: Some("2026-03-01".to_owned()),
        time_reference: 172_800_000,
        coding_history: vec!["A=PCM,F=48000,W=24,M=stereo".to_owned()],
        track_names: vec!["mix left".to_owned(), "mix right".to_owned()],
        credits: vec![("mixer".to_owned(), "Ines Okafor".to_owned())],
        ..Metadata::default()
    }
}

#[test]
fn what_is_written_is_read_again_from_any_place() {
    let folder = tempfile::tempdir().unwrap();
    let frames = ramp(9001);
    for sample in [WavSample::Int16, WavSample::Int24, WavSample::Float32, WavSample::Float64] {
        let path = folder.path().join(format!("{}.wav", sample.bits()));
        let mut writer = create(&path, &FileFormat::Wav(sample), 48_000, Some(9001), &metadata()).unwrap();
        assert!(!path.exists());
        for part in frames.chunks(777) {
            writer.write(part).unwrap();
        }
        writer.set_loudness(Loudness { integrated_lufs: Some(-16.254), ..Loudness::default() });
        let written = writer.finish().unwrap();
        assert_eq!((written.frames, written.clamped_samples), (9001, 0));
        assert_eq!(written.bytes, fs::metadata(&path).unwrap().len());

        let (info, back) = read_all(&path, None).unwrap();
        assert_eq!((info.bits, info.float), (Some(sample.bits()), sample.bits() > 24));
        let bext = info.bwf.clone().unwrap();
        assert_eq!(bext.description, "Lantern Weather / The Tin Orchard / for mastering & <all>");
        assert_eq!((bext.time_reference, bext.loudness.integrated_lufs), (172_800_000, Some(-16.25)));
        assert_eq!(bext.coding_history, "A=PCM,F=48000,W=24,M=stereo");
        assert_eq!(info.track_names, ["mix left", "mix right"]);
        assert_eq!(info.tag("take"), Some("for mastering & <all>"));
        assert_eq!((info.tag("artist"), info.tag("engineer")), (Some("The Tin Orchard"), Some("Ines Okafor")));
        let step = if sample == WavSample::Int16 { 0.5 / 32_768.0 } else { 0.0 };
        assert!(back.len() == 9001 && back.iter().zip(&frames).all(|(a, b)| (a[0] - b[0]).abs() <= step));
        assert!(back.iter().zip(&frames).all(|(a, b)| a[1] == b[1]));

        let mut reader = Reader::open(&path).unwrap();
        for at in [9000_usize, 0, 4097, 9001] {
            reader.seek(at as u64).unwrap();
            let mut out = [[0.0; 2]; 3];
            let count = reader.read(&mut out).unwrap();
            assert_eq!(out[..count], back[at..(at + 3).min(9001)]);
        }
        assert!(matches!(reader.seek(9002).unwrap_err().reason, Reason::PastTheEnd { frames: 9001, .. }));
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 4);
}

#[test]
fn nothing_is_overwritten_and_nothing_left_behind() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("print.wav");
    let start = || create(&path, &FileFormat::Wav(WavSample::Int16), 48_000, None, &Metadata::default());
    let mut dropped = start().unwrap();
    dropped.write(&ramp(10)).unwrap();
    drop(dropped);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);

    let (first, second) = (start().unwrap(), start().unwrap());
    first.finish().unwrap();
    assert!(matches!(second.finish().unwrap_err().reason, Reason::Exists));
    assert!(matches!(start().unwrap_err().reason, Reason::Exists));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);

    let other = folder.path().join("other.wav");
    let mut writer = create(&other, &FileFormat::Wav(WavSample::Int16), 48_000, None, &Metadata::default()).unwrap();
    writer.write(&ramp(10)).unwrap();
    let bad = writer.write(&[[0.0, 0.0], [f64::NAN, 0.0]]).unwrap_err();
    assert!(matches!(bad.reason, Reason::NotFinite { frame: 11 }));
    let missing = folder.path().join("no/such/print.wav");
    assert!(create(&missing, &FileFormat::Wav(WavSample::Int16), 48_000, None, &Metadata::default()).is_err());
}
