//! Tests of the gate.

use sheet::FileFormat;

use super::*;

fn spec(format: FileFormat) -> FileSpec {
    FileSpec { format, rate_hz: None, place: units::Place::of("", 0..0) }
}

fn info() -> media::Info {
    media::Info {
        format: media::Format::Wav,
        rate_hz: 48_000,
        channels: 2,
        frames: 480_000,
        bits: Some(24),
        float: false,
        lossy: false,
        bwf: None,
        track_names: Vec::new(),
        tags: vec![("title".to_owned(), "Lantern Weather".to_owned())],
    }
}

fn found(read: &ReadBack, format: FileFormat) -> Vec<Problem> {
    let spec = spec(format);
    let title = "Lantern Weather";
    of_file(&Delivered { at: "x", spec: &spec, print: (480_000, 48_000), read, title })
}

fn codes(read: &ReadBack, format: FileFormat) -> Vec<&'static str> {
    found(read, format).into_iter().map(|finding| finding.code).collect()
}

#[test]
fn what_is_found_at_an_end_has_its_time() {
    let wav = FileFormat::Wav { bits: 24, dither: Dither::Tpdf };
    let edges = Edges { head_dbfs: Some(-20.0), early_dbfs: Some(-18.0), tail_dbfs: Some(-30.0) };
    let read = ReadBack { info: info(), frames: 480_000, sounds: Some((0, 191_999)), edges };
    let times: Vec<(&str, Option<u64>)> = found(&read, wav).iter().map(|found| (found.code, found.at_ms)).collect();
    assert_eq!(times, [("head-cut", Some(0)), ("tail-cut", Some(10_000)), ("long-silence", Some(4_000))]);
}

#[test]
fn a_file_is_held_to_its_ends_length_labels_and_dither() {
    let wav = FileFormat::Wav { bits: 24, dither: Dither::Tpdf };
    let whole = ReadBack { info: info(), frames: 480_000, sounds: Some((4800, 470_000)), edges: Edges::default() };
    assert_eq!(codes(&whole, wav), [""; 0]);
    let level = |head, early, tail| Edges { head_dbfs: Some(head), early_dbfs: Some(early), tail_dbfs: Some(tail) };
    assert_eq!(codes(&ReadBack { edges: level(-20.0, -18.0, -30.0), ..whole.clone() }, wav), ["head-cut", "tail-cut"]);
    // An attack grows, and a tail is allowed to end in noise.
    assert_eq!(codes(&ReadBack { edges: level(-45.0, -18.0, -70.0), ..whole.clone() }, wav), [""; 0]);
    assert_eq!(codes(&ReadBack { frames: 480_010, ..whole.clone() }, wav), ["length-differs"]);
    assert_eq!(codes(&ReadBack { sounds: Some((288_000, 470_000)), ..whole.clone() }, wav), ["long-silence"]);
    assert_eq!(codes(&whole, FileFormat::Wav { bits: 16, dither: Dither::None }), ["no-dither"]);
    let lossy = media::Info { lossy: true, ..info() };
    assert_eq!(codes(&ReadBack { info: lossy, frames: 481_000, ..whole.clone() }, wav), [""; 0]);
    let nameless = media::Info { tags: Vec::new(), ..info() };
    assert_eq!(codes(&ReadBack { info: nameless, ..whole }, wav), ["label-lost"]);
}

#[test]
fn a_set_is_finished_only_when_no_failure_stands_and_nothing_is_left_out() {
    let fail = Problem::new(Severity::Fail, "clipped", "print a", String::new(), String::new());
    let warn = Problem::new(Severity::Warn, "dc", "print a", String::new(), String::new());
    let stands = verdict(&[warn.clone(), fail], 0, Vec::new());
    assert!(!stands.finished && stands.sentence.contains("one finding must be mended"), "{stands:?}");
    assert_eq!(stands.stands, [["clipped".to_owned(), "print a".to_owned()]]);
    let ready = verdict(std::slice::from_ref(&warn), 1, Vec::new());
    assert!(
        ready.finished && ready.sentence == "Ready to hand over, with one finding accepted and one warning to look at.",
        "{ready:?}"
    );
    let partial = verdict(&[warn], 0, vec!["for approval".to_owned()]);
    assert!(!partial.finished && partial.sentence.contains("without for approval"), "{partial:?}");
}

#[test]
fn files_that_start_elsewhere_than_the_first_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let mut random = chance::Random(1);
    let frames = random.signal(288_000, 0.1);
    let mut late = vec![units::SILENCE; 7];
    late.extend_from_slice(&frames);
    let other = random.signal(288_000, 0.1);
    let record = |name: &str, frames: &[Frame]| {
        let format = media::FileFormat::Wav(media::WavSample::Int24);
        let path = folder.path().join(name);
        media::write_all(&path, &format, 48_000, frames, &media::Metadata::default()).unwrap();
        FileRecord {
            name: name.to_owned(),
            kind: None,
            format: "WAV".to_owned(),
            path: path.display().to_string(),
            sha256: String::new(),
            frames: frames.len() as u64,
            lossy: false,
            loudest_secs: Some(3.0),
            measures: measure::Measures::default(),
            findings: Vec::new(),
            realtime_factor: 1.0,
        }
    };
    let softer: Vec<Frame> = frames.iter().map(|x| x.map(|x| -0.3 * x)).collect();
    let files = [record("a", &frames), record("b", &softer), record("c", &late), record("d", &other)];
    let found = of_sync(&files, 2, &|file| (&file.path).into()).unwrap();
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].at.starts_with('c') && found[0].message.contains("7.0 samples behind a"), "{found:?}");
}
