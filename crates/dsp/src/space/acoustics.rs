//! Room acoustics for tests, apart from `measure`: decay per octave band, echo density, responses of processors.

use std::f64::consts::PI;

use units::random::{next, share};
use units::{Block, Frame, SILENCE};

use crate::Processor;

/// The octave bands of the design's gate, by their middles.
pub(crate) const OCTAVES_HZ: [f64; 6] = [125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0];

/// What a processor answers to one frame, in blocks of 512.
pub(crate) fn response(processor: &mut dyn Processor, impulse: Frame, frames: usize) -> Vec<Frame> {
    let mut signal = vec![SILENCE; frames];
    signal[0] = impulse;
    run(processor, &mut signal, 512);
    signal
}

/// Runs a processor over a signal in place.
pub(crate) fn run(processor: &mut dyn Processor, signal: &mut [Frame], block: usize) {
    for part in signal.chunks_mut(block) {
        processor.process(&mut Block::key_only(part), None);
    }
}

/// One channel of a response.
pub(crate) fn channel(signal: &[Frame], channel: usize) -> Vec<f64> {
    signal.iter().map(|frame| frame[channel]).collect()
}

/// Second-order section of the Audio EQ Cookbook (W3C Note): low-pass or high-pass.
fn section(x: &mut [f64], hz: f64, q: f64, high: bool, rate_hz: f64) {
    let (sin, cos) = libm::sincos(2.0 * PI * hz / rate_hz);
    let alpha = sin / (2.0 * q);
    let edge = if high { (1.0 + cos) / 2.0 } else { (1.0 - cos) / 2.0 };
    let middle = if high { -(1.0 + cos) } else { 1.0 - cos };
    let [b0, b1, a1, a2] = [edge, middle, -2.0 * cos, 1.0 - alpha].map(|c| c / (1.0 + alpha));
    let (mut s1, mut s2) = (0.0, 0.0);
    for x in x {
        let y = b0 * *x + s1;
        s1 = b1 * *x - a1 * y + s2;
        s2 = b0 * *x - a2 * y;
        *x = y;
    }
}

/// An octave band, by Butterworth edges of the fourth order, run backwards in time so that the filter's own ringing
/// falls before the decay and not onto it (Jacobsen 1987).
pub(crate) fn octave(signal: &[f64], middle_hz: f64, rate_hz: f64) -> Vec<f64> {
    let mut x: Vec<f64> = signal.iter().rev().copied().collect();
    for q in [0.541_196_1, 1.306_563] {
        section(&mut x, middle_hz / std::f64::consts::SQRT_2, q, true, rate_hz);
        section(&mut x, middle_hz * std::f64::consts::SQRT_2, q, false, rate_hz);
    }
    x.reverse();
    x
}

/// Schroeder's backward integral of the square, in dB of its start (ISO 3382-1, 5.3.3).
pub(crate) fn decay_curve_db<'a>(signals: impl IntoIterator<Item = &'a [f64]>) -> Vec<f64> {
    let mut energy: Vec<f64> = Vec::new();
    for signal in signals {
        energy.resize(energy.len().max(signal.len()), 0.0);
        let mut sum = 0.0;
        for (energy, x) in energy.iter_mut().zip(signal).rev() {
            sum += x * x;
            *energy += sum;
        }
    }
    let whole = energy[0];
    energy.iter().map(|e| units::db_from_power(e / whole)).collect()
}

/// Decay time from the least-squares line through the curve between two levels: T20 from -5 to -25, T30 to -35 dB.
pub(crate) fn decay_s(curve_db: &[f64], to_db: f64, rate_hz: f64) -> f64 {
    let (mut n, mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, level) in curve_db.iter().enumerate().filter(|(_, level)| (to_db..=-5.0).contains(*level)) {
        let x = i as f64 / rate_hz;
        n += 1.0;
        sx += x;
        sy += level;
        sxx += x * x;
        sxy += x * level;
    }
    -60.0 * (n * sxx - sx * sx) / (n * sxy - sx * sy)
}

/// Normalised echo density (Abel and Huang, AES 121st convention, 2006) of a window: the weighted share of samples
/// beyond one standard deviation, over that of Gaussian noise. Hann window.
pub(crate) fn echo_density(window: &[f64]) -> f64 {
    const GAUSSIAN_SHARE: f64 = 0.317_310_508;
    let n = window.len() as f64;
    let weight = |i: usize| 0.5 - 0.5 * libm::cos(2.0 * PI * (i as f64 + 0.5) / n);
    let whole: f64 = (0..window.len()).map(weight).sum();
    let variance = window.iter().enumerate().map(|(i, x)| weight(i) * x * x).sum::<f64>() / whole;
    let beyond = window.iter().enumerate().filter(|(_, x)| **x * **x > variance).map(|(i, _)| weight(i)).sum::<f64>();
    beyond / whole / GAUSSIAN_SHARE
}

/// Noise with a normal distribution (Box and Muller), the same for the same seed.
pub(crate) fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    let mut uniform = move || share(next(&mut state));
    move || {
        let (u, v) = (1.0 - uniform(), uniform());
        (-2.0 * libm::log(u)).sqrt() * libm::cos(2.0 * PI * v)
    }
}

/// The same in both channels, unrelated.
pub(crate) fn noise_frames(seed: u64, frames: usize) -> Vec<Frame> {
    let mut gauss = noise(seed);
    (0..frames).map(|_| [gauss(), gauss()]).collect()
}

#[test]
fn the_decay_of_an_exponential_is_what_it_was_made_with() {
    // Exact for a sampled exponential (ISO 3382-1 definition of T); a Gaussian tail of 1.2 s within 2 % over the band.
    let tone: Vec<f64> = (0..96_000).map(|n| libm::pow(10.0, -3.0 * n as f64 / 48_000.0 / 0.8)).collect();
    assert!((decay_s(&decay_curve_db([tone.as_slice()]), -35.0, 48_000.0) - 0.8).abs() < 1e-3);
    let mut gauss = noise(7);
    let tail: Vec<f64> = (0..192_000).map(|n| gauss() * libm::pow(10.0, -3.0 * n as f64 / 48_000.0 / 1.2)).collect();
    assert!((decay_s(&decay_curve_db([tail.as_slice()]), -35.0, 48_000.0) / 1.2 - 1.0).abs() < 0.02);
}

#[test]
fn the_echo_density_of_gaussian_noise_is_one() {
    // Mean 1.005, standard deviation 0.035 for 40 ms at 48 kHz, by independent computation; sparse pulses, 2000 a
    // second of equal size, read 0.1313.
    let mut gauss = noise(3);
    let mean = (0..50).map(|_| echo_density(&(0..1920).map(|_| gauss()).collect::<Vec<_>>())).sum::<f64>() / 50.0;
    assert!((mean - 1.005).abs() < 0.02, "{mean}");
    let pulses: Vec<f64> = (0..1920).map(|i| if i % 24 == 0 { 1.0 } else { 0.0 }).collect();
    assert!((echo_density(&pulses) - 0.1313).abs() < 0.01);
}
