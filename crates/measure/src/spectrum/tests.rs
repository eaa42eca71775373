//! Tests of the spectrum, against figures from outside.

use std::f64::consts::TAU;

use super::*;
use crate::signals::{noise, tone};
use chance::Random;

fn read(frames: &[Frame], rate_hz: f64) -> Spectrum {
    let mut meter = SpectrumMeter::new(rate_hz);
    meter.push(frames);
    meter.finish()
}

#[test]
fn centres_are_those_of_the_base_ten_system() {
    // IEC 61260-1: exact centres 1000 * 10^(n/10) Hz; the nominal ones are rounded from them by at most 1.3 %.
    for (band, nominal_hz) in THIRD_OCTAVES_HZ.iter().enumerate() {
        assert!((exact_centre_hz(band) / nominal_hz - 1.0).abs() < 0.013, "{nominal_hz}");
    }
    assert!((exact_centre_hz(17) - 1000.0).abs() < 1e-9);
    assert!((exact_centre_hz(20) - 1995.262_315).abs() < 1e-6);
}

#[test]
fn a_tone_at_a_centre_reads_in_its_band_alone() {
    // A full-scale sine has the mean square 1/2.
    for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
        for band in 0..31 {
            // Long enough that the tone's hard ends, which are no part of it, do not count.
            let secs = if band < 6 { 16.0 } else { 4.0 };
            let levels = read(&tone(rate_hz, exact_centre_hz(band), 0.0, secs), rate_hz).third_octave_db();
            let Some(own) = levels[band].1 else {
                assert!(rate_hz < 45_000.0 && band == 30, "only 20 kHz at 44.1 kHz reaches above half the rate");
                continue;
            };
            assert!((own + 3.0103).abs() < 0.02, "{rate_hz} {band}: {own}");
            for (other, (_, db)) in levels.iter().enumerate().filter(|(other, _)| *other != band) {
                // What leaks further is the hard start and end of the tone.
                let least = if other.abs_diff(band) == 1 { 20.0 } else { 36.0 };
                assert!(db.is_none_or(|db| db < own - least), "{band} in {other}: {db:?}");
            }
        }
    }
}

#[test]
fn white_noise_rises_by_a_decibel_a_band() {
    // Closed form: a share of the mean square as large as the band's share of half the sample rate.
    let (rate_hz, secs) = (48_000.0, 60.0);
    let spectrum = read(&noise((rate_hz * secs) as usize, 0.1, 5), rate_hz);
    for (band, (hz, db)) in spectrum.third_octave_db().into_iter().enumerate() {
        let width_hz = exact_centre_hz(band) * (libm::pow(10.0, 0.05) - libm::pow(10.0, -0.05));
        let expected = -20.0 + units::db_from_power(width_hz / (rate_hz / 2.0));
        // Four standard deviations of an average of both channels.
        let tolerance = 4.0 * 4.34 / (2.0 * width_hz * secs).sqrt();
        let db = db.expect("a level");
        assert!((db - expected).abs() < tolerance, "{hz}: {db} {expected} +-{tolerance}");
    }
}

#[test]
fn pink_noise_is_level_in_third_octaves() {
    // Equal sines at even steps of log f, four a band: the power density of pink noise, and each band holds the same.
    let (rate_hz, a_band, amplitude) = (48_000.0, 4, 0.01);
    let mut random = Random(8);
    let mut frames = vec![units::SILENCE; 48_000 * 8];
    for k in 0..31 * a_band {
        let decades = -1.75 + (f64::from(k) + 0.5) / (10.0 * f64::from(a_band));
        let (hz, phase) = (1000.0 * libm::pow(10.0, decades), random.even() * 3.0);
        for (n, frame) in frames.iter_mut().enumerate() {
            let sample = amplitude * libm::sin(TAU * hz * n as f64 / rate_hz + phase);
            *frame = [frame[0] + sample; 2];
        }
    }
    let expected = units::db_from_power(f64::from(a_band) * amplitude * amplitude / 2.0);
    for (hz, db) in read(&frames, rate_hz).third_octave_db() {
        let db = db.expect("a level");
        // In the lowest bands some power of the outer tones falls across the edge, half a bin away.
        let tolerance = if hz < 50.0 { 0.3 } else { 0.1 };
        assert!((db - expected).abs() < tolerance, "{hz}: {db} {expected}");
    }
}

#[test]
fn all_bins_together_are_the_mean_square() {
    // Parseval's theorem, also for scraps shorter than one stretch.
    for frames in [100, 5000, 70_001, 200_000] {
        let signal = noise(frames, 0.2, 9);
        let mean: f64 = signal.iter().map(|x| x[0] * x[0] + x[1] * x[1]).sum::<f64>() / (2 * frames) as f64;
        let cross: f64 = signal.iter().map(|x| x[0] * x[1]).sum::<f64>() / frames as f64;
        let power = read(&signal, 48_000.0).power(-10.0, 30_000.0);
        assert!((power.mean() / mean - 1.0).abs() < 1e-9 && (power.product - cross).abs() < 1e-12, "{frames}");
    }
}

#[test]
fn channels_are_kept_apart() {
    let left = tone(48_000.0, 1000.0, -6.0, 2.0);
    let right = tone(48_000.0, 4000.0, -20.0, 2.0);
    let frames: Vec<Frame> = left.iter().zip(&right).map(|(l, r)| [l[0], -r[0]]).collect();
    let spectrum = read(&frames, 48_000.0);
    let (low, high) = (spectrum.power(900.0, 1100.0), spectrum.power(3900.0, 4100.0));
    assert!((units::db_from_power(low.left) + 9.01).abs() < 0.01 && low.right < 1e-6 * low.left);
    assert!((units::db_from_power(high.right) + 23.01).abs() < 0.01 && high.left < 1e-4 * high.right);
}

#[test]
fn width_is_told_by_band() {
    // Mono at 100 Hz, a quarter of the power in the side at 2 kHz.
    let (low, high) = (tone(48_000.0, 100.0, -6.0, 4.0), tone(48_000.0, 2000.0, -6.0, 4.0));
    let frames: Vec<Frame> = low.iter().zip(&high).map(|(l, h)| [l[0] + 1.5 * h[0], l[0] + 0.5 * h[0]]).collect();
    let images = read(&frames, 48_000.0).third_octave_images();
    let at = |hz: f64| images.iter().find(|(centre, _)| *centre == hz).and_then(|(_, image)| *image).expect("a band");
    assert!(at(100.0).width_db.is_none_or(|db| db < -50.0) && at(100.0).fold_down_loss_db.expect("defined") < 1e-3);
    assert!((at(2000.0).width_db.expect("defined") + 6.0206).abs() < 0.01, "{:?}", at(2000.0));
}

#[test]
fn curve_of_pink_bands_covers_the_audible_range() {
    let curve = read(&noise(48_000 * 4, 0.1, 2), 48_000.0).curve_db(12);
    assert!(curve[0].0 > 20.0 && curve[0].0 < 21.5 && curve[curve.len() - 1].0 > 19_000.0);
    assert!((118..=120).contains(&curve.len()), "{}", curve.len());
}
