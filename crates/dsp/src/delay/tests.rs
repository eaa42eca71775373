//! Tests of the delay, against figures from outside.

use units::Value;

use super::*;
use crate::space::acoustics::{noise, response, run};

fn delay(settings: &Settings) -> Box<dyn Processor> {
    build(settings, &Context::plain(48_000.0, 1)).expect("a delay can be built")
}

fn defaults() -> Settings {
    Settings::defaults(&SPEC)
}

fn noise_frames(seed: u64, frames: usize) -> Vec<Frame> {
    let mut gauss = noise(seed);
    (0..frames).map(|_| [gauss(), gauss()]).collect()
}

#[test]
fn repeats_stand_at_the_time_and_fall_by_the_feedback() {
    let settings = defaults().with_number(&TIME, 100.0).with_number(&FEEDBACK, 50.0).with_number(&PRE_DELAY, 10.0);
    let h = response(delay(&settings).as_mut(), [1.0, -1.0], 20_000);
    for (n, frame) in h.iter().enumerate() {
        let expected = match n {
            5280 => 1.0,
            10_080 => 0.5,
            14_880 => 0.25,
            19_680 => 0.125,
            _ => 0.0,
        };
        assert_eq!(*frame, [expected, -expected], "frame {n}");
    }
}

#[test]
fn note_values_are_those_of_the_tempo() {
    // Arithmetic: at 120 beats a minute a quarter is 500 ms, a sixteenth 125 ms, a 1/64 31.25 ms, an eighth triplet 166.67 ms.
    for (note, ms) in [("1/1", 2000.0), ("1/4", 500.0), ("1/16", 125.0), ("1/64", 31.25), ("1/8 triplet", 166.667)] {
        let h = response(delay(&defaults().with_choice(&NOTE, note)).as_mut(), [1.0, 1.0], 100_000);
        let first = h.iter().position(|x| x[0] != 0.0).expect("there is a repeat");
        assert_eq!(first, (ms * 48.0_f64).round() as usize, "{note}");
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
