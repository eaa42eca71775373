//! Dither against theory: Lipshitz, Wannamaker, Vanderkooy, JAES 40(5), 1992.

use super::*;
use crate::testing::{RATES_HZ, power_db, sine, spectrum};
use units::{db_from_gain, db_from_power, gain_from_db};

/// One step of 16 bits.
const STEP: f64 = 1.0 / 32_768.0;

fn built(kind: &str, bits: f64, rate_hz: f64) -> Dither {
    let settings = Settings::defaults(&SPEC).with_choice(&KIND, kind).with_number(&BITS, bits);
    Dither::new(&settings, &Context::plain(rate_hz, 1))
}

fn dithered(kind: &str, bits: f64, rate_hz: f64, signal: &[f64]) -> Vec<Frame> {
    let mut out: Vec<Frame> = signal.iter().map(|x| [*x; 2]).collect();
    let mut dither = built(kind, bits, rate_hz);
    out.chunks_mut(1000).for_each(|block| dither.process(&mut Block::key_only(block), None));
    out
}

fn channel(frames: &[Frame], channel: usize) -> Vec<f64> {
    frames.iter().map(|frame| frame[channel]).collect()
}

#[test]
fn silence_carries_the_noise_that_theory_says() {
    // D^2/4: -96.330 dB re full scale = 1 at 16 bits, -120.412 at 20, -144.494 at 24.
    for rate_hz in RATES_HZ {
        for (bits, level_db) in [(16.0, -96.330), (20.0, -120.412), (24.0, -144.494)] {
            let out = dithered("tpdf", bits, rate_hz, &vec![0.0; 480_000]);
            for c in 0..2 {
                let found = power_db(&channel(&out, c));
                assert!((found - level_db).abs() < 0.05, "{bits} bits: {found}");
            }
        }
    }
}

/// Mean and mean square of errors.
fn moments(errors: impl Iterator<Item = f64> + Clone, frames: usize) -> [f64; 2] {
    [errors.clone().sum::<f64>() / frames as f64, errors.map(|e| e * e).sum::<f64>() / frames as f64]
}

#[test]
fn the_errors_mean_and_power_do_not_depend_on_the_signal() {
    // The theorem: mean 0, mean square 1/4 step^2, wherever between two steps the signal stands.
    const FRAMES: usize = 500_000;
    for rate_hz in RATES_HZ {
        for tenth in 0..10 {
            let level = f64::from(tenth) / 10.0;
            let out = dithered("tpdf", 16.0, rate_hz, &vec![level * STEP; FRAMES]);
            for c in 0..2 {
                let [mean, square] = moments(out.iter().map(|y| y[c] / STEP - level), FRAMES);
                // Five standard errors: the error spreads by 1/2, its square by 0.44 at most.
                let most = 5.0 * 0.5 / (FRAMES as f64).sqrt();
                assert!(mean.abs() < most && (square - 0.25).abs() < most, "{level}: mean {mean}, square {square}");
            }
        }
    }
}

#[test]
fn the_channels_are_strangers_and_so_are_neighbouring_frames() {
    const FRAMES: usize = 4_800_000;
    let mut dither = built("tpdf", 16.0, 48_000.0);
    let (mut between, mut next, mut last) = (0.0, 0.0, 0.0);
    for _ in 0..FRAMES {
        let mut frame = [[0.3 * STEP; 2]];
        dither.process(&mut Block::key_only(&mut frame), None);
        let [left, right] = frame[0].map(|y| y / STEP - 0.3);
        (between, next, last) = (between + left * right, next + left * last, left);
    }
    let [between, next] = [between, next].map(|sum| sum / (0.25 * FRAMES as f64));
    assert!(between.abs() < 0.01 && next.abs() < 0.01, "between channels {between}, from frame to frame {next}");
}

/// Spectrum of the noise of a kind on silence: mean powers at 0, 1, 2... Hz over some seconds of both channels.
fn noise_spectrum(kind: &str, rate_hz: f64) -> Vec<f64> {
    const SECONDS: usize = 5;
    let second = rate_hz as usize;
    let out = dithered(kind, 16.0, rate_hz, &vec![0.0; SECONDS * second]);
    let mut powers = vec![0.0; second / 2];
    for part in out.chunks_exact(second) {
        for c in 0..2 {
            for (power, amplitude) in powers.iter_mut().zip(spectrum(&channel(part, c))) {
                *power += 0.5 * amplitude * amplitude / (2 * SECONDS) as f64;
            }
        }
    }
    powers
}

#[test]
fn the_noises_spectrum_is_flat_or_the_shaping_filters() {
    for rate_hz in RATES_HZ {
        let white = 0.25 * STEP * STEP / (rate_hz / 2.0);
        let flat = [0.0; ORDER];
        for (kind, filter) in [("tpdf", flat), ("shaped", shaping::filter(rate_hz))] {
            for (band, powers) in noise_spectrum(kind, rate_hz).chunks_exact(500).enumerate().take(40) {
                let theory = (0..500).map(|n| (band * 500 + n) as f64 / (rate_hz / 2.0));
                let theory: f64 = theory.map(|share| white * shaping::power(&filter, share)).sum();
                let off_db = db_from_power(powers.iter().sum::<f64>() / theory);
                // 10 000 squares of a band vary by 0.06 dB; five times that.
                assert!(off_db.abs() < 0.3, "{kind} from {} Hz at {rate_hz} Hz: {off_db} dB", band * 500);
            }
        }
    }
}

#[test]
fn shaped_noise_is_louder_as_a_whole_and_quieter_to_the_ear() {
    // As designed for each rate (see `shaping`): as a whole, and weighted by Terhardt's threshold.
    for (rate_hz, whole_db, heard_db) in [(44_100.0, 10.45, -12.38), (48_000.0, 9.82, -13.60), (96_000.0, 5.41, -20.31)]
    {
        let [shaped, plain] = ["shaped", "tpdf"].map(|kind| noise_spectrum(kind, rate_hz));
        let ratio_db = |weight: &dyn Fn(f64) -> f64| {
            let sum = |powers: &[f64]| powers.iter().enumerate().map(|(hz, p)| p * weight(hz as f64)).sum::<f64>();
            db_from_power(sum(&shaped) / sum(&plain))
        };
        let whole = ratio_db(&|_| 1.0);
        let heard = ratio_db(&|hz| libm::pow(10.0, -shaping::threshold_in_quiet_db(hz).min(80.0) / 10.0));
        assert!((whole - whole_db).abs() < 0.1 && (heard - heard_db).abs() < 0.3, "{rate_hz}: {whole} {heard}");
    }
}

#[test]
fn a_tone_below_the_last_bit_survives_without_harmonics() {
    // -100 dBFS lies 3.7 dB under half a step of 16 bits: plain rounding gives silence.
    const SECONDS: usize = 20;
    for rate_hz in RATES_HZ {
        let second = rate_hz as usize;
        let tone = sine(1000.0, gain_from_db(-100.0), rate_hz, SECONDS * second);
        assert!(dithered("none", 16.0, rate_hz, &tone).iter().flatten().all(|y| *y == 0.0));
        for kind in ["tpdf", "shaped"] {
            let out = channel(&dithered(kind, 16.0, rate_hz, &tone), 0);
            // Seconds that begin alike, added up: what is periodic stays, noise falls by their number.
            let mean: Vec<f64> =
                (0..second).map(|n| out.iter().skip(n).step_by(second).sum::<f64>() / SECONDS as f64).collect();
            let lines = spectrum(&mean);
            assert!((db_from_gain(lines[1000]) + 100.0).abs() < 0.5, "{kind}: {}", db_from_gain(lines[1000]));
            for harmonic in 2..=9 {
                // The noise itself lies near -150 dBFS in each line.
                let level = db_from_gain(lines[1000 * harmonic]);
                assert!(level < -135.0, "{kind}, harmonic {harmonic}: {level}");
            }
        }
    }
}

#[test]
fn output_lies_on_the_grid_and_within_full_scale() {
    for (kind, bits) in [("tpdf", 16.0), ("shaped", 16.0), ("none", 8.0), ("tpdf", 32.0), ("shaped", 24.0)] {
        let steps = steps(bits);
        let out = dithered(kind, bits, 48_000.0, &sine(76.0, 1.2, 48_000.0, 48_000));
        for y in out.iter().flatten() {
            assert!((y * steps).fract() == 0.0 && *y >= -1.0 && *y <= 1.0 - 1.0 / steps, "{kind} {bits}: {y}");
        }
    }
}

#[test]
fn a_seed_is_a_noise() {
    let make = |seed: f64| {
        let settings = Settings::defaults(&SPEC).with_number(&SEED, seed).with_number(&BITS, 16.0);
        let mut dither = Dither::new(&settings, &Context::plain(48_000.0, 1));
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
    let mut dither = Dither::new(&settings, &Context::plain(48_000.0, 4));
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
