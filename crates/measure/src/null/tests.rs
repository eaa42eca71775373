//! Tests of the null, against figures from outside.

use std::f64::consts::TAU;

use super::*;
use crate::align::{Polarity, align};
use crate::signals::{music, noise};

/// A tone whose length is a whole number of periods, `delay` frames late.
fn tone(hz: f64, delay: f64, gain: f64) -> Vec<Frame> {
    (0..48_000).map(|n| [gain * libm::sin(TAU * hz * (n as f64 - delay) / 48_000.0); 2]).collect()
}

fn depth(a: &[Frame], b: &[Frame]) -> f64 {
    null(a, b, &Alignment::NONE, 48_000.0).depth_db.expect("defined")
}

#[test]
fn depth_has_its_closed_form() {
    // Two equal tones a time t apart leave 2 sin(pi f t) of one; a gain error g leaves |g - 1|.
    let table = [(1000.0, 0.01, -57.7), (10_000.0, 0.01, -37.7), (1000.0, 1.0, -17.7)];
    for (hz, delay, depth_db) in table {
        let read = depth(&tone(hz, 0.0, 1.0), &tone(hz, delay, 1.0));
        assert!((read - depth_db).abs() < 0.05, "{hz} {delay}: {read}");
    }
    for (gain_db, depth_db) in [(0.01, -58.8), (0.1, -38.7), (1.0, -18.3)] {
        // The table is relative to the louder signal's reference, gain 1.
        let read = depth(&tone(1000.0, 0.0, units::gain_from_db(gain_db)), &tone(1000.0, 0.0, 1.0));
        assert!((read - depth_db).abs() < 0.05, "{gain_db}: {read}");
    }
}

#[test]
fn equal_signals_null_to_the_bit() {
    let a = music(48_000.0, 2.0, 1);
    assert_eq!(depth(&a, &a), PERFECT_DB);
    let late: Vec<Frame> =
        [units::SILENCE; 77].into_iter().chain(a.iter().map(|x| [-0.5 * x[0], -0.5 * x[1]])).collect();
    let found = align(&a, &late, 1000).expect("found");
    let read = null(&a, &late, &found, 48_000.0).depth_db.expect("defined");
    assert!(read < -250.0, "{read} {found:?}");
}

#[test]
fn a_fractional_delay_nulls_up_to_the_interpolators_edge() {
    // A sum of tones up to 0.42 of the rate, exact at any time.
    let x = |delay: f64| -> Vec<Frame> {
        let tones: Vec<f64> = (1..40).map(|k| 500.0 * f64::from(k) + 13.0).collect();
        let at =
            |n: usize| tones.iter().map(|hz| 0.02 * libm::sin(TAU * hz * (n as f64 - delay) / 48_000.0 + hz)).sum();
        (0..48_000).map(|n| [at(n); 2]).collect()
    };
    let (a, b) = (x(0.0), x(5.4321));
    let found = align(&a, &b, 100).expect("found");
    // The ends, where the delayed signal draws on silence before its start, are left out.
    let inner = null(&a, &b[200..47_000], &Alignment { delay_samples: found.delay_samples - 200.0, ..found }, 48_000.0);
    let read = inner.depth_db.expect("defined");
    assert!(read < -90.0, "{read} {found:?}");
}

#[test]
fn bands_tell_where_they_differ() {
    // White noise, of which the copy has lost a tone's band: add 1 kHz to one of them.
    let a = noise(96_000, 0.1, 4);
    let b: Vec<Frame> =
        a.iter().zip(tone(1000.0, 0.0, 0.1).iter().cycle()).map(|(a, t)| [a[0] + t[0], a[1] + t[1]]).collect();
    let bands = null(&a, &b, &Alignment::NONE, 48_000.0).third_octave_db;
    let at = |hz: f64| bands.iter().find(|(centre, _)| *centre == hz).and_then(|(_, db)| *db).expect("defined");
    assert!(at(1000.0) > -2.0 && at(250.0) < -25.0 && at(8000.0) < -40.0, "{} {}", at(1000.0), at(250.0));
}

#[test]
fn silence_has_no_depth() {
    let (a, silence) = (noise(1000, 0.1, 1), vec![units::SILENCE; 1000]);
    assert_eq!(null(&a, &silence, &Alignment::NONE, 48_000.0).depth_db, None);
    let apart = Alignment { delay_samples: 5000.0, polarity: Polarity::Inverted, ..Alignment::NONE };
    assert_eq!(null(&a, &a, &apart, 48_000.0).frames, 0);
}
