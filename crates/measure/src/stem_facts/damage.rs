//! Tests of what tells that a recording was damaged, on constructed cases and on clean ones.

use std::f64::consts::TAU;

use super::*;
use crate::signals::{music, noise, tone};
use chance::Random;

const RATE_HZ: f64 = 48_000.0;

fn facts(frames: &[Frame]) -> StemFacts {
    let mut meter = StemMeter::new(RATE_HZ);
    // In pieces of no particular size.
    frames.chunks(7001).for_each(|piece| meter.push(piece));
    meter.finish()
}

fn plus(frames: &mut [Frame], of: impl Fn(f64) -> f64) {
    for (n, frame) in frames.iter_mut().enumerate() {
        let x = of(n as f64 / RATE_HZ);
        *frame = [frame[0] + x, frame[1] + x];
    }
}

#[test]
fn hum_is_found_under_programme_with_its_level() {
    let clean = music(RATE_HZ, 30.0, 3);
    let mut hums = clean.clone();
    plus(&mut hums, |t| 0.001 * libm::sin(TAU * 60.0 * t));
    let hum = facts(&hums).hum.expect("found");
    assert_eq!((hum.mains_hz, hum.multiples.first()), (60.0, Some(&1)));
    assert!((hum.level_dbfs + 60.0).abs() < 1.0, "{hum:?}");
    let mut hums = clean;
    // As a rectifier gives it, at a mains a little slow.
    plus(&mut hums, |t| 0.003 * libm::sin(TAU * 99.9 * t) + 0.002 * libm::sin(TAU * 199.8 * t));
    let hum = facts(&hums).hum.expect("found");
    assert_eq!((hum.mains_hz, &hum.multiples[..]), (50.0, &[2, 4][..]));
}

#[test]
fn notes_noise_and_drones_do_not_hum() {
    for seed in 1..6 {
        assert_eq!(facts(&music(RATE_HZ, 20.0, seed)).hum, None);
        assert_eq!(facts(&noise(960_000, 0.1, seed)).hum, None);
    }
    // The notes nearest to mains and its multiples, held for twenty seconds: G1, B1, B2, D3, F#3.
    for hz in [48.999, 61.735, 123.471, 146.832, 184.997] {
        assert_eq!(facts(&tone(RATE_HZ, hz, -12.0, 20.0)).hum, None, "{hz}");
    }
}

#[test]
fn a_click_is_found_where_it_is() {
    for (seed, height) in [(1, 0.3), (2, 0.15), (3, 0.1)] {
        let mut frames = music(RATE_HZ, 4.0, seed);
        frames[100_000][0] += height;
        frames[100_001][0] -= height / 2.0;
        let found = facts(&frames);
        assert_eq!((found.clicks.count, found.edits.count), (1, 0), "{height}: {:?}", found.clicks);
        let click = found.clicks.listed[0];
        assert!(click.frame.abs_diff(100_000) < 3, "{click:?}");
        assert!((click.jump_dbfs - units::db_from_gain(height)).abs() < 2.0, "{click:?}");
    }
}

#[test]
fn edits_without_a_fade_are_found() {
    // Half a period of 100 Hz is left out: the wave goes on elsewhere.
    let mut jumps = tone(RATE_HZ, 100.0, -12.0, 2.0);
    jumps.drain(40_120..40_300);
    let found = facts(&jumps);
    assert_eq!((found.clicks.count, found.edits.count), (0, 1), "{found:?}");
    assert!(found.edits.listed[0].frame.abs_diff(40_120) < 3);
    // Sound stops within a sample.
    let mut stops = noise(96_000, 0.1, 4);
    stops[48_000..].fill(units::SILENCE);
    let found = facts(&stops);
    assert_eq!((found.edits.count, found.edits.listed[0].frame), (1, 48_000), "{found:?}");
}

#[test]
fn waves_that_jump_and_drums_do_not_click() {
    let saw = |hz: f64| (0..96_000).map(move |n| [0.3 * (2.0 * (f64::from(n) * hz / RATE_HZ).fract() - 1.0); 2]);
    for hz in [41.2, 55.0, 220.0] {
        let found = facts(&saw(hz).collect::<Vec<Frame>>());
        assert_eq!((found.clicks.count, found.edits.count), (0, 0), "{hz}");
    }
    // A struck skin with a stick's noise, and noise that decays, four a second.
    let mut random = Random(5);
    let mut drums = vec![units::SILENCE; 192_000];
    for hit in (1000..drums.len() - 12_000).step_by(12_000) {
        for n in 0..12_000 {
            let t = n as f64 / RATE_HZ;
            let skin = 0.5 * libm::exp(-20.0 * t) * libm::sin(TAU * 80.0 * t);
            let stick = 0.2 * random.even() * libm::exp(-300.0 * t);
            drums[hit + n] = [skin + stick; 2];
        }
    }
    let found = facts(&drums);
    assert_eq!((found.clicks.count, found.edits.count), (0, 0), "{:?}", found.clicks);
}

#[test]
fn flat_tops_are_found_below_full_scale() {
    let mut clipped = music(RATE_HZ, 10.0, 6);
    // Clipped at 0.25, turned down by 6 dB, written in 16 bit with dither.
    let mut random = Random(8);
    for x in clipped.iter_mut().flatten() {
        let dither = (random.even() + random.even()) / 2.0;
        *x = ((0.5 * x.clamp(-0.25, 0.25)) * 32_768.0 + dither).round() / 32_768.0;
    }
    let tops = facts(&clipped).flat_tops.expect("found");
    assert!((tops.level_dbfs - units::db_from_gain(0.125)).abs() < 0.02 && tops.count >= 5, "{tops:?}");
    for seed in 1..6 {
        assert_eq!(facts(&music(RATE_HZ, 10.0, seed)).flat_tops, None);
    }
    for hz in [40.0, 100.0, 997.0, 1000.0] {
        assert_eq!(facts(&tone(RATE_HZ, hz, -12.0, 2.0)).flat_tops, None, "{hz}");
    }
}

#[test]
fn a_wall_in_the_treble_is_found_and_a_slope_is_not() {
    let white = noise(480_000, 0.05, 7);
    assert_eq!(facts(&white).cut_off, None);
    // A windowed sinc of 511 taps, 16 kHz: 80 dB down within 500 Hz (Kaiser).
    let beta = crate::sinc::kaiser_beta(80.0);
    let taps: Vec<f64> = (-255..=255)
        .map(f64::from)
        .map(|n| 2.0 / 3.0 * crate::sinc::sinc(2.0 / 3.0 * n) * crate::sinc::kaiser(n / 256.0, beta))
        .collect();
    let cut: Vec<Frame> =
        white[..96_000].windows(taps.len()).map(|x| [x.iter().zip(&taps).map(|(x, w)| x[0] * w).sum(); 2]).collect();
    let wall = facts(&cut).cut_off.expect("found");
    assert!((wall.hz - 16_000.0).abs() < 300.0 && wall.fall_db > 40.0, "{wall:?}");
    // Four poles at 8 kHz fall by 24 dB an octave.
    let mut sloped = white;
    for _ in 0..4 {
        let mut last = units::SILENCE;
        for x in &mut sloped {
            last = [last[0] + 0.65 * (x[0] - last[0]), last[1] + 0.65 * (x[1] - last[1])];
            *x = last;
        }
    }
    assert_eq!(facts(&sloped).cut_off, None);
}

#[test]
fn tuning_is_read_to_a_cent() {
    // I, IV, V in close position, with eight partials each; equal temperament, so closed form.
    for a_hz in [432.0, 440.0, 443.0] {
        let mut frames = vec![units::SILENCE; 12 * 48_000];
        for (bar, chord) in [[0, 4, 7], [5, 9, 12], [7, 11, 14], [0, 4, 7]].iter().enumerate() {
            for note in chord {
                let hz = a_hz * libm::exp2((f64::from(*note) - 12.0) / 12.0);
                for n in 0..3 * 48_000 {
                    let t = n as f64 / RATE_HZ;
                    let partial = |k: i32| libm::sin(TAU * hz * f64::from(k) * t) / f64::from(k * k);
                    let x = 0.05 * libm::exp(-t) * (1..=8).map(partial).sum::<f64>();
                    frames[bar * 3 * 48_000 + n][0] += x;
                    frames[bar * 3 * 48_000 + n][1] += x;
                }
            }
        }
        let tuning = facts(&frames).tuning.expect("it has pitch");
        assert!((tuning::a_hz(tuning.cents) - a_hz).abs() < 0.4, "{a_hz}: {tuning:?}");
        assert!(tuning.agreement > 0.6 && tuning.notes >= 6, "{tuning:?}");
    }
}

#[test]
fn ends_are_measured() {
    let mut frames = noise(48_000, 0.1, 9);
    let edges = facts(&frames).edges;
    assert!((edges.head_dbfs.unwrap() + 20.0).abs() < 1.5 && (edges.tail_dbfs.unwrap() + 20.0).abs() < 1.0);
    frames.extend(vec![units::SILENCE; 480]);
    // All that is left there is the noise's own mean, taken away.
    assert!(facts(&frames).edges.tail_dbfs.is_none_or(|tail| tail < -60.0));
}
