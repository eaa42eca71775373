//! Tests of the convolution, against figures from outside.

use units::{Block, SILENCE, Value};

use super::*;
use crate::space::acoustics::{noise, noise_frames, response, run};

/// Decaying noise responses of `frames` frames, one a channel.
fn taps(seed: u64, channels: usize, frames: usize) -> Channels {
    let mut gauss = noise(seed);
    let fall = |n: usize| 0.1 * libm::pow(10.0, -3.0 * n as f64 / frames as f64);
    (0..channels).map(|_| (0..frames).map(|n| fall(n) * gauss()).collect()).collect()
}

fn file(settings: Settings, param: &Param, name: &str) -> Settings {
    settings.with(param, Value::File(Some(name.to_owned())))
}

/// Builds a convolution with responses named "a" and, if given, "b".
fn try_build(settings: Settings, files: &[&Channels], lanes: usize) -> Result<Box<dyn Processor>, BuildError> {
    let audio = |name: &str| Ok((*files[usize::from(name == "b")]).clone());
    let context = Context { audio: &audio, ..Context::plain(48_000.0, lanes) };
    let mut settings = file(settings, &FILE, "a");
    if files.len() == 2 {
        settings = file(settings, &FILE_RIGHT, "b");
    }
    build(&settings, &context)
}

fn convolution(settings: Settings, files: &[&Channels], lanes: usize) -> Box<dyn Processor> {
    try_build(settings, files, lanes).expect("the responses can be used")
}

fn plain(files: &[&Channels]) -> Box<dyn Processor> {
    convolution(Settings::defaults(&SPEC), files, 1)
}

/// The defining sum at a frame; `paths[from][to]` are the taps of each path.
fn direct(x: &[Frame], paths: [[&[f64]; 2]; 2], at: usize) -> Frame {
    let path = |from: usize, to: usize| -> f64 {
        paths[from][to].iter().take(at + 1).enumerate().map(|(k, h)| h * x[at - k][from]).sum()
    };
    [path(0, 0) + path(1, 0), path(0, 1) + path(1, 1)]
}

/// Worst difference from the defining sum at some frames.
fn error(y: &[Frame], x: &[Frame], paths: [[&[f64]; 2]; 2], at: impl Iterator<Item = usize>) -> f64 {
    let one = |n: usize| {
        let expected = direct(x, paths, n);
        (y[n][0] - expected[0]).abs().max((y[n][1] - expected[1]).abs())
    };
    at.map(one).fold(0.0, f64::max)
}

#[test]
fn the_result_is_the_defining_sum_at_every_length() {
    // Definition of the discrete convolution; lengths on both sides of every stage's bounds.
    for length in [1, 2, 63, 64, 65, 127, 128, 129, 1000, 1024, 1025, 2049, 5000, 16_384, 16_385, 40_000] {
        let a = taps(1, 2, length);
        let x = noise_frames(2, 50_000);
        let mut y = x.clone();
        run(plain(&[&a]).as_mut(), &mut y, 512);
        let at = (0..x.len()).step_by(97).chain([0, 1, 63, 64, 1023, 1024, 16_383, 16_384, 49_999]);
        let worst = error(&y, &x, [[&a[0], &[]], [&[], &a[1]]], at);
        assert!(worst < 1e-12, "{length} taps: {worst:e}");
    }
}

#[test]
fn the_first_frame_answers_the_first_frame() {
    // No latency at any rate: the definition at n = 0 is h[0] x[0].
    for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
        let a = taps(13, 2, 20_000);
        let audio = |_: &str| Ok(a.clone());
        let context = Context { audio: &audio, ..Context::plain(rate_hz, 1) };
        let mut convolution = build(&file(Settings::defaults(&SPEC), &FILE, "a"), &context).expect("it can be built");
        let h = response(convolution.as_mut(), [1.0, 1.0], 20_000);
        assert_eq!(convolution.latency_frames(), 0);
        for (n, y) in h.iter().enumerate() {
            assert!((0..2).all(|c| (y[c] - a[c][n]).abs() < 1e-15), "{rate_hz} Hz, frame {n}");
        }
    }
}

#[test]
fn four_channels_take_all_four_paths() {
    // Definition; the order LL, LR, RL, RR as the sheet states it. The same from two files of two channels, of which
    // one is shorter.
    let four = taps(3, 4, 3000);
    let left: Channels = four[..2].to_vec().into();
    let right: Channels = four[2..].iter().map(|taps| taps[..2000].to_vec()).collect();
    for (files, right_frames) in [(vec![&four], 3000), (vec![&left, &right], 2000)] {
        let x = noise_frames(5, 6000);
        let mut y = x.clone();
        run(plain(&files).as_mut(), &mut y, 333);
        let paths = [[&*four[0], &*four[1]], [&four[2][..right_frames], &four[3][..right_frames]]];
        let worst = error(&y, &x, paths, (0..6000).step_by(17));
        assert!(worst < 1e-12, "{} files: {worst:e}", files.len());
    }
    // What comes in on the left is heard on the right through the second channel.
    let mut left_only = vec![SILENCE; 3000];
    left_only[0] = [1.0, 0.0];
    run(plain(&[&four]).as_mut(), &mut left_only, 4096);
    assert!(left_only.iter().zip(&four[1]).all(|(y, h)| (y[1] - h).abs() < 1e-14));
}

#[test]
fn one_channel_serves_both_sides() {
    let mono = taps(14, 1, 500);
    let h = response(plain(&[&mono]).as_mut(), [1.0, -1.0], 500);
    assert!(h.iter().zip(&mono[0]).all(|(y, h)| (y[0] - h).abs() < 1e-15 && (y[1] + h).abs() < 1e-15));
}

#[test]
fn other_numbers_of_channels_are_refused_with_those_that_are_accepted() {
    let message =
        |files: &[&Channels]| try_build(Settings::defaults(&SPEC), files, 1).err().expect("it is refused").message;
    let (one, two, three) = (taps(1, 1, 9), taps(1, 2, 9), taps(1, 3, 9));
    let refused = message(&[&three]);
    for part in ["“a”", "3 channels", "1 (mono)", "2 (left, right)", "4 (true stereo: LL, LR, RL, RR)"] {
        assert!(refused.contains(part), "{refused}");
    }
    assert!(message(&[&two, &one]).contains("“b” has 1 channel;"));
    assert!(message(&[&taps(1, 4, 9), &two]).contains("“a” has 4 channels"));
}

#[test]
fn the_result_does_not_depend_on_the_blocks() {
    let a = taps(6, 4, 20_000);
    let x = noise_frames(7, 30_000);
    let settings = Settings::defaults(&SPEC).with_number(&PRE_DELAY, 7.3).with_number(&SPREAD, 100.0);
    let render = |block: usize| {
        let mut y = x.clone();
        run(convolution(settings.clone(), &[&a], 1).as_mut(), &mut y, block);
        y
    };
    let whole = render(4096);
    for block in [1, 37, 64, 1000] {
        assert!(render(block) == whole, "blocks of {block}");
    }
}

#[test]
fn spread_leaves_the_mono_sum_alone_and_costs_less_than_a_decibel() {
    let a = taps(8, 1, 5000);
    let x: Vec<Frame> = noise_frames(9, 48_000).iter().map(|x| [x[0], x[0]]).collect();
    let render = |spread: f64| {
        let mut y = x.clone();
        let settings = Settings::defaults(&SPEC).with_number(&SPREAD, spread);
        run(convolution(settings, &[&a], 1).as_mut(), &mut y, 512);
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
fn a_file_that_is_missing_silent_faulty_or_unnamed_is_refused_by_name() {
    let audio = |name: &str| match name {
        "silent.wav" => Ok(vec![vec![0.0; 10]; 2].into()),
        "faulty.wav" => Ok(vec![vec![f64::NAN; 10]; 2].into()),
        _ => (Context::plain(48_000.0, 1).audio)(name),
    };
    let context = Context { audio: &audio, ..Context::plain(48_000.0, 1) };
    let message = |settings: &Settings| build(settings, &context).err().expect("it is refused").message;
    let defaults = Settings::defaults(&SPEC);
    assert!(message(&defaults).contains("names no impulse response"));
    assert!(message(&file(defaults.clone(), &FILE, "hall.wav")).contains("hall.wav"));
    assert!(message(&file(defaults.clone(), &FILE, "silent.wav")).contains("is silent"));
    assert!(message(&file(defaults, &FILE, "faulty.wav")).contains("not numbers"));
}

#[test]
fn followers_sum_to_the_key() {
    let a = taps(10, 4, 3000);
    let (one, two) = (noise_frames(11, 4000), noise_frames(12, 4000));
    let mut data: Vec<Frame> = one.iter().zip(&two).map(|(a, b)| [a[0] + b[0], a[1] + b[1]]).collect();
    data.extend(one.iter().chain(&two).chain(&vec![SILENCE; 4000]));
    convolution(Settings::defaults(&SPEC), &[&a], 4).process(&mut Block::new(&mut data, 4000, 4000), None);
    for n in 0..4000 {
        let rest = [0, 1].map(|c| data[n][c] - data[4000 + n][c] - data[8000 + n][c] - data[12_000 + n][c]);
        assert!(rest.iter().all(|x| x.abs() < 1e-12), "frame {n}: {rest:?}");
    }
}
