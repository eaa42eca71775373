//! Our files read by others, and theirs by us: libsndfile and mutagen where `FAIRPRINT_PYTHON` names a Python that has
//! them, ffmpeg where `FAIRPRINT_FFMPEG` names its program. Without these variables the tests say so and pass.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use std::f64::consts::TAU;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use media::{
    FileFormat, Format, IntegerBits, Kbps, Loudness, Metadata, OggKbps, Reader, WavSample, create, open_at, read_all,
};
use units::Frame;

const FRAMES: usize = 50_001;
const RATE_HZ: u32 = 44_100;

/// A fixed scramble that 16 bits hold exactly.
fn noise() -> Vec<Frame> {
    let scramble = |i: usize| (i % 65_535) as f64 - 32_767.0;
    (0..FRAMES).map(|i| [scramble(i * 7919) / 32_768.0, scramble(i * 104_729 + 12_345) / 32_768.0]).collect()
}

/// A sweep and a tone.
fn tones() -> Vec<Frame> {
    let frame = |t: f64| [0.4 * libm::sin(TAU * (200.0 * t + 1000.0 * t * t)), 0.3 * libm::sin(TAU * 660.0 * t)];
    (0..FRAMES).map(|i| frame(i as f64 / f64::from(RATE_HZ))).collect()
}

fn metadata() -> Metadata {
    let text = |text: &str| Some(text.to_owned());
    Metadata {
        title: text("Lantern Weather"),
        artist: text("The Tin Orchard"),
        album: text("Paper Weather"),
        version: text("für Ines"),
        isrc: text("ZZTOR2600001"),
        date: text("2026-03-01"),
        time: text("12:30:00"),
        tempo_bpm: Some(92.0),
        key: text("F#m"),
        comment: text("r003"),
        originator: text("Fairprint"),
        time_reference: 158_760_000,
        coding_history: vec!["A=PCM,F=44100,W=24,M=stereo".to_owned()],
        credits: vec![
            ("mixer".to_owned(), "Ines Okafor".to_owned()),
            ("producer".to_owned(), "Bram Solberg".to_owned()),
        ],
        track_names: vec!["left".to_owned(), "right".to_owned()],
    }
}

/// Every kind of file that we write, by name.
fn write_all(folder: &Path) -> Vec<PathBuf> {
    [
        ("int16.wav", FileFormat::Wav(WavSample::Int16)),
        ("int24.wav", FileFormat::Wav(WavSample::Int24)),
        ("float32.wav", FileFormat::Wav(WavSample::Float32)),
        ("float64.wav", FileFormat::Wav(WavSample::Float64)),
        ("sixteen.aiff", FileFormat::Aiff(IntegerBits::Sixteen)),
        ("twentyfour.aiff", FileFormat::Aiff(IntegerBits::TwentyFour)),
        ("sixteen.flac", FileFormat::Flac(IntegerBits::Sixteen)),
        ("twentyfour.flac", FileFormat::Flac(IntegerBits::TwentyFour)),
        ("tones.mp3", FileFormat::Mp3(Kbps::new(192).unwrap())),
        ("tones.ogg", FileFormat::Vorbis(OggKbps::new(192).unwrap())),
    ]
    .map(|(name, format)| {
        let path = folder.join(name);
        let frames = if name.starts_with("tones") { tones() } else { noise() };
        let mut writer = create(&path, &format, RATE_HZ, Some(FRAMES as u64), &metadata()).unwrap();
        writer.write(&frames).unwrap();
        writer.set_loudness(Loudness { integrated_lufs: Some(-9.5), ..Loudness::default() });
        assert_eq!(writer.finish().unwrap().clamped_samples, 0);
        path
    })
    .into()
}

/// A program by an environment variable; says so if there is none.
fn program(variable: &str) -> Option<String> {
    let program = std::env::var(variable).ok();
    if program.is_none() {
        println!("{variable} is not set: nothing was checked against the outside");
    }
    program
}

/// Runs a program to its end and returns what it printed.
fn run(command: &mut Command) -> Vec<u8> {
    let output = command.output().unwrap();
    assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

fn script(python: &str, task: &str, path: &Path) -> String {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside_media.py");
    String::from_utf8(run(Command::new(python).arg(script).arg(task).arg(path))).unwrap()
}

/// Lag of the least error within 1300 frames, and the error there in dB of the signal.
fn lag_and_error_db(read: &[Frame]) -> (i64, f64) {
    let tones = tones();
    let inner = 3000..FRAMES - 3000;
    let error = |lag: i64| -> f64 {
        let differences = inner.clone().step_by(7).map(|i| read[(i as i64 + lag) as usize][0] - tones[i][0]);
        differences.map(|x| x * x).sum()
    };
    let lag = (-1300..=1300).min_by(|a, b| error(*a).total_cmp(&error(*b))).unwrap();
    let power: f64 = inner.clone().step_by(7).map(|i| tones[i][0] * tones[i][0]).sum();
    (lag, units::db_from_power(error(lag) / power))
}

/// Reads a file and holds it against what it was made from.
fn check_read(path: &Path, channels: u16, exact: bool) {
    let (info, read) = read_all(path, None).unwrap();
    let name = path.display();
    assert_eq!((info.rate_hz, info.channels), (RATE_HZ, channels), "{name}");
    assert_eq!((info.frames, read.len()), (FRAMES as u64, FRAMES), "{name}");
    assert_eq!(info.lossy, !exact, "{name}");
    if exact {
        let expected: Vec<Frame> = noise().iter().map(|f| [f[0], f[usize::from(channels) - 1]]).collect();
        assert!(read == expected, "{name}");
    } else {
        let (lag, db) = lag_and_error_db(&read);
        assert!(lag == 0 && db < -20.0, "{name}: lag {lag}, error {db:.1} dB");
    }
    let mut reader = Reader::open(path).unwrap();
    for at in [FRAMES - 10, 0, 30_000, 1] {
        reader.seek(at as u64).unwrap();
        let mut out = [[0.0; 2]; 200];
        let count = reader.read(&mut out).unwrap();
        assert!(out[..count] == read[at..(at + 200).min(FRAMES)], "{name} at {at}");
    }
}

#[test]
fn libsndfile_and_mutagen_read_what_we_write() {
    let Some(python) = program("FAIRPRINT_PYTHON") else { return };
    let folder = tempfile::tempdir().unwrap();
    write_all(folder.path());
    script(&python, "check", folder.path());
}

#[test]
fn we_read_what_libsndfile_writes() {
    let Some(python) = program("FAIRPRINT_PYTHON") else { return };
    let folder = tempfile::tempdir().unwrap();
    let list = script(&python, "make", folder.path());
    assert!(list.lines().count() >= 40, "{list}");
    for line in list.lines() {
        let [name, frames, channels, kind] = line.split(' ').collect::<Vec<_>>()[..] else { panic!("{line}") };
        assert_eq!(frames.parse(), Ok(FRAMES));
        check_read(&folder.path().join(name), channels.parse().unwrap(), kind == "exact");
    }
}

#[test]
fn ffmpeg_reads_what_we_write() {
    let Some(ffmpeg) = program("FAIRPRINT_FFMPEG") else { return };
    let folder = tempfile::tempdir().unwrap();
    for path in write_all(folder.path()) {
        let raw = run(Command::new(&ffmpeg).args(["-v", "error", "-i"]).arg(&path).args(["-f", "f64le", "-"]));
        let samples: Vec<f64> = raw.as_chunks().0.iter().map(|bytes| f64::from_le_bytes(*bytes)).collect();
        let frames = samples.as_chunks::<2>().0;
        assert_eq!(frames.len(), FRAMES, "{}", path.display());
        if path.file_stem().is_some_and(|stem| stem == "tones") {
            let (lag, db) = lag_and_error_db(frames);
            assert!(lag == 0 && db < -30.0, "lag {lag}, error {db:.1} dB");
        } else {
            assert!(frames == noise(), "{}", path.display());
        }
    }
    let wav = folder.path().join("int24.wav");
    let text = run(Command::new(&ffmpeg).args(["-v", "error", "-i"]).arg(&wav).args(["-f", "ffmetadata", "-"]));
    let text = String::from_utf8(text).unwrap();
    for line in ["time_reference=158760000", "encoded_by=Fairprint", "date=2026-03-01", "title=Lantern Weather"] {
        assert!(text.contains(line), "{line} is not in {text}");
    }
    assert!(text.contains("A\\=PCM,F\\=44100,W\\=24,M\\=stereo"), "{text}");
}

#[test]
fn ffmpeg_reads_our_opus_and_we_read_its() {
    let Some(ffmpeg) = program("FAIRPRINT_FFMPEG") else { return };
    let folder = tempfile::tempdir().unwrap();
    let (ours, theirs, wav) =
        (folder.path().join("ours.opus"), folder.path().join("theirs.opus"), folder.path().join("exact.wav"));
    // The tones in half a second of frames at 48 kHz: their pitch is of no matter here.
    for (path, format) in
        [(&ours, FileFormat::Opus(OggKbps::new(192).unwrap())), (&wav, FileFormat::Wav(WavSample::Float64))]
    {
        let mut writer = create(path, &format, 48_000, None, &metadata()).unwrap();
        writer.write(&tones()).unwrap();
        writer.finish().unwrap();
    }
    let raw = run(Command::new(&ffmpeg).args(["-v", "error", "-i"]).arg(&ours).args(["-f", "f64le", "-"]));
    let samples: Vec<f64> = raw.as_chunks().0.iter().map(|bytes| f64::from_le_bytes(*bytes)).collect();
    run(Command::new(&ffmpeg)
        .args(["-v", "error", "-i"])
        .arg(&wav)
        .args(["-c:a", "libopus", "-b:a", "192k"])
        .arg(&theirs));
    let (info, read) = read_all(&theirs, None).unwrap();
    assert_eq!(info.format, Format::Opus);
    for (who, frames) in [("ours", samples.as_chunks::<2>().0), ("theirs", &read[..])] {
        assert_eq!(frames.len(), FRAMES, "{who}");
        let (lag, db) = lag_and_error_db(frames);
        assert!(lag == 0 && db < -25.0, "{who}: lag {lag}, error {db:.1} dB");
    }
}

#[test]
fn we_read_what_ffmpeg_writes() {
    let Some(ffmpeg) = program("FAIRPRINT_FFMPEG") else { return };
    let folder = tempfile::tempdir().unwrap();
    let (exact, lossy) = (folder.path().join("exact.wav"), folder.path().join("lossy.wav"));
    for (path, frames) in [(&exact, noise()), (&lossy, tones())] {
        let format = FileFormat::Wav(WavSample::Float64);
        let mut writer = create(path, &format, RATE_HZ, None, &Metadata::default()).unwrap();
        writer.write(&frames).unwrap();
        writer.finish().unwrap();
    }
    let make = |source: &Path, name: &str, arguments: &str| {
        let path = folder.path().join(name);
        let mut command = Command::new(&ffmpeg);
        command.args(["-v", "error", "-i"]).arg(source).args(arguments.split(' ')).arg(&path);
        run(&mut command);
        path
    };
    for (name, arguments) in [
        ("long.wav", "-c:a pcm_s24le -rf64 always"),
        ("a.aiff", "-c:a pcm_s24be"),
        ("a.caf", "-c:a alac"),
        ("a.m4a", "-c:a alac"),
        ("a.flac", "-sample_fmt s16"),
    ] {
        check_read(&make(&exact, name, arguments), 2, true);
    }
    assert_eq!(Reader::open(&folder.path().join("long.wav")).unwrap().info().format, Format::Rf64);
    for (name, arguments) in [
        ("b.m4a", "-c:a aac -b:a 192k"),
        ("fast.m4a", "-c:a aac -b:a 256k -movflags +faststart"),
        ("cbr.mp3", "-b:a 128k"),
        ("vbr.mp3", "-q:a 2"),
        ("b.ogg", "-c:a libvorbis -q:a 6"),
    ] {
        check_read(&make(&lossy, name, arguments), 2, false);
    }
}

#[test]
fn rate_conversion_agrees_with_a_converter_of_others() {
    let Some(ffmpeg) = program("FAIRPRINT_FFMPEG") else { return };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tones.wav");
    let mut writer = create(&path, &FileFormat::Wav(WavSample::Float64), RATE_HZ, None, &Metadata::default()).unwrap();
    writer.write(&tones()).unwrap();
    writer.finish().unwrap();
    // A long filter of another design: both must give the band-limited signal, at the same times.
    let filter = "aresample=48000:filter_size=512:exact_rational=1:cutoff=0.95:linear_interp=0";
    let mut command = Command::new(&ffmpeg);
    command.args(["-v", "error", "-i"]).arg(&path).args(["-af", filter, "-f", "f64le", "-"]);
    let theirs = run(&mut command);
    let theirs: Vec<f64> = theirs.as_chunks().0.iter().map(|bytes| f64::from_le_bytes(*bytes)).collect();
    let mut source = open_at(&path, 48_000).unwrap();
    let mut ours = vec![[0.0; 2]; source.frames() as usize];
    assert_eq!(source.read(&mut ours).unwrap(), ours.len());
    let differences = theirs.as_chunks::<2>().0.iter().zip(&ours).skip(2000).take(ours.len() - 4000);
    let worst = differences.map(|(a, b)| (a[0] - b[0]).abs().max((a[1] - b[1]).abs())).fold(0.0, f64::max);
    assert!(units::db_from_gain(worst) < -80.0, "{:.1} dB", units::db_from_gain(worst));
    fs::remove_file(&path).unwrap();
}
