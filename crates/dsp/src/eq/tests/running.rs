//! The equalisers at work: components, linear phase, moves.

use super::super::prototype::MOST_SECTIONS;
use super::*;
use crate::testing::{RATES_HZ, stereo_noise};

const RATE_HZ: f64 = 44_100.0;

fn impulse(frames: usize, value: Frame) -> Vec<Frame> {
    let mut data = vec![[0.0; 2]; frames];
    data[0] = value;
    data
}

fn settings_of(word: &str, phase: &str, bands: &[Band]) -> Settings {
    with_bands(bands).with_choice(&OF, word).with_choice(&PHASE, phase)
}

type Component = fn(&Frame) -> f64;

fn left(frame: &Frame) -> f64 {
    frame[0]
}

fn right(frame: &Frame) -> f64 {
    frame[1]
}

fn mid(frame: &Frame) -> f64 {
    0.5 * (frame[0] + frame[1])
}

fn side(frame: &Frame) -> f64 {
    0.5 * (frame[0] - frame[1])
}

#[test]
fn a_bell_sounds_as_the_analogue_one_on_the_component_that_is_named() {
    for rate_hz in RATES_HZ {
        // Analogue prototype, 10 kHz, +6 dB, Q 0.7071 (Audio EQ Cookbook): worked with SciPy 1.17.
        let figures = [(2000.0, 0.5088), (5000.0, 2.8302), (10_000.0, 6.0), (16_000.0, 4.0313), (20_000.0, 2.8302)];
        let components: [(&str, Component, Component); 5] = [
            ("both", left, left),
            ("mid", mid, side),
            ("side", side, mid),
            ("left", left, right),
            ("right", right, left),
        ];
        for phase in ["minimum", "linear"] {
            for (word, worked, untouched) in components {
                let settings = settings_of(word, phase, &[bell(10_000.0, 6.0, FRAC_1_SQRT_2)]);
                let response = run(&settings, rate_hz, impulse(rate_hz as usize / 2, [1.0, 0.25]));
                let base = impulse(1, [1.0, 0.25]);
                for (hz, db) in figures {
                    let got = level_db(&response, rate_hz, hz, worked) - level_db(&base, rate_hz, hz, worked);
                    assert!((got - db).abs() < 0.05, "{phase} {word} at {hz} Hz: {got} dB");
                    if word != "both" {
                        let other =
                            level_db(&response, rate_hz, hz, untouched) - level_db(&base, rate_hz, hz, untouched);
                        assert!(other.abs() < 1e-9, "{phase} {word} at {hz} Hz leaves the rest at {other} dB");
                    }
                }
            }
        }
    }
}

#[test]
fn the_untouched_component_passes_exactly() {
    for rate_hz in RATES_HZ {
        // The design's figure: bit-exact or below -300 dB.
        let bands = [bell(900.0, 12.0, 1.0), bell(5000.0, -9.0, 3.0)];
        let before = stereo_noise(20_000, 1);
        for (word, untouched) in [("mid", side as Component), ("side", mid), ("left", right), ("right", left)] {
            let after = run(&settings_of(word, "minimum", &bands), rate_hz, before.clone());
            for (b, a) in before.iter().zip(&after) {
                assert!((untouched(b) - untouched(a)).abs() < 2e-15, "{word}");
            }
        }
    }
}

#[test]
fn bands_at_rest_change_no_bit() {
    let settings = with_bands(&[bell(900.0, 0.0, 1.0), bell(90.0, 0.0, 3.0)]);
    for word in ["both", "left"] {
        assert_eq!(
            run(&settings.clone().with_choice(&OF, word), RATE_HZ, stereo_noise(3000, 1)),
            stereo_noise(3000, 1)
        );
    }
}

#[test]
fn linear_phase_is_symmetric_about_its_latency() {
    for rate_hz in RATES_HZ {
        let cut = Band { shape: Shape::LowCut, slope_db_per_octave: 24.0, ..bell(60.0, 0.0, FRAC_1_SQRT_2) };
        let settings = settings_of("both", "linear", &[cut, bell(3000.0, 9.0, 2.0)]);
        let latency = build(&settings, &Context::plain(rate_hz, 1)).unwrap().latency_frames();
        let response = run(&settings, rate_hz, impulse(3 * latency, [1.0, 0.0]));
        for k in 1..8000 {
            assert!((response[latency + k][0] - response[latency - k][0]).abs() < 1e-14);
        }
        assert!(response.iter().all(|frame| frame[1].abs() < 1e-14), "channels do not mix");
    }
}

#[test]
fn linear_phase_has_the_magnitude_of_the_prototypes() {
    for rate_hz in RATES_HZ {
        let shape = |shape, hz, gain_db, q| Band { shape, hz, gain_db, q, slope_db_per_octave: 24.0 };
        let cases = [
            bell(100.0, 12.0, 1.0),
            bell(1000.0, -18.0, 8.0),
            bell(12_000.0, 12.0, 2.0),
            shape(Shape::LowShelf, 100.0, 6.0, FRAC_1_SQRT_2),
            shape(Shape::HighShelf, 8000.0, -12.0, FRAC_1_SQRT_2),
            shape(Shape::HighCut, 9000.0, 0.0, FRAC_1_SQRT_2),
            shape(Shape::LowCut, 100.0, 0.0, FRAC_1_SQRT_2),
            shape(Shape::Tilt, 700.0, 3.0, FRAC_1_SQRT_2),
            shape(Shape::LowCut, 20.0, 0.0, FRAC_1_SQRT_2),
            bell(50.0, 12.0, 2.0),
            bell(1000.0, 18.0, 20.0),
        ];
        for band in cases {
            let response =
                run(&settings_of("both", "linear", &[band]), rate_hz, impulse(rate_hz as usize / 2, [1.0, 0.0]));
            for step in 0..=80 {
                let hz = 20.0 * libm::pow(1000.0, f64::from(step) / 80.0);
                let target: f64 = band
                    .prototypes(Curve::Symmetric)
                    .iter()
                    .map(|p| p.response(hz / band.hz))
                    .map(|[re, im]| units::db_from_power(re * re + im * im))
                    .sum();
                let error = level_db(&response, rate_hz, hz, left) - target;
                // Where a cut has taken 60 dB, how much more it takes is not heard.
                assert!(error.abs() < 0.02 || target < -60.0, "{error} dB at {hz} Hz: {band:?}");
            }
        }
    }
}

#[test]
fn linear_phase_says_what_it_cannot_do() {
    let mut settings = settings_of("both", "linear", &[bell(3000.0, 0.0, 1.0)]);
    set_row(&mut settings, 0, &RATIO, Value::Number(4.0));
    let refusal = build(&settings, &Context::plain(RATE_HZ, 1)).err().unwrap();
    assert!(refusal.message.contains("band 1") && refusal.remedy.contains("minimum"));
}

#[test]
fn a_move_ends_in_the_new_response_without_a_jump() {
    for (phase, frames) in [("minimum", 32), ("linear", 2 * 1024 + 16_384)] {
        let settings = settings_of("both", phase, &[bell(1000.0, -12.0, 1.0)]);
        let mut moving = build(&settings, &Context::plain(RATE_HZ, 1)).unwrap();
        let tone = |n: usize| libm::sin(std::f64::consts::TAU * 1000.0 * n as f64 / RATE_HZ);
        let mut data: Vec<Frame> = (0..60_000).map(|n| [tone(n), 0.0]).collect();
        moving.process(&mut Block::key_only(&mut data[..4096]), None);
        for block in data[4096..40_000].chunks_mut(4096) {
            moving.process(&mut Block::key_only(block), None);
        }
        moving.set(place(0, &GAIN_DB), 6.0);
        for block in data[40_000..].chunks_mut(4096) {
            moving.process(&mut Block::key_only(block), None);
        }
        let peak = |part: &[Frame]| part.iter().map(|f| f[0].abs()).fold(0.0, f64::max);
        let target = units::gain_from_db(6.0);
        let after = peak(&data[40_000 + frames + 1000..]);
        assert!((after / target - 1.0).abs() < 0.01, "{phase}: {after}");
        // The steepest slope of the tone at its new level, with a margin of a half.
        let steepest = 1.5 * target * std::f64::consts::TAU * 1000.0 / RATE_HZ;
        let jump = data[39_000..].windows(2).map(|pair| (pair[1][0] - pair[0][0]).abs()).fold(0.0, f64::max);
        assert!(jump < steepest, "{phase}: a jump of {jump}");
    }
}

#[test]
fn the_steepest_cut_still_fits_its_sections() {
    for rate_hz in RATES_HZ {
        let band = Band { shape: Shape::LowCut, slope_db_per_octave: 48.0, ..bell(1000.0, 0.0, FRAC_1_SQRT_2) };
        let used = band.prototypes(Curve::Symmetric).iter().filter(|p| p.num != p.den).count();
        assert_eq!(used, MOST_SECTIONS);
        let response = run(&with_bands(&[band]), rate_hz, impulse(rate_hz as usize / 2, [1.0, 0.0]));
        // Butterworth of order 8 one octave below: 10 log10(1 + 2^16) = 48.165 dB.
        assert!((level_db(&response, rate_hz, 500.0, left) + 48.165).abs() < 0.05);
    }
}
