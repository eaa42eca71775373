//! The first stage of a rate conversion: the sharp filter. It works by fast convolution on blocks that overlap (overlap-save:
//! A. V. Oppenheim and R. W. Schafer, "Discrete-Time Signal Processing", 2nd edition, 8.7.3), and what comes out is at an
//! inner rate: twice the input's, or as many times halved as the second stage can spare.
//!
//! Left and right are real and imaginary part of one number. The filter is symmetric about its middle, so that its response
//! is real, and the output has no delay. Doubling repeats the spectrum of the input, halving lays the upper half of a
//! spectrum over the lower: both exactly what leaving out or filling in frames does.

use fourier::{Fours, Numbers, Transform};
use multiversion::multiversion;
use units::{Frame, SILENCE};

use super::{PASS_SHARE, Window, sinc};

/// Attenuation of the window.
const STOP_BAND_DB: f64 = 176.0;

/// The filter.
#[derive(Debug)]
pub(super) struct Sharp {
    /// Frames of input in a block, a power of two, and those that it shares with each neighbour.
    pub size: usize,
    pub overlap: usize,
    /// Frames of a block at the inner rate.
    inner_size: usize,
    there: Transform,
    back: Transform,
    /// Response, by fours, of as many numbers as the finer of the two rates has in a block.
    response: Vec<[f64; 4]>,
}

/// Room for the transforms of a block.
#[derive(Debug, Clone)]
pub(super) struct Room {
    outer: [Numbers; 2],
    inner: [Numbers; 2],
}

impl Sharp {
    /// The filter for a lower rate of `low` times the input's, and an inner rate of `2^-halvings` times the input's.
    pub fn new(low: f64, halvings: i32) -> Self {
        let (doubled, thinned) = if halvings < 0 { (2, 1) } else { (1, 1 << halvings) };
        // The lower Nyquist frequency, in cycles a frame of input.
        let nyquist = 0.5 * low;
        let transition = nyquist * (1.0 - PASS_SHARE);
        let window = Window::new(STOP_BAND_DB);
        let half = window.half(transition);
        // Whole groups of four at both rates.
        let overlap = half.next_multiple_of(4 * thinned);
        let size = (8 * overlap).next_power_of_two();
        let (fine, inner_size) = (size * doubled, size * doubled / thinned);
        let double_cutoff = 2.0 * (nyquist - 0.5 * transition);
        let (mut data, mut spare) = (Numbers::new(fine), Numbers::new(fine));
        for at in 0..=half * doubled {
            let offset = at as f64 / doubled as f64;
            let tap = double_cutoff * sinc(double_cutoff * offset) * window.at(offset / half as f64);
            data.set(at, [tap, 0.0]);
            data.set((fine - at) % fine, [tap, 0.0]);
        }
        Transform::new(fine).forward(&mut data, &mut spare);
        // The way back multiplies by the number of frames.
        let response = data.0.iter().map(|[re, _]| re.map(|re| re / fine as f64)).collect();
        let (there, back) = (Transform::new(size), Transform::new(inner_size));
        Self { size, overlap, inner_size, there, back, response }
    }

    /// Frames of input from a block to the next.
    pub fn hop(&self) -> usize {
        self.size - 2 * self.overlap
    }

    /// The same at the inner rate.
    pub fn inner_hop(&self) -> usize {
        self.inner(self.hop())
    }

    fn inner(&self, frames: usize) -> usize {
        frames * self.inner_size / self.size
    }

    /// Room for a block.
    pub fn room(&self) -> Room {
        Room { outer: [0, 1].map(|_| Numbers::new(self.size)), inner: [0, 1].map(|_| Numbers::new(self.inner_size)) }
    }

    /// Filters a block, and appends to `out` those of its frames at the inner rate that no neighbour gives.
    pub fn filter(&self, block: &[Frame], room: &mut Room, out: &mut Vec<Frame>) {
        let Room { outer: [outer, spare], inner: [inner, inner_spare] } = room;
        fill(block, &mut outer.0);
        // Both sides share one transform, which rounds: what is the same on both stays so to the last bit, and a silent side
        // stays silent.
        let mono = block.iter().all(|[left, right]| left == right);
        let silent = [0, 1].map(|side| block.iter().all(|frame| frame[side] == 0.0));
        if mono {
            outer.0.iter_mut().for_each(|four| four[1] = [0.0; 4]);
        }
        self.there.forward(outer, spare);
        shape(&outer.0, &self.response, &mut inner.0);
        self.back.forward(inner, inner_spare);
        let start = out.len();
        out.resize(start + self.inner_hop(), SILENCE);
        take_out(&inner.0[self.inner(self.overlap) / 4..], &mut out[start..]);
        if mono {
            out[start..].iter_mut().for_each(|frame| frame[1] = frame[0]);
        }
        for side in [0, 1].into_iter().filter(|side| silent[*side]) {
            out[start..].iter_mut().for_each(|frame| frame[side] = 0.0);
        }
    }
}

/// Left and right as real and imaginary parts. This loop and those below are compiled for wider registers too, and give the
/// same bytes there: nothing is fused.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn fill(block: &[Frame], out: &mut [Fours]) {
    for (out, frames) in out.iter_mut().zip(block.as_chunks::<4>().0) {
        for k in 0..4 {
            out[0][k] = frames[k][0];
            out[1][k] = frames[k][1];
        }
    }
}

/// Frames from the way back, whose parts are exchanged.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn take_out(block: &[Fours], out: &mut [Frame]) {
    for (frames, [right, left]) in out.as_chunks_mut::<4>().0.iter_mut().zip(block) {
        for k in 0..4 {
            frames[k] = [left[k], right[k]];
        }
    }
}

/// The spectrum at the inner rate, with real and imaginary parts exchanged for the way back.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn shape(spectrum: &[Fours], response: &[[f64; 4]], out: &mut [Fours]) {
    if out.len() > spectrum.len() {
        for (out, response) in out.chunks_exact_mut(spectrum.len()).zip(response.chunks_exact(spectrum.len())) {
            for ((out, x), gain) in out.iter_mut().zip(spectrum).zip(response) {
                for k in 0..4 {
                    out[0][k] = x[1][k] * gain[k];
                    out[1][k] = x[0][k] * gain[k];
                }
            }
        }
        return;
    }
    out.fill([[0.0; 4]; 2]);
    let parts = spectrum.chunks_exact(out.len()).zip(response.chunks_exact(out.len()));
    for (spectrum, response) in parts {
        for ((out, x), gain) in out.iter_mut().zip(spectrum).zip(response) {
            for k in 0..4 {
                out[0][k] += x[1][k] * gain[k];
                out[1][k] += x[0][k] * gain[k];
            }
        }
    }
}
