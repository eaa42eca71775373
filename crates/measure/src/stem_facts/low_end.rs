//! The low end in fine bins: long spectra of the signal below a kilohertz, one after the other.
//!
//! Both channels are brought to about 2 kHz by a windowed sinc, flat to 370 Hz, and cut into stretches of two seconds
//! that overlap by half, each weighed with a Hann window. Bins are half a hertz apart: fine enough to part a mains hum
//! from the notes beside it, and a note's pitch by a cent.

use std::f64::consts::PI;
use std::sync::Arc;

use rustfft::{Fft, FftPlannerScalar, num_complex::Complex};
use units::Frame;

use crate::sinc;

/// Rate that the signal is brought to, nearly.
const RATE_HZ: f64 = 2000.0;
/// Frames of a stretch at that rate.
const SIZE: usize = 4096;
/// Parts of a stretch that are asked for silence.
const PARTS: usize = 16;
/// Weights of the decimator for each frame that it gives. Kaiser window of 70 dB: transition of 1.1 kHz, so flat to 370 Hz
/// and with no alias below that.
const TAPS_PER_STEP: usize = 8;
const ATTENUATION_DB: f64 = 70.0;
const CORNER_HZ: f64 = 920.0;
/// A part with less power than this, -110 dB, is silent: nothing hums there.
const SILENT_POWER: f64 = 1e-11;

/// A stretch of the low end.
pub(super) struct Stretch<'a> {
    /// Squared amplitude of a sine at each bin, mean of the two channels.
    pub power: &'a [f64],
    /// Hertz from bin to bin.
    pub bin_hz: f64,
    /// Whether it sounds all the way through.
    pub sounds: bool,
}

impl Stretch<'_> {
    /// The bin nearest to a frequency.
    pub fn bin(&self, hz: f64) -> usize {
        ((hz / self.bin_hz).round() as usize).min(self.power.len() - 1)
    }
}

/// Streaming maker of stretches.
#[derive(Clone)]
pub(super) struct LowEnd {
    step: usize,
    rate_hz: f64,
    weights: Arc<[f64]>,
    waiting: Vec<Frame>,
    slow: Vec<Frame>,
    window: Arc<[f64]>,
    transform: Arc<dyn Fft<f64>>,
    work: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
    power: Vec<f64>,
}

impl LowEnd {
    pub fn new(rate_hz: f64) -> Self {
        let step = (rate_hz / RATE_HZ).round().max(1.0) as usize;
        let taps = TAPS_PER_STEP * step;
        let beta = sinc::kaiser_beta(ATTENUATION_DB);
        let middle = (taps as f64 - 1.0) / 2.0;
        let cycles = 2.0 * CORNER_HZ / rate_hz;
        let weight = |n: usize| {
            let at = n as f64 - middle;
            cycles * sinc::sinc(cycles * at) * sinc::kaiser(at / (middle + 0.5), beta)
        };
        let transform = FftPlannerScalar::new().plan_fft_forward(SIZE);
        let hann = |n: usize| 0.5 - 0.5 * libm::cos(2.0 * PI * n as f64 / SIZE as f64);
        Self {
            step,
            rate_hz: rate_hz / step as f64,
            weights: (0..taps).map(weight).collect(),
            waiting: Vec::new(),
            slow: Vec::with_capacity(SIZE),
            window: (0..SIZE).map(hann).collect(),
            work: vec![Complex::default(); SIZE],
            scratch: vec![Complex::default(); transform.get_inplace_scratch_len()],
            power: vec![0.0; SIZE / 2],
            transform,
        }
    }

    /// Takes in the next frames and hands over the stretches that they complete.
    pub fn push(&mut self, frames: &[Frame], mut take: impl FnMut(&Stretch<'_>)) {
        self.waiting.extend_from_slice(frames);
        let mut from = 0;
        while self.waiting.len() - from >= self.weights.len() {
            let frame = weighed(&self.waiting[from..from + self.weights.len()], &self.weights);
            self.slow.push(frame);
            from += self.step;
            if self.slow.len() == SIZE {
                self.hand_over(&mut take);
                self.slow.copy_within(SIZE / 2.., 0);
                self.slow.truncate(SIZE / 2);
            }
        }
        self.waiting.drain(..from);
    }

    /// Left and right go through one transform, as real and imaginary part: with `p = Z[k]` and `q = Z[-k]`,
    /// `|L|^2 + |R|^2 = (|p|^2 + |q|^2) / 2`. A sine of amplitude 1 reads 1 at its bin: the window's mean is a half.
    fn hand_over(&mut self, take: &mut impl FnMut(&Stretch<'_>)) {
        for ((out, x), w) in self.work.iter_mut().zip(&self.slow).zip(self.window.iter()) {
            *out = Complex::new(x[0] * w, x[1] * w);
        }
        self.transform.process_with_scratch(&mut self.work, &mut self.scratch);
        let scale = 4.0 / SIZE as f64;
        for (k, power) in self.power.iter_mut().enumerate() {
            let (p, q) = (self.work[k], self.work[(SIZE - k) % SIZE]);
            *power = scale * scale * (p.norm_sqr() + q.norm_sqr()) / 4.0;
        }
        let loud =
            |part: &[Frame]| part.iter().flatten().map(|x| x * x).sum::<f64>() > SILENT_POWER * part.len() as f64;
        let sounds = self.slow.chunks(SIZE / PARTS).all(loud);
        take(&Stretch { power: &self.power, bin_hz: self.rate_hz / SIZE as f64, sounds });
    }
}

/// The sum of frames, weighed; four sums at a time, since each addition waits for the one before.
fn weighed(frames: &[Frame], weights: &[f64]) -> Frame {
    let mut sums = [units::SILENCE; 4];
    for (frames, weights) in frames.chunks_exact(4).zip(weights.chunks_exact(4)) {
        for ((sum, frame), weight) in sums.iter_mut().zip(frames).zip(weights) {
            sum[0] += frame[0] * weight;
            sum[1] += frame[1] * weight;
        }
    }
    let [a, b, c, d] = sums;
    [(a[0] + b[0]) + (c[0] + d[0]), (a[1] + b[1]) + (c[1] + d[1])]
}
