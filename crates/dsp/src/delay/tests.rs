//! Tests of the delay, against figures from outside.

use units::Value;

use super::*;
use crate::space::acoustics::{noise, noise_frames, response, run};

const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];

fn delay_at(settings: &Settings, rate_hz: f64) -> Box<dyn Processor> {
    build(settings, &Context::plain(rate_hz, 1)).expect("a delay can be built")
}

fn delay(settings: &Settings) -> Box<dyn Processor> {
    delay_at(settings, 48_000.0)
}

fn defaults() -> Settings {
    Settings::defaults(&SPEC)
}

#[test]
fn repeats_stand_at_the_time_and_fall_by_the_feedback() {
    // Arithmetic: repeat k at pre + k t, at g^(k - 1).
    let settings = defaults().with_number(&TIME, 100.0).with_number(&FEEDBACK, 50.0).with_number(&PRE_DELAY, 10.0);
    for rate_hz in RATES_HZ {
        let frames = |ms: f64| (ms * 1e-3 * rate_hz).round() as usize;
        let h = response(delay_at(&settings, rate_hz).as_mut(), [1.0, -1.0], frames(415.0));
        let repeats = [(110.0, 1.0), (210.0, 0.5), (310.0, 0.25), (410.0, 0.125)];
        for (n, frame) in h.iter().enumerate() {
            let level = repeats.iter().find(|(ms, _)| frames(*ms) == n).map_or(0.0, |(_, level)| *level);
            assert_eq!(*frame, [level, -level], "{rate_hz} Hz, frame {n}");
        }
    }
}

#[test]
fn note_values_are_those_of_the_tempo() {
    // Arithmetic: at 120 beats a minute a quarter is 500 ms, a sixteenth 125 ms, a 1/64 31.25 ms, an eighth triplet 166.67 ms.
    for rate_hz in RATES_HZ {
        for (note, ms) in [("1/1", 2000.0), ("1/4", 500.0), ("1/16", 125.0), ("1/64", 31.25), ("1/8 triplet", 166.667)]
        {
            let mut delay = delay_at(&defaults().with_choice(&NOTE, note), rate_hz);
            let h = response(delay.as_mut(), [1.0, 1.0], (2.1 * rate_hz) as usize);
            let first = h.iter().position(|x| x[0] != 0.0).expect("there is a repeat");
            assert_eq!(first, (ms * 1e-3 * rate_hz).round() as usize, "{note} at {rate_hz} Hz");
        }
    }
}

/// Level in dB of a part of a response at a frequency.
fn level_db(part: &[Frame], hz: f64, rate_hz: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, frame) in part.iter().enumerate() {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * hz * n as f64 / rate_hz);
        (re, im) = (re + frame[0] * cos, im - frame[0] * sin);
    }
    units::db_from_power(re * re + im * im)
}

#[test]
fn every_repeat_goes_through_the_cuts_once_more() {
    // Butterworth 1930, second order: k passes cost k 10 log10(1 + (f/fc)^4) dB; half power at the corner. The bilinear
    // transform keeps the corner where it is and leaves the pass band.
    let settings = defaults().with_number(&TIME, 200.0).with_number(&FEEDBACK, 50.0);
    let settings = settings.with_number(&LOW_CUT, 300.0).with_number(&HIGH_CUT, 3000.0);
    for rate_hz in RATES_HZ {
        let repeat = (0.2 * rate_hz).round() as usize;
        let h = response(delay_at(&settings, rate_hz).as_mut(), [1.0, 1.0], 4 * repeat);
        for k in 1..=3 {
            let part = &h[k * repeat..(k + 1) * repeat];
            let feedback_db = -6.0206 * (k - 1) as f64;
            for (hz, db) in [(300.0, -3.0107), (3000.0, -3.0107), (950.0, -0.086)] {
                let expected = feedback_db + db * k as f64;
                let got = level_db(part, hz, rate_hz);
                assert!(
                    (got - expected).abs() < 0.02 * k as f64,
                    "{rate_hz}: repeat {k}, {hz} Hz: {got} for {expected}"
                );
            }
        }
    }
}

#[test]
fn the_characters_blur_the_repeats_and_leave_their_middle_level_alone() {
    // Schroeder 1961: all-pass sections change no level; the character's band is 3 dB down at its corners (Butterworth),
    // so 1 kHz passes a tube (140 Hz to 3.8 kHz) within 0.03 dB and a slap (70 Hz to 6.5 kHz) within 0.01 dB a pass.
    // Blur: the largest share of the energy that one millisecond holds.
    for rate_hz in RATES_HZ {
        for (character, band_hz, most_share) in
            [("clean", None, 1.01), ("tube", Some([140.0, 3800.0]), 0.3), ("slap", Some([70.0, 6500.0]), 0.9)]
        {
            let settings =
                defaults().with_number(&TIME, 250.0).with_number(&FEEDBACK, 0.0).with_choice(&CHARACTER, character);
            let h = response(delay_at(&settings, rate_hz).as_mut(), [1.0, 1.0], (0.75 * rate_hz) as usize);
            let middle = level_db(&h, 1000.0, rate_hz);
            assert!(middle.abs() < 0.04, "{character} at {rate_hz} Hz: {middle} dB");
            for hz in band_hz.into_iter().flatten() {
                let corner = level_db(&h, hz, rate_hz);
                assert!((corner + 3.0103).abs() < 0.02, "{character} at {rate_hz} Hz: {corner} dB at {hz} Hz");
            }
            let energy = |part: &[Frame]| part.iter().map(|y| y[0] * y[0]).sum::<f64>();
            let share = h.chunks((1e-3 * rate_hz) as usize).map(energy).fold(0.0, f64::max) / energy(&h);
            assert!(share < most_share, "{character} at {rate_hz} Hz: {share}");
        }
    }
}

#[test]
fn the_repeats_step_back_while_the_source_plays_and_return() {
    // Arithmetic: 12 dB above the threshold the repeats are back by duck_db. In a pause the envelope falls by
    // 20 log10(e) = 8.686 dB a release, so from 24 dB above the threshold it takes 24 / 8.686 = 2.76 releases until it is
    // there and the repeats are up again.
    let settings = defaults().with_number(&TIME, 1.0).with_number(&FEEDBACK, 0.0).with_number(&DUCK, 9.0);
    let settings = settings.with_number(&DUCK_THRESHOLD, -36.0).with_number(&DUCK_RELEASE, 100.0);
    for rate_hz in RATES_HZ {
        let mut delay = delay_at(&settings, rate_hz);
        let frames = |ms: f64| (ms * 1e-3 * rate_hz) as usize;
        let key = vec![[units::gain_from_db(-12.0); 2]; frames(200.0)];
        let pause = vec![SILENCE; frames(400.0)];
        let mut levels = Vec::new();
        for key in [key, pause].concat().chunks(frames(1.0)) {
            let mut steady = vec![[0.5; 2]; key.len()];
            delay.process(&mut units::Block::key_only(&mut steady), Some(key));
            levels.push(units::db_from_gain(steady[key.len() - 1][0] / 0.5));
        }
        assert!((levels[190] + 9.0).abs() < 0.01, "{rate_hz}: {}", levels[190]);
        assert!((levels[590]).abs() < 0.01, "{rate_hz}: {}", levels[590]);
        // Half way up 18 dB into the fall: 207 ms after the pause began.
        let half = levels[200..].iter().position(|level| *level > -4.5).expect("they return");
        assert!((half as f64 - 207.2).abs() < 3.0, "{rate_hz}: {half} ms");
    }
}

#[test]
fn spread_stays_out_of_the_mono_sum() {
    // The side is added with opposite signs; 0.473^2 = -6.5 dB of the middle costs 0.88 dB in mono (arithmetic).
    for rate_hz in RATES_HZ {
        let render = |spread: f64| {
            let settings =
                defaults().with_number(&TIME, 10.0).with_number(&FEEDBACK, 50.0).with_number(&SPREAD, spread);
            response(delay_at(&settings, rate_hz).as_mut(), [1.0, 1.0], rate_hz as usize)
        };
        let (narrow, wide) = (render(0.0), render(100.0));
        let mid = |y: &Frame| 0.5 * (y[0] + y[1]);
        let null = narrow.iter().zip(&wide).map(|(a, b)| (mid(a) - mid(b)).abs()).fold(0.0, f64::max);
        assert!(null < 1e-15, "{null:e}");
        let power = |f: &dyn Fn(&Frame) -> f64| wide.iter().map(|y| f(y) * f(y)).sum::<f64>();
        let loss = units::db_from_power(1.0 + power(&|y| 0.5 * (y[0] - y[1])) / power(&mid));
        assert!((0.8..1.0).contains(&loss), "{rate_hz}: {loss} dB");
    }
}

#[test]
fn bouncing_repeats_take_turns() {
    let settings = defaults().with_number(&TIME, 10.0).with_number(&FEEDBACK, 50.0).with(&BOUNCE, Value::Switch(true));
    let h = response(delay(&settings).as_mut(), [1.0, 1.0], 2000);
    assert_eq!([h[480], h[960], h[1440]], [[1.0, 0.0], [0.0, 0.5], [0.25, 0.0]]);
}

#[test]
fn no_setting_runs_away() {
    let mut gauss = noise(4);
    for character in ["clean", "tube", "slap"] {
        for (low, high) in [(0.0, 20_000.0), (2000.0, 20_000.0), (0.0, 200.0), (2000.0, 200.0)] {
            let settings = defaults()
                .with_choice(&CHARACTER, character)
                .with_number(&FEEDBACK, 95.0)
                .with_number(&TIME, 1.0)
                .with_number(&LOW_CUT, low)
                .with_number(&HIGH_CUT, high);
            let mut delay = delay(&settings);
            let mut x: Vec<Frame> = (0..48_000).map(|_| [gauss(), gauss()]).collect();
            run(delay.as_mut(), &mut x, 512);
            let mut tail = vec![units::SILENCE; delay.tail_frames() + 48_000];
            run(delay.as_mut(), &mut tail, 512);
            let peak = |y: &[Frame]| y.iter().flatten().fold(0.0, |peak: f64, y| peak.max(y.abs()));
            let end = peak(&tail[tail.len() - 48_000..]);
            assert!(peak(&x) < 40.0 && end < 1e-6 * peak(&x), "{character} {low} {high}: {} {end:e}", peak(&x));
        }
    }
}

#[test]
fn the_result_does_not_depend_on_the_blocks() {
    let settings = defaults()
        .with_choice(&CHARACTER, "tube")
        .with_number(&TIME, 3.1)
        .with_number(&FEEDBACK, 70.0)
        .with_number(&DUCK, 12.0)
        .with_number(&SPREAD, 80.0)
        .with_number(&LOW_CUT, 200.0);
    let x = noise_frames(5, 20_000);
    let render = |block: usize| {
        let mut y = x.clone();
        run(delay(&settings).as_mut(), &mut y, block);
        y
    };
    let whole = render(4096);
    for block in [1, 37, 64, 1000] {
        assert!(render(block) == whole, "blocks of {block}");
    }
}
