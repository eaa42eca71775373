//! Dither against theory: Lipshitz, Wannamaker, Vanderkooy, JAES 40(5), 1992.

use super::*;
use units::{db_from_gain, db_from_power, gain_from_db};

const RATE: f64 = 48_000.0;

fn dithered(kind: &str, bits: f64, signal: impl Fn(usize) -> f64, frames: usize) -> Vec<Frame> {
    let settings = Settings::defaults(&SPEC).with_choice(&KIND, kind).with_number(&BITS, bits);
    let mut dither = Dither::new(&settings, &Context::plain(RATE, 1));
    let mut out: Vec<Frame> = (0..frames).map(|n| [signal(n); 2]).collect();
    for chunk in out.chunks_mut(1000) {
        dither.process(&mut Block::key_only(chunk), None);
    }
    out
}

fn channel(frames: &[Frame], channel: usize) -> impl Iterator<Item = f64> {
    frames.iter().map(move |frame| frame[channel])
}

#[test]
fn silence_carries_the_noise_that_theory_says() {
    // D^2/4: -96.330 dB re full scale = 1 at 16 bits, -120.412 at 20, -144.494 at 24.
    for (bits, level_db) in [(16.0, -96.330), (20.0, -120.412), (24.0, -144.494)] {
        let out = dithered("tpdf", bits, |_| 0.0, 480_000);
        for c in 0..2 {
            let power = channel(&out, c).map(|y| y * y).sum::<f64>() / 480_000.0;
            assert!((db_from_power(power) - level_db).abs() < 0.05, "{bits} bits: {}", db_from_power(power));
        }
    }
}

/// Power of the noise on silence in every channel at 16 bits, weighted over frequency (Hann windows of 4096 frames).
fn noise_power(kind: &str, weight: impl Fn(f64) -> f64) -> f64 {
    const SIZE: usize = 4096;
    let out = dithered(kind, 16.0, |_| 0.0, 200 * SIZE);
    let transform = rustfft::FftPlannerScalar::new().plan_fft_forward(SIZE);
    let mut power = 0.0;
    for part in out.chunks_exact(SIZE) {
        let window = |n: usize| 0.5 - 0.5 * libm::cos(std::f64::consts::TAU * n as f64 / SIZE as f64);
        let mut bins: Vec<_> =
            part.iter().enumerate().map(|(n, y)| rustfft::num_complex::Complex::new(y[0] * window(n), 0.0)).collect();
        transform.process(&mut bins);
        let weighted = |(k, bin): (usize, &rustfft::num_complex::Complex<f64>)| {
            bin.norm_sqr() * weight(k as f64 * RATE / SIZE as f64)
        };
        power += bins[..SIZE / 2].iter().enumerate().map(weighted).sum::<f64>();
    }
    power
}

#[test]
fn shaped_noise_is_louder_as_a_whole_and_quieter_to_the_ear() {
    // As designed for 48 kHz (see `shaping`): +9.82 dB as a whole, -13.60 dB weighted by Terhardt's threshold.
    let heard = |hz: f64| libm::pow(10.0, -shaping::threshold_in_quiet_db(hz).min(80.0) / 10.0);
    let whole_db = db_from_power(noise_power("shaped", |_| 1.0) / noise_power("tpdf", |_| 1.0));
    let heard_db = db_from_power(noise_power("shaped", heard) / noise_power("tpdf", heard));
    assert!((whole_db - 9.82).abs() < 0.1 && (heard_db + 13.60).abs() < 0.3, "{whole_db} {heard_db}");
}

#[test]
fn the_error_has_no_mean_and_the_channels_are_strangers() {
    let frames = 4_800_000;
    let level = 0.3 / 32_768.0;
    let out = dithered("tpdf", 16.0, |_| level, frames);
    let error = |c| channel(&out, c).map(move |y| (y - level) * 32_768.0);
    for c in 0..2 {
        let mean = error(c).sum::<f64>() / frames as f64;
        let variance = error(c).map(|e| e * e).sum::<f64>() / frames as f64;
        // Theory: mean 0, variance 1/4 step^2, whatever the signal.
        assert!(mean.abs() < 1e-3 && (variance - 0.25).abs() < 1e-3, "mean {mean}, variance {variance}");
    }
    let r = error(0).zip(error(1)).map(|(a, b)| a * b).sum::<f64>() / (0.25 * frames as f64);
    let next = error(0).zip(error(0).skip(1)).map(|(a, b)| a * b).sum::<f64>() / (0.25 * frames as f64);
    assert!(r.abs() < 0.01 && next.abs() < 0.01, "between channels {r}, from frame to frame {next}");
}

/// Level of one frequency, in dBFS, in whole periods of it.
fn level_db(signal: impl Iterator<Item = f64>, hz: f64) -> f64 {
    let (mut re, mut im, mut count) = (0.0, 0.0, 0.0);
    for (n, y) in signal.enumerate() {
        let (s, c) = libm::sincos(std::f64::consts::TAU * hz * (n % 48_000) as f64 / RATE);
        (re, im, count) = (re + y * c, im + y * s, count + 1.0);
    }
    db_from_gain(2.0 * libm::hypot(re, im) / count)
}

#[test]
fn a_tone_below_the_last_bit_survives_without_harmonics() {
    // -100 dBFS lies 3.7 dB under half a step of 16 bits: plain rounding gives silence.
    let tone = |n: usize| gain_from_db(-100.0) * libm::sin(std::f64::consts::TAU * (n % 48) as f64 / 48.0);
    assert!(dithered("none", 16.0, tone, 4800).iter().flatten().all(|y| *y == 0.0));
    for kind in ["tpdf", "shaped"] {
        let out = dithered(kind, 16.0, tone, 4_800_000);
        let fundamental = level_db(channel(&out, 0), 1000.0);
        assert!((fundamental + 100.0).abs() < 0.5, "{kind}: {fundamental}");
        for harmonic in 2..=9 {
            // A bin of 100 s of the noise itself lies near -157 dBFS.
            let level = level_db(channel(&out, 0), 1000.0 * f64::from(harmonic));
            assert!(level < -140.0, "{kind}, harmonic {harmonic}: {level}");
        }
    }
}

#[test]
fn output_lies_on_the_grid_and_within_full_scale() {
    for (kind, bits) in [("tpdf", 16.0), ("shaped", 16.0), ("none", 8.0), ("tpdf", 32.0), ("shaped", 24.0)] {
        let steps = steps(bits);
        let out = dithered(kind, bits, |n| 1.2 * libm::sin(n as f64 * 0.01), 48_000);
        for y in out.iter().flatten() {
            assert!((y * steps).fract() == 0.0 && *y >= -1.0 && *y <= 1.0 - 1.0 / steps, "{kind} {bits}: {y}");
        }
    }
}

#[test]
fn a_seed_is_a_noise() {
    let make = |seed: f64| {
        let settings = Settings::defaults(&SPEC).with_number(&SEED, seed).with_number(&BITS, 16.0);
        let mut dither = Dither::new(&settings, &Context::plain(RATE, 1));
        let mut run = || {
            let mut frames = vec![[0.0; 2]; 1000];
            dither.process(&mut Block::key_only(&mut frames), None);
            dither.reset();
            frames
        };
        (run(), run())
    };
    let ((a, again), (b, _)) = (make(1.0), make(2.0));
    assert_eq!(a, again);
    assert!(a.iter().zip(&b).filter(|(a, b)| a == b).count() < 420);
}

#[test]
fn followers_still_sum_to_the_key() {
    let settings = Settings::defaults(&SPEC).with_number(&BITS, 16.0);
    let mut dither = Dither::new(&settings, &Context::plain(RATE, 4));
    let mut data = vec![[0.0; 2]; 4 * 64];
    for n in 0..64 {
        (data[64 + n], data[128 + n]) = ([0.1, -0.2], [0.3 * libm::sin(n as f64), 0.0]);
        data[n] = [data[64 + n][0] + data[128 + n][0], data[64 + n][1] + data[128 + n][1]];
    }
    let before = data[64..192].to_vec();
    dither.process(&mut Block::new(&mut data, 64, 64), None);
    assert_eq!(data[64..192], before);
    for n in 0..64 {
        let sum = data[64 + n][0] + data[128 + n][0] + data[192 + n][0];
        assert!((sum - data[n][0]).abs() < 1e-15 && data[n][0] != before[n][0] + before[64 + n][0]);
    }
}
