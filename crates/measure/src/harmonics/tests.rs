//! Tests of harmonics and intermodulation, against figures from outside.

use std::f64::consts::{PI, TAU};

use super::*;

/// A shaped sine of one second; 997 Hz then holds whole periods, 997.3 Hz does not.
fn shaped(hz: f64, amplitude: f64, shape: impl Fn(f64) -> f64) -> Vec<f64> {
    (0..48_000).map(|n| shape(amplitude * libm::sin(TAU * hz * n as f64 / 48_000.0))).collect()
}

fn near(value: f64, expected: f64, tolerance: f64) -> bool {
    (value - expected).abs() <= tolerance
}

#[test]
fn a_cubic_has_its_closed_form() {
    // 1.5 x - 0.5 x^3 at A = 1: fundamental 1.125, third -19.0849 dB, no other (h1 = c1 A + 3/4 c3 A^3, h3 = c3 A^3 / 4).
    for hz in [997.0, 997.3, 100.0, 3333.33] {
        let found = harmonics(&shaped(hz, 1.0, |x| 1.5 * x - 0.5 * x * x * x), 48_000.0, hz).expect("a tone");
        assert!(near(found.fundamental, 1.125, 1e-6), "{hz}: {found:?}");
        assert!(near(found.levels_db[1].expect("third"), -19.0849, 1e-3), "{hz}");
        assert!(found.levels_db[0].is_none_or(|db| db < -140.0), "{hz}: {:?}", found.levels_db[0]);
        assert!(near(found.thd_f_percent, 100.0 / 9.0, 1e-3) && near(found.thd_r_percent, 11.0432, 1e-3), "{found:?}");
        assert!(found.worst_foreign_db.is_none_or(|db| db < -140.0), "{hz}: {found:?}");
    }
}

#[test]
fn a_square_law_gives_dc_and_the_second() {
    // x + 0.1 x^2 at A = 1: DC 0.05, second -26.0206 dB.
    let found = harmonics(&shaped(997.0, 1.0, |x| x + 0.1 * x * x), 48_000.0, 997.0).expect("a tone");
    assert!(near(found.dc, 0.05, 1e-9) && near(found.levels_db[0].expect("second"), -26.0206, 1e-4), "{found:?}");
}

#[test]
fn a_hard_clip_has_its_closed_form() {
    // Clip of A sin t at 1, drive 12 dB: b1 1.259720546, H3 -10.2989, H5 -16.336 dB; with phi = asin(1/A),
    // b_n = (4/pi) [A/2 (sin((n-1) phi)/(n-1) - sin((n+1) phi)/(n+1)) + cos(n phi)/n].
    let amplitude = units::gain_from_db(12.0);
    let phi = libm::asin(1.0 / amplitude);
    let b = |n: f64| {
        let arcs = libm::sin((n - 1.0) * phi) / (n - 1.0) - libm::sin((n + 1.0) * phi) / (n + 1.0);
        4.0 / PI * (amplitude / 2.0 * arcs + libm::cos(n * phi) / n)
    };
    // 10 Hz, so that the many harmonics that alias are weak.
    let found = harmonics(&shaped(10.0, amplitude, |x| x.clamp(-1.0, 1.0)).repeat(3), 48_000.0, 10.0).expect("a tone");
    assert!(near(found.fundamental, 1.259720546, 1e-5), "{}", found.fundamental);
    for (n, printed) in [(3, -10.2989), (5, -16.336), (7, -21.9346), (9, -28.4729)] {
        let closed = units::db_from_gain(b(f64::from(n)) / 1.259720546);
        assert!(near(closed, printed, 1e-3));
        assert!(near(found.levels_db[n as usize - 2].expect("odd"), closed, 1e-3), "{n}");
    }
    assert!(near(found.thd_f_percent, 35.36899, 0.001), "{}", found.thd_f_percent);
}

#[test]
fn aliases_are_told_from_harmonics() {
    // 7 kHz clipped at 48 kHz: the seventh harmonic, 49 kHz, lies at 1 kHz, the fifth, 35 kHz, at 13 kHz.
    let found = harmonics(&shaped(7000.0, 2.0, |x| x.clamp(-1.0, 1.0)), 48_000.0, 7000.0).expect("a tone");
    assert!(near(found.worst_foreign_hz.expect("aliases"), 13_000.0, 1e-6), "{found:?}");
    // b5 / b1 at twice the clip level: phi = 30 degrees, 0.05513 over 1.21796; what else falls there is 30 dB weaker.
    assert!(near(found.worst_foreign_db.expect("aliases"), -26.88, 0.5), "{found:?}");
    let soft = harmonics(&shaped(997.0, 0.5, |x| x), 48_000.0, 997.0).expect("a tone");
    assert!(soft.foreign_db.is_none_or(|db| db < -250.0), "{soft:?}");
}

#[test]
fn noise_reads_as_foreign_power() {
    let mut random = chance::Random(3);
    let noisy: Vec<f64> = shaped(997.0, 1.0, |x| x).into_iter().map(|x| x + 1e-3 * random.normal()).collect();
    let found = harmonics(&noisy, 48_000.0, 997.0).expect("a tone");
    // Noise of -60 dB in 24 kHz, of which 20 kHz count, over a sine of -3.01 dB.
    let expected = -60.0 + units::db_from_power(19_980.0 / 24_000.0) + 3.0103;
    assert!(near(found.foreign_db.expect("noise"), expected, 0.2), "{found:?} {expected}");
}

#[test]
fn intermodulation_of_polynomials_has_its_closed_form() {
    let two = |a: f64, b: f64, hz: [f64; 2], shape: &dyn Fn(f64) -> f64| -> Vec<f64> {
        let at = |n: usize, hz: f64| libm::sin(TAU * hz * n as f64 / 48_000.0);
        (0..48_000).map(|n| shape(a * at(n, hz[0]) + b * at(n, hz[1]))).collect()
    };
    // x + c x^2: the products at f2 +- f1 have the amplitude c A B each, so the second order reads 2 c A.
    let square = two(0.4, 0.1, [60.0, 7000.0], &|x| x + 0.1 * x * x);
    let found = intermodulation(&square, 48_000.0, 60.0, 7000.0).expect("tones");
    assert!(near(found.modulation_2_percent, 8.0, 1e-6) && found.modulation_3_percent < 1e-6, "{found:?}");
    // x + c x^3: products at 2 f1 - f2 and 2 f2 - f1 have 3/4 c A^2 B and 3/4 c A B^2.
    let cubic = two(0.5, 0.5, [13_000.0, 14_000.0], &|x| x + 0.08 * x * x * x);
    let found = intermodulation(&cubic, 48_000.0, 13_000.0, 14_000.0).expect("tones");
    let tone = 0.5 + 0.08 * (0.75 * 0.125 + 1.5 * 0.125);
    let expected = 100.0 * 2.0 * 0.75 * 0.08 * 0.125 / (2.0 * tone);
    assert!(near(found.difference_3_percent, expected, 1e-6), "{found:?} {expected}");
    assert!(found.difference_2_percent < 1e-6);
}

#[test]
fn too_short_or_silent_stretches_have_no_figures() {
    assert_eq!(harmonics(&[0.0; 48_000], 48_000.0, 997.0), None);
    assert_eq!(harmonics(&[0.1; 32], 48_000.0, 997.0), None);
    assert_eq!(harmonics(&shaped(997.0, 1.0, |x| x)[..500], 48_000.0, 997.0), None);
    assert_eq!(intermodulation(&[0.0; 48_000], 48_000.0, 60.0, 7000.0), None);
}
