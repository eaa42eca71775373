//! Signals and measures that the tests share.

use std::f64::consts::TAU;

use chance::Random;
use rustfft::num_complex::Complex;
use units::{Block, Frame};

use crate::Processor;

/// The rates at which every figure is held.
pub(crate) const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];

/// White noise in one channel.
pub(crate) fn noise(frames: usize, seed: u64) -> Vec<f64> {
    let mut random = Random(seed);
    (0..frames).map(|_| random.even()).collect()
}

/// White noise in two channels that have nothing in common.
pub(crate) fn stereo_noise(frames: usize, seed: u64) -> Vec<Frame> {
    Random(seed).signal(frames, 1.0)
}

/// A sine of a whole number of hertz.
pub(crate) fn sine(hz: f64, peak: f64, rate_hz: f64, frames: usize) -> Vec<f64> {
    // The angle is reduced in whole numbers, so that late frames are as exact as early ones.
    let (hz, rate) = (hz as usize, rate_hz as usize);
    (0..frames).map(|n| peak * libm::sin(TAU * (n * hz % rate) as f64 / rate_hz)).collect()
}

/// The left channel of what comes out for a signal in both channels, in blocks of 1000 frames.
pub(crate) fn through(processor: &mut dyn Processor, signal: &[f64]) -> Vec<f64> {
    let mut frames: Vec<Frame> = signal.iter().map(|x| [*x, *x]).collect();
    for block in frames.chunks_mut(1000) {
        processor.process(&mut Block::key_only(block), None);
    }
    frames.iter().map(|frame| frame[0]).collect()
}

/// Amplitudes at 0, 1, 2... Hz of one second.
pub(crate) fn spectrum(second: &[f64]) -> Vec<f64> {
    let n = second.len();
    let mut bins: Vec<Complex<f64>> = second.iter().map(|x| Complex::new(*x, 0.0)).collect();
    rustfft::FftPlannerScalar::new().plan_fft_forward(n).process(&mut bins);
    bins[..n / 2].iter().enumerate().map(|(k, bin)| bin.norm() / n as f64 * if k == 0 { 1.0 } else { 2.0 }).collect()
}

/// Total harmonic distortion of a tone re its fundamental, in per cent: harmonics 2 to 30 below half the rate.
pub(crate) fn harmonic_distortion_percent(second: &[f64], hz: usize) -> f64 {
    let lines = spectrum(second);
    let power: f64 = (2..=30).filter_map(|n| lines.get(n * hz)).map(|a| a * a).sum();
    100.0 * power.sqrt() / lines[hz]
}

/// The two tones of SMPTE RP 120: 60 Hz and 7 kHz, 4 to 1, together at full level.
pub(crate) fn two_tones(rate_hz: f64, frames: usize) -> Vec<f64> {
    let high = sine(7000.0, 0.2, rate_hz, frames);
    sine(60.0, 0.8, rate_hz, frames).iter().zip(&high).map(|(low, high)| low + high).collect()
}

/// Intermodulation of [`two_tones`] in per cent: sidebands of 7 kHz at up to six times 60 Hz, re 7 kHz.
pub(crate) fn intermodulation_percent(second: &[f64]) -> f64 {
    let lines = spectrum(second);
    let power: f64 = (1..=6).flat_map(|n| [7000 - 60 * n, 7000 + 60 * n]).map(|hz| lines[hz] * lines[hz]).sum();
    100.0 * power.sqrt() / lines[7000]
}

/// Mean square in dB: 0 dB is a constant 1.
pub(crate) fn power_db(signal: &[f64]) -> f64 {
    units::db_from_power(signal.iter().map(|x| x * x).sum::<f64>() / signal.len() as f64)
}

#[test]
fn the_measures_read_what_was_put_in() {
    for rate_hz in RATES_HZ {
        let frames = rate_hz as usize;
        let harmonics = [(100.0, 1.0), (300.0, 0.03), (400.0, 0.04)].map(|(hz, peak)| sine(hz, peak, rate_hz, frames));
        let sum: Vec<f64> = (0..frames).map(|n| harmonics.iter().map(|part| part[n]).sum()).collect();
        assert!((harmonic_distortion_percent(&sum, 100) - 5.0).abs() < 1e-9);
        // A carrier modulated by a depth m has two sidebands of m / 2 each.
        let slow = sine(60.0, 0.1, rate_hz, frames);
        let modulated: Vec<f64> =
            two_tones(rate_hz, frames).iter().zip(&slow).map(|(x, slow)| x * (1.0 + slow)).collect();
        assert!((intermodulation_percent(&modulated) - 10.0 / std::f64::consts::SQRT_2).abs() < 1e-9);
        assert!((power_db(&noise(frames, 1)) + 4.771).abs() < 0.1, "1/3 of power");
    }
}
