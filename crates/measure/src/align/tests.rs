//! Tests of alignment, against figures from outside.

use std::f64::consts::TAU;

use super::*;
use crate::signals::{music, noise};
use chance::Random;

/// Noise of many sines below 0.42 of the rate, seen `delay` frames late: an exact fractional delay, by closed form.
pub fn noise_of_sines(frames: usize, delay: f64, seed: u64) -> Vec<Frame> {
    let mut random = Random(seed);
    let mut out = vec![units::SILENCE; frames];
    for _ in 0..120 {
        let (cycles, phase) = (0.21 + 0.2099 * random.even(), 3.2 * random.even());
        let gains = [0.05 * random.even(), 0.05 * random.even()];
        for (n, frame) in out.iter_mut().enumerate() {
            let x = libm::sin(TAU * cycles * (n as f64 - delay) + phase);
            *frame = [frame[0] + gains[0] * x, frame[1] + gains[1] * x];
        }
    }
    out
}

#[test]
fn a_fractional_delay_is_found_to_a_hundredth_of_a_sample() {
    let a = noise_of_sines(40_000, 0.0, 1);
    for delay in [0.0, 0.25, -0.5, 17.37, -211.941, 1000.003, 63.999] {
        let b = noise_of_sines(40_000, delay, 1);
        let found = align(&a, &b, 4000).expect("found");
        assert!((found.delay_samples - delay).abs() < 0.01, "{delay}: {found:?}");
        assert!((found.delay_samples - delay).abs() < 1e-5, "{delay}: {found:?}");
        assert!(found.gain_db.abs() < 0.001 && found.polarity == Polarity::Normal && found.correlation > 0.999_99);
    }
}

#[test]
fn polarity_and_gain_are_found() {
    let a = music(48_000.0, 4.0, 3);
    let gain = -units::gain_from_db(-7.3);
    let mut b = vec![units::SILENCE; 480];
    b.extend(a.iter().map(|x| x.map(|x| gain * x)));
    let found = align(&a, &b, 48_000).expect("found");
    assert_eq!((found.delay_samples, found.polarity), (480.0, Polarity::Inverted));
    assert!((found.gain_db + 7.3).abs() < 1e-9, "{found:?}");
    let back = align(&b, &a, 48_000).expect("found");
    assert_eq!((back.delay_samples, back.polarity), (-480.0, Polarity::Inverted));
}

#[test]
fn noise_on_top_moves_little() {
    let a = noise_of_sines(60_000, 0.0, 5);
    let mut b = noise_of_sines(60_000, 12.345, 5);
    for (frame, noise) in b.iter_mut().zip(noise(60_000, 0.02, 6)) {
        *frame = [frame[0] + noise[0], frame[1] + noise[1]];
    }
    let found = align(&a, &b, 1000).expect("found");
    assert!((found.delay_samples - 12.345).abs() < 0.01, "{found:?}");
    assert!(found.correlation > 0.95 && found.correlation < 0.999, "{found:?}");
}

#[test]
fn a_loop_is_aligned_at_its_nearest_repeat() {
    // So long that the ends, where a later repeat would miss a little, lie outside the stretches that are compared.
    let bar = music(48_000.0, 0.05, 9);
    let a: Vec<Frame> = bar.iter().copied().cycle().take(400 * bar.len()).collect();
    assert_eq!(align(&a, &a, 3 * bar.len()).expect("found").delay_samples, 0.0);
    let late: Vec<Frame> = a.iter().skip(bar.len() - 100).copied().collect();
    assert_eq!(align(&a, &late, 3 * bar.len()).expect("found").delay_samples, 100.0);
}

#[test]
fn a_noisy_copy_stays_whole() {
    let a = music(48_000.0, 3.0, 15);
    let noisy = |(x, n): (&Frame, Frame)| [x[0] + n[0], x[1] + n[1]];
    let late = std::iter::repeat_n(&units::SILENCE, 37).chain(&a);
    let b: Vec<Frame> = late.zip(noise(a.len(), 0.001, 16)).map(noisy).collect();
    assert_eq!(align(&a, &b, 1000).expect("found").delay_samples, 37.0);
}

#[test]
fn low_tones_align_too() {
    let low = |delay: f64| -> Vec<Frame> {
        let x = |n: usize| libm::sin(0.006 * (n as f64 - delay)) + 0.5 * libm::sin(0.0145 * (n as f64 - delay));
        (0..60_000).map(|n| [x(n); 2]).collect()
    };
    let found = align(&low(0.0), &low(33.33), 300).expect("found");
    assert!((found.delay_samples - 33.33).abs() < 0.01, "{found:?}");
}

#[test]
fn a_sparse_stem_is_aligned_where_it_sounds() {
    // Two short hits in a minute.
    let (hit, other) = (music(48_000.0, 0.2, 12), music(48_000.0, 0.1, 13));
    let mut a = vec![units::SILENCE; 60 * 48_000];
    a[900_000..][..hit.len()].copy_from_slice(&hit);
    a[2_345_678..][..other.len()].copy_from_slice(&other);
    let mut b = vec![units::SILENCE; 700];
    b.extend_from_slice(&a);
    assert_eq!(align(&a, &b, 4800).expect("found").delay_samples, 700.0);
}

#[test]
fn unrelated_and_silent_signals_are_told() {
    let (a, b) = (noise(30_000, 0.1, 1), noise(30_000, 0.1, 2));
    assert!(align(&a, &b, 2000).expect("found").correlation < 0.1);
    assert_eq!(align(&a, &vec![units::SILENCE; 30_000], 2000), None);
    assert_eq!(align(&[], &a, 2000), None);
}

#[test]
fn a_first_look_finds_the_whole_delay_and_tells_what_is_unrelated() {
    let a = music(48_000.0, 2.0, 14);
    let later: Vec<Frame> =
        std::iter::repeat_n(units::SILENCE, 33).chain(a.iter().map(|x| x.map(|x| -0.5 * x))).collect();
    let (delay, correlation) = whole_delay(&a, &later, 2000).expect("found");
    assert!(delay == 33 && correlation > 0.999, "{delay} {correlation}");
    let (delay, correlation) = whole_delay(&later, &a, 2000).expect("found");
    assert!(delay == -33 && correlation > 0.999, "{delay} {correlation}");
    // White noise half a sample later: Shannon's interpolator gives the correlation sinc(1/2) = 2 / pi at either neighbour.
    let hiss = noise(60_000, 0.1, 3);
    let half = crate::sinc::delayed(&hiss, 0.5, 0, hiss.len());
    let (delay, correlation) = whole_delay(&hiss, &half, 2000).expect("found");
    assert!((0..=1).contains(&delay) && (correlation - 4.0 / TAU).abs() < 0.02, "{delay} {correlation}");
    let (a, b) = (noise(60_000, 0.1, 1), noise(60_000, 0.1, 2));
    assert!(whole_delay(&a, &b, 2000).expect("found").1 < 0.05);
    assert_eq!(whole_delay(&a, &vec![units::SILENCE; 60_000], 2000), None);
}
