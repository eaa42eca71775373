//! Tests of the spread, against figures from outside.

use super::*;

const RATE_HZ: f64 = 48_000.0;

fn run(settings: &Settings, mut data: Vec<Frame>) -> Vec<Frame> {
    let mut spread = build(settings, &Context::plain(RATE_HZ, 1)).unwrap();
    spread.process(&mut Block::key_only(&mut data), None);
    data
}

fn noise(frames: usize, channels: usize) -> Vec<Frame> {
    let mut seed = 3_u64;
    let mut next = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    };
    let mut frame = || {
        let left = next();
        [left, if channels == 2 { next() } else { left }]
    };
    (0..frames).map(|_| frame()).collect()
}

fn mean(frames: &[Frame], f: impl Fn(&Frame) -> f64) -> f64 {
    frames.iter().map(f).sum::<f64>() / frames.len() as f64
}

/// Level of the side of an impulse's response at a frequency.
fn side_db(response: &[Frame], hz: f64) -> f64 {
    let mut sum = [0.0; 2];
    for (n, frame) in response.iter().enumerate() {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * hz * n as f64 / RATE_HZ);
        let side = 0.5 * (frame[0] - frame[1]);
        sum = [sum[0] + side * cos, sum[1] - side * sin];
    }
    units::db_from_power(sum[0] * sum[0] + sum[1] * sum[1])
}

fn impulse_response(settings: &Settings) -> Vec<Frame> {
    let mut data = vec![[0.0; 2]; 48_000];
    data[0] = [1.0, 1.0];
    run(settings, data)
}

#[test]
fn the_mono_sum_stays_as_it_was() {
    let before = noise(30_000, 2);
    let after = run(&Settings::defaults(&SPEC).with_number(&AMOUNT_DB, 0.0), before.clone());
    for (b, a) in before.iter().zip(&after) {
        // -300 dB.
        assert!(((a[0] + a[1]) - (b[0] + b[1])).abs() < 1e-15);
    }
}

#[test]
fn the_correlation_is_as_stated() {
    for (amount_db, stated) in [(-9.0, 0.777), (-6.0, 0.599), (0.0, 0.0)] {
        let settings = Settings::defaults(&SPEC).with_number(&AMOUNT_DB, amount_db).with_number(&FROM_HZ, 20.0);
        let out = run(&settings, noise(400_000, 1));
        let power = (mean(&out, |f| f[0] * f[0]) * mean(&out, |f| f[1] * f[1])).sqrt();
        let correlation = mean(&out, |f| f[0] * f[1]) / power;
        assert!((correlation - stated).abs() < 0.01, "{amount_db} dB: {correlation}");
        // What the copy has in common with the middle: the product of the four -c (as for one all-pass: -c).
        let common = mean(&out, |f| 0.25 * (f[0] + f[1]) * (f[0] - f[1])) / gain_from_db(amount_db);
        let middle = mean(&out, |f| 0.25 * (f[0] + f[1]) * (f[0] + f[1]));
        assert!((common / middle - 0.0625).abs() < 0.01, "{}", common / middle);
    }
}

#[test]
fn the_copy_is_flat_above_the_corner_and_gone_below() {
    let response = impulse_response(&Settings::defaults(&SPEC).with_number(&FROM_HZ, 100.0));
    // All-pass chain: flat within 0.01 dB. Butterworth: -3.01 dB at the corner, 10 log10(1 + 4^4) = 24.10 dB two
    // octaves below.
    for (hz, db) in [(2000.0, 0.0), (3777.0, 0.0), (12_345.0, 0.0), (100.0, -3.0103), (25.0, -24.0993)] {
        let level = side_db(&response, hz) + 9.0;
        assert!((level - db).abs() < 0.01, "{hz} Hz: {level}");
    }
}

#[test]
fn the_smear_lasts_about_its_length() {
    for length_ms in [5.0, 20.0, 60.0] {
        let settings = Settings::defaults(&SPEC).with_number(&LENGTH_MS, length_ms);
        let response = impulse_response(&settings);
        let energy = |part: &[Frame]| part.iter().map(|f| (f[0] - f[1]) * (f[0] - f[1])).sum::<f64>();
        let within = (2.0 * length_ms * 48.0) as usize;
        // Nine tenths within twice the length, but not at once.
        assert!(energy(&response[..within]) > 0.9 * energy(&response));
        assert!(energy(&response[..within / 8]) < 0.5 * energy(&response));
    }
}

#[test]
fn seeds_differ_and_repeat() {
    let of = |seed| impulse_response(&Settings::defaults(&SPEC).with_number(&SEED, seed));
    assert!(of(2.0) == of(2.0) && of(2.0) != of(3.0));
}
