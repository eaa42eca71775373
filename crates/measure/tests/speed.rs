//! Meters are fast enough to be left on: compared, in the same run, with the `ebur128` crate on the same frames.

use std::time::{Duration, Instant};

use ebur128::{EbuR128, Mode};
use measure::{LoudnessMeter, TruePeakMeter};

const RATE_HZ: u32 = 48_000;
const SECS: usize = 40;

/// Decaying notes over noise, the crest of music.
fn programme() -> Vec<[f64; 2]> {
    let (mut random, mut low, mut envelope) = (chance::Random(1), [0.0f64; 2], 0.0);
    let frame = |n: usize| {
        envelope = if n.is_multiple_of(12_000) { 1.0 } else { envelope * 0.9998 };
        let mut frame = [0.0; 2];
        for (low, out) in low.iter_mut().zip(&mut frame) {
            *low += 0.15 * (random.even() - *low);
            *out = envelope * *low;
        }
        frame
    };
    (0..SECS * RATE_HZ as usize).map(frame).collect()
}

/// How long it took, on the clock.
fn took(run: impl FnOnce()) -> Duration {
    let start = Instant::now();
    run();
    start.elapsed()
}

fn reference(frames: &[[f64; 2]], mode: Mode) -> f64 {
    let mut meter = EbuR128::new(2, RATE_HZ, mode).expect("a meter");
    frames.chunks(1024).for_each(|chunk| meter.add_frames_f64(chunk.as_flattened()).expect("frames"));
    meter.loudness_range().expect("a range") + meter.loudness_global().expect("a loudness")
}

#[test]
fn loudness_and_true_peak_take_no_longer_than_the_reference() {
    let frames = programme();
    let loudness = || {
        let mut meter = LoudnessMeter::new(f64::from(RATE_HZ));
        frames.chunks(1024).for_each(|chunk| meter.push(chunk));
        assert!(meter.integrated_lufs().is_some() && meter.loudness_range_lu().is_some());
    };
    let peak = || {
        let mut meter = TruePeakMeter::new();
        frames.chunks(1024).for_each(|chunk| meter.push(chunk));
        assert!(meter.finish()[0].db().is_some());
    };
    let plain = || assert!(reference(&frames, Mode::I | Mode::LRA).is_finite());
    let with_peak = || assert!(reference(&frames, Mode::I | Mode::LRA | Mode::TRUE_PEAK).is_finite());
    // The shortest of several runs, in turns; on a crowded machine more of them, until each had the processor to itself.
    let mut shortest = [Duration::MAX; 4];
    for round in 1..=40 {
        let runs = [took(loudness), took(peak), took(plain), took(with_peak)];
        shortest = std::array::from_fn(|each| shortest[each].min(runs[each]));
        let [loudness, peak, plain, with_peak] = shortest;
        if round >= 3 && loudness <= plain && loudness + peak <= with_peak {
            println!(
                "loudness {loudness:?} against {plain:?}; with true peak {:?} against {with_peak:?}",
                loudness + peak
            );
            return;
        }
    }
    panic!("loudness, true peak; the reference without and with true peak: {shortest:?}");
}
