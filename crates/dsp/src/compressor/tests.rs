//! The compressor against published figures and against plain restatements of its laws.

use super::*;
use crate::Processor;
use std::f64::consts::TAU;

const RATE: f64 = 48_000.0;

fn settings(kind: &str) -> Settings {
    Settings::defaults(&SPEC).with_choice(&KIND, kind)
}

fn built(settings: &Settings) -> Compressor {
    Compressor::new(settings, &Context::plain(RATE, 1))
}

/// What comes out for a signal in both channels; blocks of 1000 frames.
fn run(compressor: &mut Compressor, signal: &[f64]) -> Vec<f64> {
    let mut frames: Vec<Frame> = signal.iter().map(|x| [*x, *x]).collect();
    for chunk in frames.chunks_mut(1000) {
        compressor.process(&mut Block::key_only(chunk), None);
    }
    frames.iter().map(|frame| frame[0]).collect()
}

fn sine(hz: f64, amplitude: f64, frames: usize) -> Vec<f64> {
    (0..frames).map(|n| amplitude * libm::sin(TAU * hz * n as f64 / RATE)).collect()
}

fn db(x: f64) -> f64 {
    units::db_from_gain(x)
}

/// Amplitude of one frequency in whole periods of it.
fn amplitude_at(signal: &[f64], hz: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, x) in signal.iter().enumerate() {
        let (s, c) = libm::sincos(TAU * hz * n as f64 / RATE);
        re += x * c;
        im += x * s;
    }
    2.0 * libm::hypot(re, im) / signal.len() as f64
}

/// Total harmonic distortion re the fundamental in per cent, harmonics 2 to 30.
fn thd_percent(signal: &[f64], hz: f64) -> f64 {
    let power: f64 = (2..=30).map(|n| amplitude_at(signal, hz * f64::from(n))).map(|a| a * a).sum();
    100.0 * power.sqrt() / amplitude_at(signal, hz)
}

/// Steady reduction of a constant amplitude.
fn steady_reduction_db(settings: &Settings, level_db: f64) -> f64 {
    let x = gain_from_db(level_db);
    let out = run(&mut built(settings), &vec![x; 96_000]);
    db(x / out[95_999])
}

/// Giannoulis, Massberg, Reiss (JAES 60(6), 2012): T, R, W; then input and output levels from the equation.
const PUBLISHED: [([f64; 3], [[f64; 2]; 4]); 4] = [
    ([-20.0, 4.0, 0.0], [[-26.0, -26.0], [-18.0, -19.5], [-10.0, -17.5], [0.0, -15.0]]),
    ([-20.0, 4.0, 10.0], [[-24.0, -24.0375], [-20.0, -20.9375], [-16.0, -19.0375], [0.0, -15.0]]),
    ([-24.0, 2.0, 6.0], [[-26.0, -26.041_667], [-22.0, -23.041_667], [-10.0, -17.0], [0.0, -12.0]]),
    ([-30.0, 20.0, 6.0], [[-36.0, -36.0], [-32.0, -32.079_167], [-30.0, -30.7125], [0.0, -28.5]]),
];

#[test]
fn every_kind_settles_on_the_published_curve() {
    for ([t, r, w], points) in PUBLISHED {
        for kind in ["clean", "fast", "optical", "bus"] {
            let settings = settings(kind)
                .with_number(&THRESHOLD_DB, t)
                .with_number(&RATIO, r)
                .with_number(&KNEE_DB, w)
                .with_number(&RELEASE_MS, 100.0);
            for [x, y] in points {
                // The root mean square of a constant reads 3.0103 dB above it: a sine's level is its peak.
                let x_in = if kind == "bus" { x - 3.010_299_956_6 } else { x };
                let error = x - y - steady_reduction_db(&settings, x_in);
                assert!(error.abs() < 1e-6, "{kind} T {t} R {r} W {w} at {x}: off by {error} dB");
            }
        }
    }
}

#[test]
fn the_valve_kinds_ratio_grows_with_level() {
    // The same equation with T + 12 and W + 24: at T + 24 dB and a ratio of 12 (no knee) 11 dB are taken.
    let valve =
        settings("valve").with_number(&THRESHOLD_DB, -32.0).with_number(&RATIO, 12.0).with_number(&KNEE_DB, 0.0);
    let mut compressor = built(&valve);
    let reduction_at = |x: f64| compressor.curve.reduction_db(x);
    assert!((reduction_at(-8.0) - 11.0).abs() < 1e-12 && reduction_at(-32.0) == 0.0);
    let ratios: Vec<f64> = (0..=6)
        .map(|n| -32.0 + 4.0 * f64::from(n))
        .map(|x| 0.01 / (0.01 - reduction_at(x + 0.01) + reduction_at(x)))
        .collect();
    assert!(ratios.windows(2).all(|pair| pair[1] > pair[0]) && (ratios[6] - 12.0).abs() < 0.01, "{ratios:?}");
    run(&mut compressor, &vec![gain_from_db(-8.0); 96_000]);
    assert!((compressor.gain_reduction_db().unwrap() + 11.0).abs() < 1e-6);
}

/// Reductions in dB frame by frame for a constant that steps from -40 to 0 and back to -40 dB.
fn step_reductions(settings: &Settings) -> (Vec<f64>, Vec<f64>) {
    let mut compressor = built(settings);
    let quiet = gain_from_db(-40.0);
    run(&mut compressor, &vec![quiet; 4800]);
    let up = run(&mut compressor, &vec![1.0; 480_000]).iter().map(|y| -db(*y)).collect();
    let down = run(&mut compressor, &vec![quiet; 480_000]).iter().map(|y| -40.0 - db(*y)).collect();
    (up, down)
}

#[test]
fn the_worked_step_of_the_tutorials_ballistics() {
    // T -20, R 4, no knee, 10 and 100 ms, 48 kHz: 15 dB x (1 - exp(-t/10 ms)), then 15 dB x exp(-t/100 ms).
    let settings = settings("clean").with_number(&KNEE_DB, 0.0).with_number(&RELEASE_MS, 100.0);
    let (up, down) = step_reductions(&settings);
    for (ms, reduction) in [(1, 1.427_439), (5, 5.902_04), (10, 9.481_808), (20, 12.969_971), (50, 14.898_931)] {
        assert!((up[48 * ms - 1] - reduction).abs() < 1e-5, "attack, {ms} ms: {}", up[48 * ms - 1]);
    }
    for (ms, left) in [(10, 13.572_561), (50, 9.097_96), (100, 5.518_192), (200, 2.030_029), (500, 0.101_069)] {
        assert!((down[48 * ms - 1] - left).abs() < 1e-4, "release, {ms} ms: {}", down[48 * ms - 1]);
    }
}

/// Frames until a reduction has gone a share of the way between two values.
fn frames_to(reductions: &[f64], from: f64, to: f64, share: f64) -> f64 {
    let goal = from + share * (to - from);
    let n = reductions.iter().position(|r| (*r - goal) * (to - from) >= 0.0).unwrap();
    let before = if n == 0 { from } else { reductions[n - 1] };
    n as f64 + (goal - before) / (reductions[n] - before)
}

#[test]
fn attack_and_release_keep_their_times_in_every_kind() {
    let one_time_constant = 1.0 - libm::exp(-1.0);
    for kind in ["clean", "bus", "fast", "optical", "valve"] {
        for (attack_ms, release_ms) in [(0.2, 60.0), (10.0, 150.0), (50.0, 1000.0)] {
            let settings = settings(kind)
                .with_number(&THRESHOLD_DB, -36.0)
                .with_number(&RATIO, 8.0)
                .with_number(&ATTACK_MS, attack_ms)
                .with_number(&RELEASE_MS, release_ms);
            let (up, down) = step_reductions(&settings);
            let full = *up.last().unwrap();
            let attack = frames_to(&up, 0.0, full, one_time_constant) / 48.0;
            let release = frames_to(&down, full, 0.0, one_time_constant) / 48.0;
            match kind {
                // Its window has to fill and to empty first: at most its length is added.
                "bus" => {
                    assert!(attack > attack_ms * 0.98 && attack < attack_ms * 1.02 + 10.0, "{attack_ms}: {attack}");
                    let second = frames_to(&down, full, 0.0, 1.0 - libm::exp(-2.0)) / 48.0 - release;
                    assert!((second / release_ms - 1.0).abs() < 0.02 && release < release_ms + 10.0, "{release_ms}");
                }
                // Programme-dependent: the long step lets go much more slowly; see the test of brief peaks.
                "fast" | "optical" => {
                    assert!((attack / attack_ms - 1.0).abs() < 0.02, "{kind} {attack_ms}: {attack}");
                    assert!(release > 2.0 * release_ms, "{kind} {release_ms}: {release}");
                }
                _ => {
                    assert!((attack / attack_ms - 1.0).abs() < 0.02, "{kind} {attack_ms}: {attack}");
                    assert!((release / release_ms - 1.0).abs() < 0.02, "{kind} {release_ms}: {release}");
                }
            }
        }
    }
}

#[test]
fn brief_peaks_let_go_in_the_release_time_and_long_ones_slowly() {
    for (kind, auto, brief_bound) in [("clean", true, 1.25), ("fast", false, 1.25), ("optical", false, 4.0)] {
        let settings = settings(kind)
            .with(&AUTO_RELEASE, Value::Switch(auto))
            .with_number(&ATTACK_MS, 0.2)
            .with_number(&RELEASE_MS, 100.0);
        let release_after = |loud_ms: usize| {
            let mut compressor = built(&settings);
            let up = run(&mut compressor, &vec![1.0; 48 * loud_ms]);
            let down = run(&mut compressor, &vec![0.01; 480_000]);
            let reductions: Vec<f64> = down.iter().map(|y| -40.0 - db(*y)).collect();
            frames_to(&reductions, -db(up[48 * loud_ms - 1]), 0.0, 1.0 - libm::exp(-1.0)) / 4800.0
        };
        let (brief, long) = (release_after(10), release_after(4000));
        assert!((0.99..brief_bound).contains(&brief) && long > 2.0 * brief, "{kind}: {brief} and {long} release times");
    }
}

#[test]
fn hold_waits_before_it_lets_go() {
    let settings = settings("clean").with_number(&HOLD_MS, 50.0);
    let (up, down) = step_reductions(&settings);
    let full = *up.last().unwrap();
    assert!(down[..2400].iter().all(|r| (r - full).abs() < 1e-6) && down[2500] < full - 0.05);
}

#[test]
fn heavy_settings_distort_as_the_law_says_and_no_more() {
    // 20 dB of reduction, 0.2 ms attack, 60 ms release: a plain restatement with the system's definition of the
    // decibel (libm), sample by sample. Its figures: 50 Hz 6.4 %, 100 Hz 3.4 % (harmonics up to the 30th).
    let heavy = settings("clean")
        .with_number(&THRESHOLD_DB, -26.666_667)
        .with_number(&KNEE_DB, 0.0)
        .with_number(&ATTACK_MS, 0.2)
        .with_number(&RELEASE_MS, 60.0);
    for hz in [50.0, 100.0] {
        let signal = sine(hz, 1.0, 96_000);
        let out = run(&mut built(&heavy), &signal);
        let mut reduction = 0.0;
        let law: Vec<f64> = signal
            .iter()
            .map(|x| {
                let target = 0.75 * (20.0 * libm::log10(x.abs().max(1e-15)) + 26.666_667).max(0.0);
                let time_ms = if target >= reduction { 0.2 } else { 60.0 };
                reduction += (1.0 - libm::exp(-1.0 / (48.0 * time_ms))) * (target - reduction);
                x * libm::pow(10.0, -reduction / 20.0)
            })
            .collect();
        let worst = out.iter().zip(&law).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        println!(
            "{hz} Hz: {:.3} %, law {:.3} %, worst {worst:e}",
            thd_percent(&out[48_000..], hz),
            thd_percent(&law[48_000..], hz)
        );
        assert!(worst < 1e-8, "{hz} Hz: {worst}");
        let held = run(&mut built(&heavy.clone().with_number(&HOLD_MS, 12.0)), &signal);
        println!("held {:.4}", thd_percent(&held[48_000..], hz));
    }
}
