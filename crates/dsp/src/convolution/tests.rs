//! Tests of the convolution, against figures from outside.

use super::*;
use crate::space::acoustics::{noise, run};

/// A decaying noise response of `frames` frames.
fn taps(seed: u64, frames: usize) -> Arc<[Frame]> {
    let mut gauss = noise(seed);
    (0..frames)
        .map(|n| {
            let fall = libm::pow(10.0, -3.0 * n as f64 / frames as f64);
            [0, 1].map(|_| 0.1 * fall * gauss())
        })
        .collect()
}

fn noise_frames(seed: u64, frames: usize) -> Vec<Frame> {
    let mut gauss = noise(seed);
    (0..frames).map(|_| [gauss(), gauss()]).collect()
}

fn file(settings: Settings, param: &Param, name: &str) -> Settings {
    settings.with(param, Value::File(Some(name.to_owned())))
}

/// A convolution with responses named "a" and, if given, "b".
fn convolution(settings: Settings, a: &Arc<[Frame]>, b: Option<&Arc<[Frame]>>, lanes: usize) -> Convolution {
    let audio = |name: &str| if name == "a" { Some(a.clone()) } else { b.cloned() };
    let context = Context { rate_hz: 48_000.0, lanes, tempo_bpm: 120.0, audio: &audio };
    let mut settings = file(settings, &FILE, "a");
    if b.is_some() {
        settings = file(settings, &FILE_RIGHT, "b");
    }
    Convolution::new(&settings, &context, &response(&settings, &context).expect("both files are there"))
}

fn plain(a: &Arc<[Frame]>, b: Option<&Arc<[Frame]>>) -> Convolution {
    convolution(Settings::defaults(&SPEC), a, b, 1)
}

/// The defining sum, for the frames from `from` on.
fn direct(x: &[Frame], a: &[Frame], b: Option<&[Frame]>, at: usize) -> Frame {
    let mut y = [0.0; 2];
    for k in 0..a.len().min(at + 1) {
        let x = x[at - k];
        match b {
            None => y = [y[0] + a[k][0] * x[0], y[1] + a[k][1] * x[1]],
            Some(b) => y = [0, 1].map(|c| y[c] + a[k][c] * x[0] + b.get(k).map_or(0.0, |b| b[c]) * x[1]),
        }
    }
    y
}

#[test]
fn the_result_is_the_defining_sum_at_every_length() {
    // Definition of the discrete convolution; lengths on both sides of every stage's bounds.
    for length in [1, 2, 63, 64, 65, 127, 128, 129, 1000, 1024, 1025, 2049, 5000, 16_384, 16_385, 40_000] {
        let a = taps(1, length);
        let x = noise_frames(2, 50_000);
        let mut y = x.clone();
        run(&mut plain(&a, None), &mut y, 512);
        let at = (0..x.len()).step_by(97).chain([0, 1, 63, 64, 1023, 1024, 16_383, 16_384, 49_999]);
        let worst = at.map(|n| (0..2).map(|c| (y[n][c] - direct(&x, &a, None, n)[c]).abs()).fold(0.0, f64::max));
        let worst = worst.fold(0.0, f64::max);
        assert!(worst < 1e-12, "{length} taps: {worst:e}");
    }
}

#[test]
fn two_responses_take_all_four_paths() {
    let (a, b) = (taps(3, 3000), taps(4, 2000));
    let x = noise_frames(5, 6000);
    let mut y = x.clone();
    run(&mut plain(&a, Some(&b)), &mut y, 333);
    for n in (0..6000).step_by(17) {
        let expected = direct(&x, &a, Some(&b), n);
        assert!((0..2).all(|c| (y[n][c] - expected[c]).abs() < 1e-12), "frame {n}");
    }
    // What comes in on the left is heard on the right through the left file's right channel.
    let mut left_only = vec![SILENCE; 3000];
    left_only[0] = [1.0, 0.0];
    run(&mut plain(&a, Some(&b)), &mut left_only, 4096);
    assert!(left_only.iter().zip(a.iter()).all(|(y, h)| (y[1] - h[1]).abs() < 1e-14));
}

#[test]
fn the_result_does_not_depend_on_the_blocks() {
    let a = taps(6, 20_000);
    let x = noise_frames(7, 30_000);
    let settings = Settings::defaults(&SPEC).with_number(&PRE_DELAY, 7.3).with_number(&SPREAD, 100.0);
    let render = |block: usize| {
        let mut y = x.clone();
        run(&mut convolution(settings.clone(), &a, None, 1), &mut y, block);
        y
    };
    let whole = render(4096);
    for block in [1, 37, 64, 1000] {
        assert!(render(block) == whole, "blocks of {block}");
    }
}

#[test]
fn spread_leaves_the_mono_sum_alone_and_costs_less_than_a_decibel() {
    let a: Arc<[Frame]> = taps(8, 5000).iter().map(|h| [h[0], h[0]]).collect();
    let x: Vec<Frame> = noise_frames(9, 48_000).iter().map(|x| [x[0], x[0]]).collect();
    let render = |spread: f64| {
        let mut y = x.clone();
        run(&mut convolution(Settings::defaults(&SPEC).with_number(&SPREAD, spread), &a, None, 1), &mut y, 512);
        y
    };
    let (narrow, wide) = (render(0.0), render(100.0));
    let power = |f: &dyn Fn(&Frame) -> f64, y: &[Frame]| y.iter().map(|y| f(y) * f(y)).sum::<f64>();
    let mid = |y: &Frame| 0.5 * (y[0] + y[1]);
    let side = |y: &Frame| 0.5 * (y[0] - y[1]);
    let null = narrow.iter().zip(&wide).map(|(a, b)| (mid(a) - mid(b)).abs()).fold(0.0, f64::max);
    assert!(null < 1e-14, "{null:e}");
    // Level lost in mono for uncorrelated middle and side: 10 log10(1 + S/M); S/M of -6 dB costs 0.97 dB (arithmetic).
    let loss = units::db_from_power(1.0 + power(&side, &wide) / power(&mid, &wide));
    assert!((0.7..1.0).contains(&loss), "{loss} dB");
}

#[test]
fn a_file_that_is_missing_silent_or_unnamed_is_refused_by_name() {
    let silent: Arc<[Frame]> = vec![SILENCE; 10].into();
    let audio = |name: &str| (name == "silent.wav").then(|| silent.clone());
    let context = Context { rate_hz: 48_000.0, lanes: 1, tempo_bpm: 120.0, audio: &audio };
    let message = |settings: &Settings| build(settings, &context).err().expect("it is refused").message;
    let defaults = Settings::defaults(&SPEC);
    assert!(message(&defaults).contains("names no impulse response"));
    assert!(message(&file(defaults.clone(), &FILE, "hall.wav")).contains("hall.wav"));
    assert!(message(&file(defaults, &FILE, "silent.wav")).contains("silent"));
}

#[test]
fn followers_sum_to_the_key() {
    let a = taps(10, 3000);
    let (one, two) = (noise_frames(11, 4000), noise_frames(12, 4000));
    let mut data: Vec<Frame> = one.iter().zip(&two).map(|(a, b)| [a[0] + b[0], a[1] + b[1]]).collect();
    data.extend(one.iter().chain(&two).chain(&vec![SILENCE; 4000]));
    convolution(Settings::defaults(&SPEC), &a, None, 4).process(&mut Block::new(&mut data, 4000, 4000), None);
    for n in 0..4000 {
        let rest = [0, 1].map(|c| data[n][c] - data[4000 + n][c] - data[8000 + n][c] - data[12_000 + n][c]);
        assert!(rest.iter().all(|x| x.abs() < 1e-12), "frame {n}: {rest:?}");
    }
}
