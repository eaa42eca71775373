//! Tests of the fair comparison, against figures from outside.

use super::*;
use crate::signals::music;
use chance::Random;

const RATE_HZ: f64 = 48_000.0;

fn scaled(frames: &[Frame], gain: f64) -> Vec<Frame> {
    frames.iter().map(|x| x.map(|x| gain * x)).collect()
}

#[test]
fn json_has_the_names_that_scripts_read() {
    let a = music(RATE_HZ, 5.0, 1);
    let json = serde_json::to_value(compare(&a, &scaled(&a, 0.5), RATE_HZ)).expect("serialises");
    for name in ["delay_samples", "gain_db", "polarity", "null_depth_db"] {
        assert!(!json[name].is_null(), "{name}");
    }
    assert_eq!(json["polarity"], "normal");
    for side in ["a", "b", "difference"] {
        for name in ["integrated_lufs", "true_peak_dbtp", "plr_db", "third_octave_db"] {
            assert!(!json[side][name].is_null(), "{side} {name}");
        }
    }
    let nothing = compare(&a, &vec![units::SILENCE; 48_000], RATE_HZ);
    let json = serde_json::to_value(&nothing).expect("serialises");
    for name in ["delay_samples", "gain_db", "polarity", "null_depth_db"] {
        assert!(json[name].is_null(), "{name}");
    }
    assert_eq!(nothing.statement, "B is silent or too short to compare.");
}

#[test]
fn a_louder_inverted_late_copy_is_matched() {
    let a = music(RATE_HZ, 6.0, 4);
    let mut b = vec![units::SILENCE; 1234];
    b.extend(scaled(&a, -units::gain_from_db(4.0)));
    let found = compare(&a, &b, RATE_HZ);
    assert_eq!((found.delay_samples, found.polarity), (Some(1234.0), Some(Polarity::Inverted)));
    assert!(found.null_depth_db.expect("defined") < -200.0);
    // Matched within 0.05 LU, heard again after applying the gain.
    let gain = units::gain_from_db(found.gain_db.expect("defined"));
    let matched = measure(&scaled(&b, gain), RATE_HZ).measures.integrated_lufs.expect("loud");
    assert!((matched - found.a.integrated_lufs.expect("loud")).abs() < 0.05);
    assert_eq!(found.statement, "B is 4.0 LU louder than A and otherwise much like A.");
}

#[test]
fn the_largest_difference_comes_first() {
    let a = music(RATE_HZ, 8.0, 3);
    let same = compare(&a, &a, RATE_HZ);
    assert_eq!((same.statement.as_str(), same.is_the_same()), ("A and B are the same to the bit.", true));
    // Limited hard: denser. Then the side turned up 6 dB: wider.
    let dense: Vec<Frame> = a.iter().map(|x| x.map(|x| (4.0 * x).clamp(-0.3, 0.3))).collect();
    let statement = compare(&a, &dense, RATE_HZ).statement;
    assert!(statement.contains("denser (peak to loudness, median)"), "{statement}");
    let wide: Vec<Frame> = a.iter().map(|[l, r]| [0.5 * (l + r) + (l - r), 0.5 * (l + r) - (l - r)]).collect();
    let statement = compare(&a, &wide, RATE_HZ).statement;
    assert!(statement.contains("is 6.0 dB wider (side to mid)"), "{statement}");
}

#[test]
fn remarks_are_sorted_by_weight_and_leave_out_what_none_can_hear() {
    let a = music(RATE_HZ, 5.0, 4);
    let mut found = compare(&a, &a, RATE_HZ);
    found.width_difference_db = Some(-1.3);
    found.over_time.median_psr_db = [Some(12.5), Some(10.0)];
    found.matched_third_octave_db[17].1 = Some(2.04);
    found.matched_third_octave_db[0].1 = Some(9.0);
    found.a.third_octave_db[0].1 = Some(-140.0);
    found.b.third_octave_db[0].1 = Some(-131.0);
    let dense = "is 2.5 dB denser (peak to loudness, median)";
    let tone = "has 2.0 dB more around 1 kHz";
    let narrow = "is 1.3 dB narrower (side to mid)";
    assert_eq!(found.sentence(), format!("B is as loud as A; it {dense}, {tone} and {narrow}."));
    found.difference.integrated_lufs = Some(-1.5);
    found.over_time.median_psr_db = [None, None];
    found.difference.plr_db = Some(0.1);
    found.width_difference_db = None;
    assert_eq!(found.sentence(), format!("B is 1.5 LU quieter than A; at matched loudness it {tone}."));
}

#[test]
fn a_lifted_band_is_named() {
    let mut random = Random(3);
    let a: Vec<Frame> = (0..48_000 * 6).map(|_| [0.05 * random.normal(), 0.05 * random.normal()]).collect();
    // A resonator at 2 kHz, added: about 6 dB in that band.
    let (omega, r) = (std::f64::consts::TAU * 2000.0 / RATE_HZ, 0.97);
    let mut b = a.clone();
    for c in 0..2 {
        let (mut y1, mut y2) = (0.0, 0.0);
        for (x, out) in a.iter().zip(&mut b) {
            let y = (1.0 - r) * x[c] + 2.0 * r * libm::cos(omega) * y1 - r * r * y2;
            (y1, y2) = (y, y1);
            out[c] = x[c] + 0.8 * y;
        }
    }
    let statement = compare(&a, &b, RATE_HZ).statement;
    assert!(statement.contains("dB more at 800 Hz to 2 kHz"), "{statement}");
}

#[test]
fn unrelated_programmes_are_not_nulled() {
    let found = compare(&music(RATE_HZ, 4.0, 5), &crate::signals::noise(200_000, 0.1, 6), RATE_HZ);
    assert_eq!((found.delay_samples, found.polarity, found.null_depth_db), (None, None, None));
    assert!(found.gain_db.is_some());
}

#[test]
fn what_lies_under_the_threshold_of_hearing_is_not_spoken_of() {
    // ISO 226:2003, Table 1: 78.5 dB at 20 Hz, 44.0 dB at 50 Hz, 2.4 dB at 1 kHz. With the loudness at 80 dB those are
    // 1.5, 36 and 77.6 dB under it; the last is ruled by the 50 dB under the strongest band, and 20 kHz is never spoken of.
    let mut measures = measure(&music(RATE_HZ, 4.0, 7), RATE_HZ).measures;
    measures.integrated_lufs = Some(-14.0);
    measures.third_octave_db[12].1 = Some(-20.0);
    for (band, over_loudness_db, heard) in [
        (0, -1.4, true),
        (0, -1.6, false),
        (4, -35.9, true),
        (4, -36.1, false),
        (17, -55.0, true),
        (17, -57.0, false),
        (29, -20.0, true),
        (30, -20.0, false),
    ] {
        measures.third_octave_db.iter_mut().for_each(|(_, db)| *db = db.map(|db| db.min(-20.0)));
        measures.third_octave_db[band].1 = Some(-14.0 + over_loudness_db);
        assert_eq!(sentence::is_heard(&measures, band), heard, "band {band} at {over_loudness_db}");
    }
}
