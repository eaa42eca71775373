//! Tests of what a comparison hears of tone, width, dynamics and attacks, against closed forms.

use std::f64::consts::TAU;

use super::*;
use crate::signals::{music, noise, tone};
use crate::spectrum::{THIRD_OCTAVES_HZ, exact_centre_hz};

const RATE_HZ: f64 = 48_000.0;

/// A tone at the exact centre of every third octave of IEC 61260-1 from 31.5 Hz to 16 kHz, each at a level of its own.
fn tones(level_db: impl Fn(f64) -> f64, delay: f64, secs: f64) -> Vec<Frame> {
    let bands = THIRD_OCTAVES_HZ.iter().enumerate().filter(|(_, hz)| (31.5..=16_000.0).contains(*hz));
    let tones: Vec<[f64; 2]> = bands
        .map(|(band, nominal_hz)| [exact_centre_hz(band), 0.02 * units::gain_from_db(level_db(*nominal_hz))])
        .collect();
    let at = |n: usize| {
        let time = (n as f64 - delay) / RATE_HZ;
        tones.iter().enumerate().map(|(i, [hz, gain])| gain * libm::sin(TAU * hz * time + 2.4 * i as f64)).sum::<f64>()
    };
    (0..(secs * RATE_HZ) as usize).map(|n| [at(n); 2]).collect()
}

/// One decibel an octave, between 100 Hz and 10 kHz; level beyond.
fn tilt_db(hz: f64) -> f64 {
    libm::log2(hz.clamp(100.0, 10_000.0) / 1000.0)
}

#[test]
fn a_tilt_and_a_gain_come_apart() {
    let a = tones(|_| 0.0, 0.0, 5.0);
    let b = tones(|hz| 5.0 + tilt_db(hz), 0.0, 5.0);
    let found = compare(&a, &b, RATE_HZ);
    let gain_db = found.gain_db.expect("loud");
    for (hz, db) in &found.matched_third_octave_db {
        if (31.5..=16_000.0).contains(hz) {
            let expected = 5.0 + tilt_db(*hz) + gain_db;
            assert!((db.expect("loud") - expected).abs() < 0.03, "{hz}: {db:?} {expected}");
        }
    }
    // The 5 dB are gone, and the tilt of 6.6 dB stands: less below, more above.
    let ends: Vec<&str> = ["less at", "more at"].into_iter().filter(|end| found.statement.contains(end)).collect();
    assert_eq!(ends.len(), 2, "{}", found.statement);
    assert!(found.statement.contains("LU louder than A; at matched loudness it has"), "{}", found.statement);
    // Two gains alone: nothing but loudness is left.
    let louder: Vec<Frame> = a.iter().map(|x| x.map(|x| 1.995_262_315 * x)).collect();
    let found = compare(&a, &louder, RATE_HZ);
    let worst =
        found.matched_third_octave_db.iter().filter_map(|(_, db)| *db).fold(0.0, |most: f64, db| most.max(db.abs()));
    assert!(worst < 1e-6 && (found.gain_db.expect("loud") + 6.0).abs() < 1e-6, "{worst}");
}

#[test]
fn a_copy_late_by_a_fraction_of_a_sample_cancels() {
    let (a, b) = (tones(|_| 0.0, 0.0, 4.0), tones(|_| -3.0, 0.3, 4.0));
    let found = compare(&a, &b, RATE_HZ);
    assert!((found.delay_samples.expect("related") - 0.3).abs() < 1e-4, "{:?}", found.delay_samples);
    // What is left is the cut of the tones at both ends; inside them the null reaches -90 dB (see `null`).
    assert!(found.null_depth_db.expect("related") < -60.0, "{:?}", found.null_depth_db);
    assert!((found.gain_db.expect("loud") - 3.0).abs() < 0.01);
}

#[test]
fn width_by_band_has_its_closed_form() {
    // Mid a sine, side the cosine at another level: side over mid is that level, in each of two bands.
    let wide = |at_500_db: f64, at_4k_db: f64| -> Vec<Frame> {
        let bands = [(500.0, units::gain_from_db(at_500_db)), (4000.0, units::gain_from_db(at_4k_db))];
        let frame = |n: usize| {
            bands.iter().fold([0.0; 2], |[l, r], (hz, side)| {
                let angle = TAU * hz * n as f64 / RATE_HZ;
                let (m, s) = (0.1 * libm::sin(angle), 0.1 * side * libm::cos(angle));
                [l + m + s, r + m - s]
            })
        };
        (0..4 * 48_000).map(frame).collect()
    };
    let found = compare(&wide(-12.0, -10.0), &wide(-12.0, -4.0), RATE_HZ);
    let at = |hz: f64| found.width_third_octave_db.iter().find(|band| band.hz == hz).expect("a band");
    let near = |value: Option<f64>, db: f64| (value.expect("defined") - db).abs() < 0.01;
    assert!(near(at(500.0).a_db, -12.0) && near(at(500.0).difference_db, 0.0), "{:?}", at(500.0));
    assert!(near(at(4000.0).b_db, -4.0) && near(at(4000.0).difference_db, 6.0), "{:?}", at(4000.0));
    // Over the whole (0.0631 + 0.1) / 2 against (0.0631 + 0.3981) / 2: 4.5 dB.
    assert!(found.statement.contains("is 4.5 dB wider (side to mid)"), "{}", found.statement);
}

#[test]
fn width_in_one_place_is_told_where_the_whole_does_not_tell() {
    let a = noise(6 * 48_000, 0.05, 8);
    let (mut low, mut b) = ([0.0; 2], Vec::new());
    let pole = libm::exp(-TAU * 500.0 / RATE_HZ);
    for x in &a {
        let side = (x[0] - x[1]) / 2.0;
        low[0] += (1.0 - pole) * (side - low[0]);
        low[1] += (1.0 - pole) * (low[0] - low[1]);
        b.push([x[0] - low[1], x[1] + low[1]]);
    }
    let statement = compare(&a, &b, RATE_HZ).statement;
    assert!(statement.contains("dB narrower at ") && statement.contains("(side to mid)"), "{statement}");
}

#[test]
fn crest_and_psr_over_time_follow_the_signal_in_step() {
    // Six seconds of a sine, six of a square wave of the same level; the copy lies 4800 frames behind. A noise at -60 dB
    // on both, so that there is one delay only.
    let ticks = noise(12 * 48_000, 0.0003, 5);
    let frames: Vec<Frame> = tone(RATE_HZ, 1000.0, -12.0, 12.0)
        .iter()
        .zip(&ticks)
        .enumerate()
        .map(|(n, (x, tick))| {
            let level = if n < 6 * 48_000 { x[0] } else { 0.25 * x[0].signum() };
            [level + tick[0], level + tick[0]]
        })
        .collect();
    let mut late = vec![units::SILENCE; 4800];
    late.extend_from_slice(&frames);
    let found = compare(&frames, &late, RATE_HZ);
    assert_eq!(found.delay_samples, Some(4800.0));
    let seconds: Vec<f64> = found.over_time.moments.iter().map(|moment| moment.secs).collect();
    assert_eq!(seconds, [3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0]);
    for moment in &found.over_time.moments {
        let [a, b] = moment.crest_db;
        assert_eq!(a, b, "in step at {}", moment.secs);
        // A sine's crest is 3.01 dB, a square wave's 0; between them the windows hold both.
        let expected = if moment.secs <= 6.0 { 3.0103 } else { 0.0 };
        if moment.secs <= 6.0 || moment.secs >= 9.0 {
            assert!((a.expect("loud") - expected).abs() < 0.1, "{moment:?}");
        }
    }
    // A late programme from the other side: its time is A's.
    let found = compare(&late, &frames, RATE_HZ);
    assert_eq!((found.delay_samples, found.over_time.moments[0].secs), (Some(-4800.0), 3.1));
}

#[test]
fn quiet_moments_do_not_count_in_medians() {
    // Ten seconds of sine at -12 dBFS, thirty of noise at -50: three seconds of a sine have a crest of 3 dB, noise 12 and more.
    let mut frames = tone(RATE_HZ, 1000.0, -12.0, 10.0);
    frames.extend(noise(30 * 48_000, units::gain_from_db(-50.0), 6));
    let course = Course::of(&frames, RATE_HZ);
    assert!((course.median_crest_db().expect("loud") - 3.01).abs() < 0.3, "{:?}", course.median_crest_db());
    assert!(course.median_psr_db().expect("loud").abs() < 0.3, "{:?}", course.median_psr_db());
    assert_eq!(Course::of(&frames[..48_000], RATE_HZ).median_psr_db(), None, "shorter than three seconds");
}

#[test]
fn softened_attacks_are_told() {
    // Notes whose first ten milliseconds lose 4 dB.
    let a = music(RATE_HZ, 8.0, 9);
    let held = units::gain_from_db(-4.0);
    let note = (0.25 * RATE_HZ) as usize;
    let b: Vec<Frame> =
        a.iter().enumerate().map(|(n, x)| if n % note < 720 { x.map(|x| held * x) } else { *x }).collect();
    let found = compare(&a, &b, RATE_HZ);
    let change = found.over_time.onset_difference_db.expect("notes");
    assert!((change + 4.0).abs() < 0.3, "{change}");
    assert!(found.statement.contains("softer onsets"), "{}", found.statement);
}

#[test]
fn what_is_no_number_counts_as_silence() {
    let mut a = music(RATE_HZ, 4.0, 2);
    a[9000] = [f64::NAN, f64::INFINITY];
    let found = compare(&a, &a, RATE_HZ);
    assert_eq!(found.statement, "A and B are the same to the bit.");
    let mut ear = Ear::new(RATE_HZ);
    ear.push(&a);
    assert!(ear.finish().course.median_psr_db().expect("loud").is_finite());
}
