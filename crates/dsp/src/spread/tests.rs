//! Tests of the spread, against figures from outside.

use super::*;

const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];

fn run_at(settings: &Settings, mut data: Vec<Frame>, rate_hz: f64) -> Vec<Frame> {
    let mut spread = build(settings, &Context::plain(rate_hz, 1)).unwrap();
    for part in data.chunks_mut(1000) {
        spread.process(&mut Block::key_only(part), None);
    }
    data
}

fn noise(frames: usize, channels: usize) -> Vec<Frame> {
    let frames = chance::Random(3).signal(frames, 1.0);
    if channels == 2 { frames } else { frames.into_iter().map(|[left, _]| [left; 2]).collect() }
}

fn mean(frames: &[Frame], f: impl Fn(&Frame) -> f64) -> f64 {
    frames.iter().map(f).sum::<f64>() / frames.len() as f64
}

/// Complex value of a signal at a frequency.
fn at_hz(signal: impl Iterator<Item = f64>, hz: f64, rate_hz: f64) -> [f64; 2] {
    signal.enumerate().fold([0.0; 2], |sum, (n, x)| {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * hz * n as f64 / rate_hz);
        [sum[0] + x * cos, sum[1] - x * sin]
    })
}

/// Level of the side of an impulse's response at a frequency.
fn side_db(response: &[Frame], hz: f64, rate_hz: f64) -> f64 {
    let [re, im] = at_hz(response.iter().map(|frame| 0.5 * (frame[0] - frame[1])), hz, rate_hz);
    units::db_from_power(re * re + im * im)
}

fn impulse_response(settings: &Settings, rate_hz: f64) -> Vec<Frame> {
    let mut data = vec![[0.0; 2]; rate_hz as usize];
    data[0] = [1.0, 1.0];
    run_at(settings, data, rate_hz)
}

#[test]
fn the_mono_sum_stays_as_it_was() {
    for rate_hz in RATES_HZ {
        let before = noise(30_000, 2);
        let after = run_at(&Settings::defaults(&SPEC).with_number(&AMOUNT_DB, 0.0), before.clone(), rate_hz);
        for (b, a) in before.iter().zip(&after) {
            // -300 dB.
            assert!(((a[0] + a[1]) - (b[0] + b[1])).abs() < 1e-15);
        }
    }
}

#[test]
fn the_correlation_is_as_stated() {
    for rate_hz in RATES_HZ {
        for (amount_db, stated) in [(-9.0, 0.777), (-6.0, 0.599), (0.0, 0.0)] {
            let settings = Settings::defaults(&SPEC).with_number(&AMOUNT_DB, amount_db).with_number(&FROM_HZ, 20.0);
            let out = run_at(&settings, noise(400_000, 1), rate_hz);
            let power = (mean(&out, |f| f[0] * f[0]) * mean(&out, |f| f[1] * f[1])).sqrt();
            let correlation = mean(&out, |f| f[0] * f[1]) / power;
            assert!((correlation - stated).abs() < 0.01, "{rate_hz} Hz, {amount_db} dB: {correlation}");
            // What the copy has in common with the middle: the product of the four -c (as for one all-pass: -c).
            let common = mean(&out, |f| 0.25 * (f[0] + f[1]) * (f[0] - f[1])) / gain_from_db(amount_db);
            let middle = mean(&out, |f| 0.25 * (f[0] + f[1]) * (f[0] + f[1]));
            assert!((common / middle - 0.0625).abs() < 0.01, "{}", common / middle);
        }
    }
}

#[test]
fn the_copy_is_flat_between_the_corners_and_gone_outside() {
    // All-pass chain: flat within 0.01 dB. Butterworth: -3.01 dB at the corners, 10 log10(1 + 4^4) = 24.10 dB two octaves
    // below the lower one. An octave above the upper one of 2 kHz the bilinear transform leaves
    // 10 log10(1 + (tan(pi 4000/fs) / tan(pi 2000/fs))^4).
    for rate_hz in RATES_HZ {
        let open = impulse_response(&Settings::defaults(&SPEC).with_number(&FROM_HZ, 100.0), rate_hz);
        for (hz, db) in [(2000.0, 0.0), (3777.0, 0.0), (12_345.0, 0.0), (100.0, -3.0103), (25.0, -24.0993)] {
            let level = side_db(&open, hz, rate_hz) + 9.0;
            assert!((level - db).abs() < 0.01, "{rate_hz}: {hz} Hz: {level}");
        }
        let settings = Settings::defaults(&SPEC).with_number(&FROM_HZ, 100.0).with_number(&TO_HZ, 2000.0);
        let closed = impulse_response(&settings, rate_hz);
        let tan = |hz: f64| libm::tan(std::f64::consts::PI * hz / rate_hz);
        let octave_above = -units::db_from_power(1.0 + libm::pow(tan(4000.0) / tan(2000.0), 4.0));
        for (hz, db) in [(500.0, 0.0), (2000.0, -3.0103), (4000.0, octave_above)] {
            let level = side_db(&closed, hz, rate_hz) + 9.0;
            assert!((level - db).abs() < 0.03, "{rate_hz}: {hz} Hz: {level} for {db}");
        }
    }
}

#[test]
fn the_width_of_each_octave_follows_the_corners() {
    // Correlation of left and right per band, for a centred source and averaged over frequency: by the formula at the head
    // of the module with g^2 the copy's power there, 1/(1 + (100/f)^4) below and 1/(1 + (f/2000)^4) above, at -6 dB.
    for rate_hz in RATES_HZ {
        let settings = Settings::defaults(&SPEC)
            .with_number(&AMOUNT_DB, -6.0)
            .with_number(&FROM_HZ, 100.0)
            .with_number(&TO_HZ, 2000.0);
        let h = impulse_response(&settings, rate_hz);
        for (hz, stated) in [(31.5, 0.995), (500.0, 0.60), (8000.0, 0.998)] {
            let (mut cross, mut powers) = (0.0, [0.0; 2]);
            for k in -20..=20 {
                let f = hz * libm::exp2(f64::from(k) / 40.0);
                let [l, r] = [0, 1].map(|c| at_hz(h.iter().map(|frame| frame[c]), f, rate_hz));
                cross += l[0] * r[0] + l[1] * r[1];
                powers = [powers[0] + l[0] * l[0] + l[1] * l[1], powers[1] + r[0] * r[0] + r[1] * r[1]];
            }
            let correlation = cross / (powers[0] * powers[1]).sqrt();
            assert!((correlation - stated).abs() < 0.03, "{rate_hz}: {hz} Hz: {correlation}");
        }
    }
}

#[test]
fn the_smear_lasts_about_its_length() {
    for rate_hz in RATES_HZ {
        for length_ms in [5.0, 20.0, 60.0] {
            let settings = Settings::defaults(&SPEC).with_number(&LENGTH_MS, length_ms);
            let response = impulse_response(&settings, rate_hz);
            let energy = |part: &[Frame]| part.iter().map(|f| (f[0] - f[1]) * (f[0] - f[1])).sum::<f64>();
            let within = (2.0 * length_ms * 1e-3 * rate_hz) as usize;
            // Nine tenths within twice the length, but not at once.
            assert!(energy(&response[..within]) > 0.9 * energy(&response));
            assert!(energy(&response[..within / 8]) < 0.5 * energy(&response));
        }
    }
}

#[test]
fn seeds_differ_and_repeat() {
    let of = |seed| impulse_response(&Settings::defaults(&SPEC).with_number(&SEED, seed), 48_000.0);
    assert!(of(2.0) == of(2.0) && of(2.0) != of(3.0));
}
