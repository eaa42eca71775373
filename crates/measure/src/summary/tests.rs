//! Tests of the one-pass meter, against figures from outside.

use super::*;
use crate::signals::{music, tone};

#[test]
fn json_has_the_names_that_scripts_read() {
    let measured = measure(&tone(48_000.0, 997.0, -6.0, 4.0), 48_000.0);
    let json = serde_json::to_value(&measured.measures).expect("serialises");
    let names = [
        "integrated_lufs",
        "loudness_range_lu",
        "max_momentary_lufs",
        "max_short_term_lufs",
        "true_peak_dbtp",
        "sample_peak_dbfs",
        "crest_db",
        "plr_db",
        "correlation",
        "third_octave_db",
    ];
    let object = json.as_object().expect("an object");
    assert_eq!(object.len(), names.len());
    for name in names {
        assert!(!object[name].is_null(), "{name}");
    }
    assert_eq!(object["third_octave_db"][17][0], 1000.0);
    assert_eq!(serde_json::from_value::<Measures>(json).expect("reads back"), measured.measures);
}

#[test]
fn a_tone_reads_its_closed_forms() {
    let m = measure(&tone(48_000.0, 997.0, -6.0, 4.0), 48_000.0).measures;
    // 997 Hz at 0 dBFS in both channels reads 0.00 LUFS (BS.1770-5); a sine's crest factor is 10 log10 2.
    let expected = [
        (m.integrated_lufs, -6.0),
        (m.crest_db, 3.0103),
        (m.true_peak_dbtp, -6.0),
        (m.plr_db, 0.0),
        (m.correlation, 1.0),
    ];
    for (figure, expected) in expected {
        assert!((figure.expect("defined") - expected).abs() < 0.005, "{figure:?} {expected}");
    }
}

#[test]
fn silence_is_null() {
    let measured = measure(&vec![units::SILENCE; 96_000], 48_000.0);
    let json = serde_json::to_value(&measured.measures).expect("serialises");
    for (name, value) in json.as_object().expect("an object") {
        assert!(value.is_null() || name == "third_octave_db", "{name}: {value}");
    }
    assert!(measured.measures.third_octave_db.iter().all(|(_, db)| db.is_none()));
    assert!(measure(&[], 44_100.0).measures.true_peak_dbtp.is_none());
}

#[test]
fn faulty_samples_are_counted_and_taken_as_silence() {
    let mut frames = music(48_000.0, 2.0, 1);
    frames[50_000][1] = f64::NAN;
    frames[60_000] = [f64::INFINITY, f64::NEG_INFINITY];
    let measured = measure(&frames, 48_000.0);
    assert_eq!(measured.non_finite, Some(NonFinite { samples: 3, first_frame: 50_000 }));
    assert!(measured.measures.integrated_lufs.expect("still measured").is_finite());
    assert!(measured.measures.true_peak_dbtp.expect("still measured").is_finite());
}

#[test]
fn twenty_fresh_runs_agree_for_any_cut() {
    let frames = music(44_100.0, 4.0, 2);
    let whole = measure(&frames, 44_100.0);
    for run in 1..=20 {
        let mut meter = Meter::new(44_100.0);
        frames.chunks(run * 211).for_each(|chunk| meter.push(chunk));
        let again = meter.finish();
        assert_eq!(again.measures, whole.measures);
        assert_eq!(again.loudness_history, whole.loudness_history);
        assert_eq!((again.true_peaks, again.dc, again.stereo), (whole.true_peaks, whole.dc, whole.stereo));
    }
}

#[test]
fn true_peak_is_never_below_sample_peak() {
    for seed in 0..10 {
        let m = measure(&music(48_000.0, 1.0, seed), 48_000.0).measures;
        assert!(m.true_peak_dbtp >= m.sample_peak_dbfs);
    }
}

#[test]
fn the_louder_channel_gives_the_peaks() {
    for (left, right) in [(0.5, 1.0), (1.0, 0.5)] {
        let frames: Vec<Frame> = tone(48_000.0, 997.0, 0.0, 1.0).iter().map(|x| [left * x[0], right * x[1]]).collect();
        let m = measure(&frames, 48_000.0).measures;
        assert!(m.true_peak_dbtp.expect("a peak").abs() < 0.01 && m.sample_peak_dbfs.expect("a peak").abs() < 0.01);
    }
}
