//! What every processor of the catalogue must keep, whatever its settings: the contract of `dsp::Processor`.
//!
//! Settings and signals are pseudo-random and the same on every run. A processor that joins the catalogue is tested
//! here without a further line.

use dsp::CATALOGUE;
use dsp::biquad::{Coefficients, State};
use dsp::ramp::RAMP_FRAMES;
use units::{Frame, MAX_BLOCK_FRAMES, all_finite};

/// -140 dB.
const ROUNDING: f64 = 1e-7;
/// Processors whose sound comes later than their latency: that is what they are for.
const LATER: &[&str] = &["delay", "room", "convolution"];

mod allocations;
mod cases;
mod denormals;
mod no_sound;

use allocations::allocations;
use cases::*;

#[test]
fn the_same_samples_for_every_block_size() {
    const FRAMES: usize = 9000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let input = lanes_of_noise(&mut random, FRAMES, 0.3);
        let outside = random.signal(FRAMES, 0.5);
        let moves: Vec<_> = (0..12)
            .filter_map(|i| move_of(&mut random, settings).map(|(at, value)| (3000 + i * RAMP_FRAMES, at, value)))
            .collect();
        let once = |block_frames| {
            let mut data = input.clone();
            let mut processor = build(entry, settings, rate_hz, LANES).unwrap();
            run(processor.as_mut(), &mut data, FRAMES, block_frames, outside_for(entry, &outside), &moves);
            data
        };
        let reference = once(64);
        for block_frames in [1, 7, 1000, MAX_BLOCK_FRAMES] {
            let first = once(block_frames).iter().zip(&reference).position(|(a, b)| a != b);
            assert_eq!(first, None, "first difference with blocks of {block_frames} (frame, lanes in a row)");
        }
    });
}

#[test]
fn reset_equals_fresh() {
    const FRAMES: usize = 6000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let input = random.signal(FRAMES, 0.8);
        let outside = random.signal(FRAMES, 0.5);
        let mut processor = build(entry, settings, rate_hz, 1).unwrap();
        let mut once = || {
            let mut data = input.clone();
            run(processor.as_mut(), &mut data, FRAMES, 1024, outside_for(entry, &outside), &[]);
            processor.reset();
            data
        };
        let fresh = once();
        assert!(fresh == once(), "after a reset the output differs");
    });
}

#[test]
fn nothing_but_finite_numbers_comes_out() {
    const FRAMES: usize = 12_000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let mut input = random.signal(FRAMES, 100.0);
        input[FRAMES / 4..][..500].fill([1.0, -1.0]);
        for frame in &mut input[FRAMES / 2..] {
            *frame = frame.map(|x| x * 1e-311);
        }
        input[FRAMES - 500..].fill([LOUDEST, -LOUDEST]);
        let outside = random.signal(FRAMES, LOUDEST);
        let mut processor = build(entry, settings, rate_hz, 1).unwrap();
        run(processor.as_mut(), &mut input, FRAMES, 512, outside_for(entry, &outside), &[]);
        assert!(all_finite(&input));
    });
}

/// A high-pass of fourth order at 20 Hz (Butterworth), to look past what is below hearing.
struct AboveHearing([(Coefficients, State); 2]);

impl AboveHearing {
    fn new(rate_hz: f64) -> Self {
        Self([0.541_196_1, 1.306_563].map(|q| (Coefficients::high_pass(20.0, q, rate_hz), State::default())))
    }

    fn peak_of(&mut self, frames: &[Frame]) -> f64 {
        let mut heard = frames.to_vec();
        self.0.iter_mut().for_each(|(section, state)| state.process(section, &mut heard));
        peak(&heard)
    }
}

#[test]
fn silence_stays_silence_and_tails_end() {
    for_every_case(|entry, settings, rate_hz, mut random| {
        if NOISY.contains(&entry.spec.name) {
            return;
        }
        let settings = without_noise(settings.clone());
        let mut processor = build(entry, &settings, rate_hz, 1).unwrap();
        let mut silence = vec![[0.0; 2]; 8192];
        run(processor.as_mut(), &mut silence, 8192, 1024, None, &[]);
        assert!(peak(&silence) < 1e-15, "silence came out as {}", peak(&silence));
        processor.reset();
        let mut sound = random.signal(4096, 0.5);
        let mut heard = AboveHearing::new(rate_hz);
        run(processor.as_mut(), &mut sound, 4096, 1024, None, &[]);
        heard.peak_of(&sound);
        let tail = processor.tail_frames() + processor.latency_frames();
        // A feedback loop may go round for many minutes; that is too long to wait for here.
        if tail > 60 * rate_hz as usize {
            assert_eq!(entry.spec.name, "delay", "a tail of {tail} frames");
            return;
        }
        for _ in 0..tail.div_ceil(4096) {
            let mut ringing = vec![[0.0; 2]; 4096];
            run(processor.as_mut(), &mut ringing, 4096, 4096, None, &[]);
            heard.peak_of(&ringing);
        }
        let mut after = vec![[0.0; 2]; 4096];
        run(processor.as_mut(), &mut after, 4096, 1024, None, &[]);
        // -120 dB of what went in where it can be heard, -60 dB below.
        let (all, heard) = (peak(&after), heard.peak_of(&after));
        let ended = all < 0.5e-6 || heard < 0.5e-6 && all < 0.5e-3;
        assert!(ended, "after the tail there is still {all}, {heard} of it to be heard");
    });
}

#[test]
fn the_latency_is_as_reported() {
    for entry in CATALOGUE {
        for rate_hz in RATES_HZ {
            let mut processor = build(entry, &without_noise(default_settings(entry)), rate_hz, 1).unwrap();
            let latency = processor.latency_frames();
            let frames = latency + 8192;
            let mut data = vec![[0.0; 2]; frames];
            data[0] = [0.25, 0.25];
            run(processor.as_mut(), &mut data, frames, 512, None, &[]);
            let energy = |part: &[Frame]| part.as_flattened().iter().map(|x| x * x).sum::<f64>();
            // Linear-phase resampling filters ring a little ahead of the impulse.
            let early = energy(&data[..latency]) / energy(&data);
            assert!(early < 0.1 || energy(&data) == 0.0, "{}: {early} of the energy is early", entry.spec.name);
            let loudest = (0..frames).max_by(|a, b| data[*a][0].abs().total_cmp(&data[*b][0].abs()));
            if !LATER.contains(&entry.spec.name) {
                assert_eq!(loudest, Some(latency), "{} at {rate_hz} Hz", entry.spec.name);
            }
        }
    }
}

#[test]
fn moving_numbers_stays_finite_and_nothing_allocates() {
    const FRAMES: usize = 200 * RAMP_FRAMES;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let mut data = lanes_of_noise(&mut random, FRAMES, 0.5);
        let outside = random.signal(FRAMES, 0.5);
        let moves: Vec<_> = (0..FRAMES / RAMP_FRAMES)
            .filter_map(|i| move_of(&mut random, settings).map(|(at, value)| (i * RAMP_FRAMES, at, value)))
            .collect();
        let mut processor = build(entry, settings, rate_hz, LANES).unwrap();
        let count = allocations(|| {
            run(processor.as_mut(), &mut data, FRAMES, RAMP_FRAMES, outside_for(entry, &outside), &moves);
        });
        assert_eq!(count, 0, "allocations while running");
        assert!(all_finite(&data));
        let most = peak(&data);
        assert!(most < 1e6, "a move made a level of {most}");
    });
}

#[test]
fn followers_and_residue_sum_to_the_key() {
    const FRAMES: usize = 8000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let mut data = lanes_of_noise(&mut random, FRAMES, 0.25);
        let mut alone = data[..FRAMES].to_vec();
        let outside = random.signal(FRAMES, 0.8);
        let outside = outside_for(entry, &outside);
        let mut processor = build(entry, settings, rate_hz, LANES).unwrap();
        run(processor.as_mut(), &mut data, FRAMES, 512, outside, &[]);
        let mut worst = 0.0_f64;
        for at in 0..FRAMES {
            let others = sum_of_others(&data, FRAMES, at);
            worst = worst.max((data[at][0] - others[0]).abs()).max((data[at][1] - others[1]).abs());
        }
        let level = peak(&data).max(1.0);
        assert!(worst < ROUNDING * level, "followers are off by {worst} at a level of {level}");
        let mut processor = build(entry, settings, rate_hz, 1).unwrap();
        run(processor.as_mut(), &mut alone, FRAMES, 512, outside, &[]);
        assert!(alone == data[..FRAMES], "the key sounds different when followers are there");
    });
}
