//! Tests of the drive, against figures from outside.

use std::f64::consts::{PI, TAU};

use super::*;
use crate::testing::{RATES_HZ, spectrum};

/// Left channel of one second of a tone through a processor, taken once it has settled; the tone fits the second.
fn tone_through(settings: &Settings, rate_hz: f64, hz: usize, peak: f64) -> Vec<f64> {
    let rate = rate_hz as usize;
    let mut drive = Drive::new(settings, &Context::plain(rate_hz, 1));
    let mut audio: Vec<Frame> =
        (0..3 * rate).map(|n| [peak * libm::cos(TAU * ((n * hz) % rate) as f64 / rate_hz), 0.0]).collect();
    for piece in audio.chunks_mut(4096) {
        drive.process(&mut Block::key_only(piece), None);
    }
    audio[2 * rate..].iter().map(|frame| frame[0]).collect()
}

fn db(ratio: f64) -> f64 {
    20.0 * libm::log10(ratio)
}

fn with(shape: &str, drive_db: f64) -> Settings {
    Settings::defaults(&SPEC)
        .with_choice(&SHAPE, shape)
        .with_number(&DRIVE_DB, drive_db)
        .with(&LEVEL_NEUTRAL, Value::Switch(false))
}

/// Fourier cosine amplitudes 0, 1, 2... of `f(A cos t)` by the midpoint rule, which converges geometrically.
fn harmonics(f: impl Fn(f64) -> f64, peak: f64) -> Vec<f64> {
    const STEPS: usize = 20_000;
    (0..10)
        .map(|n| {
            let sum: f64 = (0..STEPS)
                .map(|k| {
                    let t = PI * (k as f64 + 0.5) / STEPS as f64;
                    f(peak * libm::cos(t)) * libm::cos(n as f64 * t)
                })
                .sum();
            sum / STEPS as f64 * if n == 0 { 1.0 } else { 2.0 }
        })
        .collect()
}

#[test]
fn the_hard_clips_harmonics_are_its_fourier_series() {
    for rate_hz in RATES_HZ {
        // Fourier series of A sin t clipped at 1 (closed form; table to 4 decimals): fundamental, then 3rd to 9th in dB.
        for (drive_db, b1, rest) in [
            (1.0, 1.074_511_423, [-28.6732, -32.1397, -38.5068, -54.0165]),
            (3.0, 1.156_959_79, [-17.7725, -31.6698, -34.7161, -41.1717]),
            (6.0, 1.217_721_31, [-12.924, -26.9864, -35.6835, -32.9246]),
            (12.0, 1.259_720_546, [-10.2989, -16.336, -21.9346, -28.4729]),
            (20.0, 1.271_114_284, [-9.6589, -14.3306, -17.6102, -20.2788]),
            (40.0, 1.273_218_324, [-9.5436, -13.9829, -16.9089, -19.0964]),
        ] {
            let lines = spectrum(&tone_through(&with("hard clip", drive_db), rate_hz, 1000, 1.0));
            assert!(db(lines[1000] / b1).abs() < 0.005, "{drive_db} dB: {}", lines[1000]);
            for (n, expected) in [3, 5, 7, 9].into_iter().zip(rest) {
                let level = db(lines[1000 * n] / lines[1000]);
                assert!((level - expected).abs() < 0.1, "{drive_db} dB, harmonic {n}: {level} for {expected}");
            }
            assert!(db(lines[2000] / lines[1000]) < -150.0, "a symmetrical curve makes no even harmonics");
        }
    }
}

#[test]
fn tanhs_harmonics_are_those_of_the_table() {
    for rate_hz in RATES_HZ {
        // Harmonics of tanh(A cos t) by numerical Fourier integral (SciPy): fundamental, 3rd and 5th in dB.
        for (peak, h1, third, fifth) in [
            (0.25, 0.246_173_369, -45.8006, -89.995),
            (0.5, 0.471_142_828, -34.1494, -66.6273),
            (1.0, 0.811_675_685, -23.5003, -45.091),
            (2.0, 1.117_941_837, -15.451, -28.2981),
            (4.0, 1.238_112_25, -11.3147, -18.8256),
        ] {
            let lines = spectrum(&tone_through(&with("tanh", 0.0), rate_hz, 1000, peak));
            assert!(db(lines[1000] / h1).abs() < 0.001);
            assert!((db(lines[3000] / lines[1000]) - third).abs() < 0.01, "{peak}");
            assert!((db(lines[5000] / lines[1000]) - fifth).abs() < 0.01, "{peak}");
        }
    }
}

#[test]
fn the_cubics_harmonics_are_the_polynomials() {
    for rate_hz in RATES_HZ {
        // 1.5x - 0.5x^3 of A cos t, A = 1 and 0.5 (h1 = c1 A + 3/4 c3 A^3, h3 = 1/4 c3 A^3): h1 1.125 and 0.703125,
        // H3 -19.0849 and -33.0643 dB. The cubic here is that polynomial of two thirds of its input.
        for (peak, h1, third) in [(1.0, 1.125, -19.0849), (0.5, 0.703_125, -33.0643)] {
            let lines = spectrum(&tone_through(&with("cubic", 0.0), rate_hz, 1000, 1.5 * peak));
            assert!((lines[1000] / h1 - 1.0).abs() < 1e-4, "{}", lines[1000]);
            assert!((db(lines[3000] / lines[1000]) - third).abs() < 0.01);
            assert!(db(lines[5000] / lines[1000]) < -120.0);
        }
    }
}

#[test]
fn odd_and_even_amounts_move_their_own_harmonics_only() {
    for rate_hz in RATES_HZ {
        for shape in shapes::SHAPES {
            let bend = Bend::of(Shape::at(shapes::SHAPES.iter().position(|s| s == shape).expect("listed")));
            let mut last: Option<Vec<f64>> = None;
            for (odd, even) in [(1.0, 0.0), (1.0, 0.5), (0.4, 0.5), (0.0, 1.0)] {
                let settings =
                    with(shape, 6.0).with_number(&ODD_PERCENT, 100.0 * odd).with_number(&EVEN_PERCENT, 100.0 * even);
                let lines = spectrum(&tone_through(&settings, rate_hz, 500, 0.7));
                let amounts = Amounts { gain: gain_from_db(6.0), odd, even, through: 1.0 };
                let exact = harmonics(|x| (bend.value)(amounts.gain * x, &amounts), 0.7);
                for n in 1..10 {
                    // Within 0.1 dB, down to -90 dB under the fundamental.
                    let error = (lines[500 * n] - exact[n].abs()).abs();
                    let allowed = (0.0116 * exact[n].abs()).max(3e-5 * exact[1].abs());
                    assert!(error < allowed, "{shape} {odd} {even} harmonic {n}: {} for {}", lines[500 * n], exact[n]);
                }
                assert!(lines[0] < 1e-6, "{shape}: direct current {}", lines[0]);
                if let Some(last) = last.filter(|_| odd == 0.4) {
                    assert!((lines[1000] / last[1000] - 1.0).abs() < 1e-6, "{shape}: the odd amount moved the second");
                }
                last = Some(lines);
            }
        }
    }
}

/// Worst line below 20 kHz that is no harmonic, in dB under the fundamental.
fn worst_alias(settings: &Settings, rate_hz: f64) -> f64 {
    let lines = spectrum(&tone_through(settings, rate_hz, 5000, 1.0));
    let worst = (20..20_000).filter(|hz| hz % 5000 != 0).map(|hz| lines[hz]).fold(0.0, f64::max);
    db(worst / lines[5000])
}

#[test]
fn aliases_of_a_5_khz_tone_at_18_db_stay_below_their_figures() {
    for rate_hz in RATES_HZ {
        for (shape, most) in [
            ("tanh", -100.0),
            ("cubic", -100.0),
            ("tube", -100.0),
            ("diode", -100.0),
            ("hard clip", -80.0),
            ("fuzz", -80.0),
        ] {
            for even in [0.0, 60.0] {
                let worst = worst_alias(&with(shape, 18.0).with_number(&EVEN_PERCENT, even), rate_hz);
                assert!(worst < most, "{rate_hz} {shape} even {even}: {worst} dB");
            }
        }
    }
}

/// The response of the left channel to an impulse.
fn impulse_response(settings: &Settings, rate_hz: f64, height: f64) -> (Vec<f64>, usize) {
    let mut drive = Drive::new(settings, &Context::plain(rate_hz, 1));
    let mut audio = vec![SILENCE; 4096];
    audio[0] = [height, 0.0];
    drive.process(&mut Block::key_only(&mut audio), None);
    (audio.iter().map(|frame| frame[0] / height).collect(), drive.latency_frames())
}

#[test]
fn a_straight_drive_beside_its_source_is_flat_at_every_factor() {
    for rate_hz in RATES_HZ {
        for shape in shapes::SHAPES {
            for oversampling in ["1x", "2x", "4x", "8x", "16x"] {
                for stages in ["1", "3"] {
                    let settings = with(shape, 0.0)
                        .with_choice(&OVERSAMPLING, oversampling)
                        .with_choice(&STAGES, stages)
                        .with_number(&ODD_PERCENT, 0.0)
                        .with_number(&PRE_EMPHASIS_DB, 6.0)
                        .with_number(&MIX_PERCENT, 50.0);
                    let (impulse, late) = impulse_response(&settings, rate_hz, 0.5);
                    for hz in [20.0, 1000.0, 10_000.0, 15_000.0, 20_000.0] {
                        let (mut re, mut im) = (0.0, 0.0);
                        for (n, x) in impulse.iter().enumerate() {
                            let (sin, cos) = libm::sincos(TAU * hz / rate_hz * (n as f64 - late as f64));
                            re += x * cos;
                            im += x * sin;
                        }
                        let level = db((re * re + im * im).sqrt());
                        assert!(level.abs() < 1e-3, "{shape} {oversampling}, {stages} stages, {hz} Hz: {level} dB");
                    }
                }
            }
        }
    }
}

#[test]
fn the_level_neutral_law_holds_the_reference_sine() {
    for rate_hz in RATES_HZ {
        for shape in shapes::SHAPES {
            for (drive_db, even, stages) in [(-12.0, 0.0, "1"), (6.0, 50.0, "1"), (24.0, 0.0, "2"), (40.0, 80.0, "4")] {
                let settings = with(shape, drive_db)
                    .with_number(&EVEN_PERCENT, even)
                    .with_choice(&STAGES, stages)
                    .with(&LEVEL_NEUTRAL, Value::Switch(true));
                let peak = gain_from_db(REFERENCE_DBFS);
                let second = tone_through(&settings, rate_hz, 100, peak);
                let power = second.iter().map(|x| x * x).sum::<f64>() / second.len() as f64;
                let level = 10.0 * libm::log10(2.0 * power / (peak * peak));
                assert!(level.abs() < 0.1, "{shape} at {drive_db} dB, even {even}, {stages} stages: {level} dB");
            }
        }
    }
}

#[test]
fn stages_follow_one_another_and_share_the_drive() {
    for rate_hz in RATES_HZ {
        // Two stages of 6 dB each: tanh(g tanh(g x)), by its own Fourier integral.
        let lines = spectrum(&tone_through(&with("tanh", 12.0).with_choice(&STAGES, "2"), rate_hz, 500, 0.7));
        let gain = gain_from_db(6.0);
        let exact = harmonics(|x| libm::tanh(gain * libm::tanh(gain * x)), 0.7);
        for n in [1, 3, 5, 7, 9] {
            assert!(db(lines[500 * n] / exact[n].abs()).abs() < 0.1, "harmonic {n}");
        }
    }
}

#[test]
fn asymmetry_leaves_no_direct_current_in_any_number_of_stages() {
    for rate_hz in RATES_HZ {
        for stages in ["1", "2", "4"] {
            let settings = with("tube", 18.0).with_number(&EVEN_PERCENT, 100.0).with_choice(&STAGES, stages);
            let lines = spectrum(&tone_through(&settings, rate_hz, 200, 1.0));
            assert!(db(lines[0] / lines[200]) < -100.0, "{stages}: {} dB", db(lines[0] / lines[200]));
        }
    }
}

#[test]
fn emphasis_bends_the_treble_and_leaves_quiet_sound_alone() {
    for rate_hz in RATES_HZ {
        let third = |emphasis_db: f64, hz: usize| {
            let settings = with("tanh", 0.0).with_number(&PRE_EMPHASIS_DB, emphasis_db);
            let lines = spectrum(&tone_through(&settings, rate_hz, hz, 0.25));
            db(lines[3 * hz] / lines[hz])
        };
        // 6 dB more into the curve is 12 dB more of the third harmonic; de-emphasis, the same at both, takes nothing back.
        let (plain, lifted) = (third(0.0, 5000), third(6.0, 5000));
        assert!(lifted - plain > 9.0 && lifted - plain < 12.5, "{plain} {lifted}");
        assert!((third(0.0, 100) - third(6.0, 100)).abs() < 0.7);
    }
}
