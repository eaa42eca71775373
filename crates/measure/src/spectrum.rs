//! Long-term average spectrum and third-octave levels.
//!
//! The programme is cut into stretches that overlap by half, each weighed with a half-period of a sine. The squares of
//! those weights sum to 1 at every sample, so by Parseval's theorem the power of all bins is exactly the mean square of
//! the programme. Bins are at most 0.75 Hz wide; a band's power is the sum of its bins, with their shares at its edges.
//!
//! Bands are those of IEC 61260-1 in the base-ten system: exact centres `1000 * 10^(n/10)` Hz, edges `10^(1/20)` either
//! way. Levels are decibels of the mean square, averaged over the two channels, 0 dB at 1.0: a full-scale sine in both
//! channels reads -3.01 dB.
//!
//! Accuracy: a tone at the centre of any band reads within 0.02 dB; stationary noise within the spread of its own
//! average (a band of width B seen for T seconds varies by `4.34 / sqrt(B T)` dB, standard deviation). A tone leaks into
//! bands n bins away by about `-20 log10(4 n^2)` dB.

use std::f64::consts::PI;
use std::sync::Arc;

use fourier::{Fours, Numbers, Transform, mirrored};
use multiversion::multiversion;
use units::Frame;

use crate::stereo::{StereoImage, StereoPower};

/// Nominal centre frequencies of the third-octave bands, IEC 61260-1, annex E.
pub const THIRD_OCTAVES_HZ: [f64; 31] = [
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0,
    1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10_000.0, 12_500.0, 16_000.0,
    20_000.0,
];
/// Index `n` of the lowest band's exact centre, `1000 * 10^(n/10)` Hz.
const LOWEST_BAND: i32 = -17;
/// Widest bin.
const BIN_HZ: f64 = 0.75;

/// Exact centre of a third-octave band, by its place in [`THIRD_OCTAVES_HZ`].
#[must_use]
pub fn exact_centre_hz(band: usize) -> f64 {
    1000.0 * libm::pow(10.0, f64::from(LOWEST_BAND + band as i32) / 10.0)
}

/// Streaming spectrum meter.
#[derive(Clone)]
pub struct SpectrumMeter {
    rate_hz: f64,
    transform: Arc<Transform>,
    window: Arc<[f64]>,
    /// The stretch that ends next, the one that ends half a length later, and room for a transform.
    stretches: [Numbers; 2],
    spare: Numbers,
    /// Frames since the last stretch ended.
    filled: usize,
    /// Sums over all stretches, of the bins below half the rate by fours.
    sums: Vec<Powers>,
    /// Of the bin at half the rate.
    last: StereoPower,
    frames: u64,
}

/// Left, right and product of four bins.
type Powers = [[f64; 4]; 3];

impl SpectrumMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let size = ((rate_hz / BIN_HZ) as usize).next_power_of_two();
        let weight = |n: usize| libm::sin(PI * (n as f64 + 0.5) / size as f64);
        // One group more, for the mirror image of the first number.
        let numbers = || Numbers::new(size + 1);
        Self {
            rate_hz,
            transform: Arc::new(Transform::new(size)),
            window: (0..size).map(weight).collect(),
            stretches: [numbers(), numbers()],
            spare: numbers(),
            filled: 0,
            sums: vec![[[0.0; 4]; 3]; size / 8],
            last: StereoPower::default(),
            frames: 0,
        }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, frames: &[Frame]) {
        self.take(frames);
        self.frames += frames.len() as u64;
    }

    /// Every frame belongs to two stretches, and is weighed into both while it is at hand.
    fn take(&mut self, mut frames: &[Frame]) {
        let half = self.window.len() / 2;
        while !frames.is_empty() {
            let count = frames.len().min(half - self.filled);
            for (stretch, at) in self.stretches.iter_mut().zip([half + self.filled, self.filled]) {
                lay(&frames[..count], &self.window[at..at + count], stretch, at);
            }
            self.filled += count;
            frames = &frames[count..];
            if self.filled == half {
                self.add_stretch();
                self.filled = 0;
            }
        }
    }

    /// Left and right go through one transform, as real and imaginary part. With `p = Z[k]` and `q = Z[-k]`:
    /// `|L|^2 + |R|^2 = (|p|^2 + |q|^2) / 2`, and `p q = |L|^2 - |R|^2 + 2i Re(L R*)`.
    fn add_stretch(&mut self) {
        let [ended, next] = &mut self.stretches;
        self.transform.forward(ended, &mut self.spare);
        let size = self.window.len();
        ended.0[size / 4] = ended.0[0];
        add_powers(&ended.0, &mut self.sums);
        let [left, right] = ended.get(size / 2);
        self.last.left += left * left;
        self.last.right += right * right;
        self.last.product += left * right;
        std::mem::swap(ended, next);
    }

    /// The spectrum once all frames are in.
    #[must_use]
    pub fn finish(mut self) -> Spectrum {
        let size = self.window.len();
        // Silence fills the last stretch, and the one after it that still holds half of the programme's end.
        self.take(&vec![units::SILENCE; size]);
        let scale = 1.0 / (size as f64 * self.frames.max(1) as f64);
        let of_four = |[left, right, product]: &Powers| {
            [0, 1, 2, 3].map(|k| StereoPower { left: left[k], right: right[k], product: product[k] })
        };
        // Every bin but the first and the last stands for its mirror image too.
        let doubled = self.sums.iter().flat_map(of_four).map(|power| power.scaled(2.0 * scale));
        let mut bins: Vec<StereoPower> = doubled.chain([self.last.scaled(scale)]).collect();
        bins[0] = bins[0].scaled(0.5);
        Spectrum { rate_hz: self.rate_hz, bin_hz: self.rate_hz / size as f64, bins }
    }
}

/// Lays frames with their weights into a stretch from a place on, left and right as real and imaginary parts.
fn lay(frames: &[Frame], weights: &[f64], stretch: &mut Numbers, at: usize) {
    // Up to the next group of four.
    let first = (at.next_multiple_of(4) - at).min(frames.len());
    let whole = (frames.len() - first) / 4;
    weigh(&frames[first..], &weights[first..], &mut stretch.0[(at + first) / 4..][..whole]);
    for n in (0..first).chain(first + 4 * whole..frames.len()) {
        stretch.set(at + n, [frames[n][0] * weights[n], frames[n][1] * weights[n]]);
    }
}

/// Groups of four frames with their weights. This loop and the next are compiled for wider registers too, and give the
/// same bytes there: nothing is fused.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn weigh(frames: &[Frame], weights: &[f64], out: &mut [Fours]) {
    let (frames, weights) = (frames.as_chunks::<4>().0, weights.as_chunks::<4>().0);
    for ((out, x), w) in out.iter_mut().zip(frames).zip(weights) {
        for k in 0..4 {
            out[0][k] = x[k][0] * w[k];
            out[1][k] = x[k][1] * w[k];
        }
    }
}

/// Adds the powers of all bins below half the rate. The transform ends with its first number once more.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn add_powers(work: &[Fours], sums: &mut [Powers]) {
    let end = 2 * sums.len();
    for (group, [left, right, product]) in sums.iter_mut().enumerate() {
        let ([a, b], [c, d]) = (work[group], mirrored(work, end - group));
        for k in 0..4 {
            let total = (a[k] * a[k] + b[k] * b[k] + (c[k] * c[k] + d[k] * d[k])) / 2.0;
            let (re, im) = (a[k] * c[k] - b[k] * d[k], a[k] * d[k] + b[k] * c[k]);
            left[k] += (total + re) / 2.0;
            right[k] += (total - re) / 2.0;
            product[k] += im / 2.0;
        }
    }
}

/// A long-term average spectrum.
#[derive(Clone, Debug)]
pub struct Spectrum {
    rate_hz: f64,
    bin_hz: f64,
    bins: Vec<StereoPower>,
}

impl Spectrum {
    /// Power between two frequencies: sums of bins, with shares of those that an edge cuts.
    #[must_use]
    pub fn power(&self, from_hz: f64, to_hz: f64) -> StereoPower {
        // Bin k reaches from k - 1/2 to k + 1/2 bin widths.
        let (from, to) = (from_hz / self.bin_hz + 0.5, to_hz / self.bin_hz + 0.5);
        let mut power = StereoPower::default();
        for k in from.max(0.0) as usize..self.bins.len().min(to.max(0.0).ceil() as usize) {
            let share = (to.min(k as f64 + 1.0) - from.max(k as f64)).max(0.0);
            let part = self.bins[k].scaled(share);
            power.left += part.left;
            power.right += part.right;
            power.product += part.product;
        }
        power
    }

    /// Power in each third-octave band with its nominal centre; none for bands that reach above half the sample rate.
    #[must_use]
    pub fn third_octaves(&self) -> Vec<(f64, Option<StereoPower>)> {
        let edge = libm::pow(10.0, 0.05);
        let band = |(band, nominal_hz): (usize, &f64)| {
            let centre_hz = exact_centre_hz(band);
            let fits = centre_hz * edge <= self.rate_hz / 2.0;
            (*nominal_hz, fits.then(|| self.power(centre_hz / edge, centre_hz * edge)))
        };
        THIRD_OCTAVES_HZ.iter().enumerate().map(band).collect()
    }

    /// Level in each third-octave band with its nominal centre; none for silence and for bands above half the rate.
    #[must_use]
    pub fn third_octave_db(&self) -> Vec<(f64, Option<f64>)> {
        let level = |power: StereoPower| (power.mean() > 0.0).then(|| units::db_from_power(power.mean()));
        self.third_octaves().into_iter().map(|(hz, power)| (hz, power.and_then(level))).collect()
    }

    /// Stereo image in each third-octave band with its nominal centre: width, balance and fold-down loss by band.
    #[must_use]
    pub fn third_octave_images(&self) -> Vec<(f64, Option<StereoImage>)> {
        self.third_octaves().into_iter().map(|(hz, power)| (hz, power.map(|power| power.image()))).collect()
    }

    /// A curve for drawing: `[hz, db]` in bands of equal width on a logarithmic axis, `a_octave` of them an octave, from
    /// 20 Hz to 20 kHz or half the sample rate. Band levels, so pink noise is level.
    #[must_use]
    pub fn curve_db(&self, a_octave: u32) -> Vec<(f64, Option<f64>)> {
        let a_decade = f64::from(a_octave) / 0.3;
        let top_hz = 20_000f64.min(self.rate_hz / 2.0);
        let count = (libm::log10(top_hz / 20.0) * a_decade) as usize;
        let point = |i: usize| {
            let edge = |shift: f64| 20.0 * libm::pow(10.0, (i as f64 + shift) / a_decade);
            let power = self.power(edge(0.0), edge(1.0)).mean();
            (edge(0.5), (power > 0.0).then(|| units::db_from_power(power)))
        };
        (0..count).map(point).collect()
    }
}

#[cfg(test)]
mod tests;
