//! Tests of oversampling, against figures from outside.

use std::f64::consts::TAU;

use super::*;
use crate::testing::{RATES_HZ, stereo_noise};

fn through(oversampler: &mut Oversampler, input: &[Frame], cut: usize) -> Vec<Frame> {
    let mut audio = input.to_vec();
    for piece in audio.chunks_mut(cut) {
        oversampler.process(&mut Block::key_only(piece), |_| ());
    }
    audio
}

/// Response in dB of a symmetric impulse response about its centre.
fn response_db(impulse: &[Frame], centre: usize, cycles_per_frame: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, frame) in impulse.iter().enumerate() {
        let (sin, cos) = libm::sincos(TAU * cycles_per_frame * (n as f64 - centre as f64));
        re += frame[0] * cos;
        im += frame[0] * sin;
    }
    assert!(im.abs() < 1e-12, "linear phase about a whole frame");
    20.0 * libm::log10(re.abs())
}

#[test]
fn the_way_there_and_back_is_flat_to_20_khz_and_late_by_whole_frames() {
    for factor in [1, 2, 4, 8, 16] {
        for inner in [0, 1, 2, 3] {
            for rate_hz in RATES_HZ {
                let mut oversampler = Oversampler::for_rate(rate_hz, 1, factor, inner);
                let mut held = [SILENCE; 3];
                let mut audio = vec![SILENCE; 512];
                audio[100] = [1.0, -1.0];
                oversampler.process(&mut Block::key_only(&mut audio), |top| {
                    for frame in top.key_mut() {
                        let late = if inner == 0 { *frame } else { held[inner - 1] };
                        held = [*frame, held[0], held[1]];
                        *frame = late;
                    }
                });
                let centre = 100 + oversampler.latency_frames();
                for hz in [20.0, 1000.0, 5000.0, 10_000.0, 15_000.0, 18_000.0, 20_000.0] {
                    let db = response_db(&audio, centre, hz / rate_hz);
                    assert!(db.abs() < 1e-3, "{factor}x, inner {inner}, {hz} Hz at {rate_hz}: {db} dB");
                }
            }
        }
    }
}

#[test]
fn images_and_aliases_lie_111_db_down() {
    let tight = TIGHT.into_iter().enumerate().map(|(level, design)| (44.1, level, design));
    let wide = WIDE.into_iter().enumerate().map(|(level, design)| (48.0, level, design));
    for (rate_khz, level, (half, beta)) in tight.chain(wide) {
        let taps = halfband(half, beta);
        // From the base rate less 20 kHz on, up to where the response mirrors, in 1/4000 steps.
        let edge = 0.5 - 20.0 / rate_khz / (2 << level) as f64;
        for step in 0..=4000 {
            let cycles = edge + (0.5 - edge) * f64::from(step) / 4000.0;
            let sum: f64 = taps
                .iter()
                .enumerate()
                .map(|(j, tap)| 2.0 * tap * libm::cos(TAU * cycles * (2 * half - 1 - 2 * j) as f64))
                .sum();
            let db = 20.0 * libm::log10((0.5 + sum).abs());
            assert!(db < -111.0, "{rate_khz} kHz, doubling {level} at {cycles}: {db} dB");
        }
    }
}

#[test]
fn the_inside_runs_at_the_higher_rate() {
    // A 1 kHz sine, seen inside at 8x, is a sine of an eighth of the step, to the depth of the stop band.
    let mut oversampler = Oversampler::new(1, 8, 0);
    let mut audio: Vec<Frame> =
        (0..4096).map(|n| [libm::sin(TAU * f64::from(n) / 48.0), libm::cos(TAU * f64::from(n) / 48.0)]).collect();
    let mut inside = Vec::new();
    oversampler.process(&mut Block::key_only(&mut audio), |top| inside.extend_from_slice(top.key_mut()));
    assert_eq!(inside.len(), 8 * 4096);
    for n in 8000..30_000 {
        let next = [inside[n + 1], inside[n - 1]];
        let step = 2.0 * libm::cos(TAU / (8.0 * 48.0));
        for channel in 0..2 {
            let error = next[0][channel] + next[1][channel] - step * inside[n][channel];
            assert!(error.abs() < 2e-5, "frame {n}: {error}");
            let radius = inside[n][0] * inside[n][0] + inside[n][1] * inside[n][1];
            assert!((radius - 1.0).abs() < 2e-5, "frame {n}: {radius}");
        }
    }
}

#[test]
fn cutting_changes_nothing_and_a_reset_forgets() {
    let input = stereo_noise(1000, 1);
    for factor in [1, 2, 4, 8, 16] {
        let mut oversampler = Oversampler::new(1, factor, 1);
        let whole = through(&mut oversampler, &input, 1000);
        for cut in [1, 7, 64, 65, 333] {
            oversampler.reset();
            assert_eq!(whole, through(&mut oversampler, &input, cut), "{factor}x in pieces of {cut}");
        }
    }
}

#[test]
fn lanes_are_kept_apart() {
    let input = stereo_noise(300, 1);
    let mut data = [input.clone(), vec![SILENCE; 300], input.clone()].concat();
    let mut oversampler = Oversampler::new(3, 4, 0);
    oversampler.process(&mut Block::new(&mut data, 300, 300), |_| ());
    let alone = through(&mut Oversampler::new(1, 4, 0), &input, 300);
    assert_eq!(data[..300], alone);
    assert_eq!(data[300..600], vec![SILENCE; 300]);
    assert_eq!(data[600..], alone);
}
