//! Rate conversion by a polyphase windowed-sinc filter: zero delay, exact length, the same samples on every machine.
//!
//! Frame `n` of the output stands at the time `n / to_hz`, frame `k` of the input at `k / from_hz`, both from the same
//! zero. With the ratio `to_hz / from_hz = L / M` in lowest terms, output frame `n` lies at input position `n M / L`: whole
//! part `floor(n M / L)`, phase `n M mod L`. Each of the `L` phases has its own row of coefficients, one scalar product
//! gives a frame, and nothing else is remembered: a seek computes the same samples afresh. The method is R. E. Crochiere
//! and L. R. Rabiner, "Multirate Digital Signal Processing" (1983), with the window of J. F. Kaiser, "Nonrecursive
//! digital filter design using the I0-sinh window function" (1974).
//!
//! The pass band reaches 10/11 of the lower of the two Nyquist frequencies (20.045 kHz at 44.1 kHz); the stop band starts
//! at that Nyquist frequency, [`STOP_BAND_DB`] down, so nothing folds over anywhere.
//!
//! Why not a general library: those measured choose their vector instructions at run time, so that the last bits of a
//! print would depend on the machine; one of them delays by half a frame at some block sizes.

use std::f64::consts::PI;
use std::path::Path;
use std::sync::Arc;

use multiversion::multiversion;
use units::{Frame, SILENCE};

use crate::{Info, MediaError, Reader, Reason, Source};

/// Attenuation that the window is made for.
const STOP_BAND_DB: f64 = 165.0;

/// The pass band's edge as a share of the lower Nyquist frequency.
const PASS_SHARE: f64 = 10.0 / 11.0;

/// Most coefficients of a filter: 64 MiB.
const MOST_COEFFICIENTS: u64 = 1 << 23;

/// Frames of input read at once.
const INPUT_FRAMES: usize = 4096;

/// The filter between two rates.
#[derive(Debug)]
struct Kernel {
    /// Ratio of the rates in lowest terms: `up` phases, `down` steps.
    up: u64,
    down: u64,
    /// Coefficients of a row, even.
    taps: usize,
    /// `up` rows of `taps` coefficients.
    rows: Vec<f64>,
}

impl Kernel {
    fn new(from_hz: u32, to_hz: u32) -> Result<Self, Reason> {
        let too_fine = Reason::RatioTooFine { from_hz, to_hz };
        let common = gcd(from_hz, to_hz);
        if from_hz == 0 || to_hz == 0 {
            return Err(too_fine);
        }
        let (up, down) = (u64::from(to_hz / common), u64::from(from_hz / common));
        // The lower Nyquist frequency, in cycles a frame of input.
        let nyquist = 0.5 * (f64::from(to_hz) / f64::from(from_hz)).min(1.0);
        let transition = nyquist * (1.0 - PASS_SHARE);
        // Kaiser's estimate of the order, and of the window's parameter.
        let order = (STOP_BAND_DB - 7.95) / (14.36 * transition);
        let half = (0.5 * order).ceil() as u64 + 1;
        if up * 2 * half > MOST_COEFFICIENTS {
            return Err(too_fine);
        }
        let beta = 0.1102 * (STOP_BAND_DB - 8.7);
        let window_at_0 = bessel_i0(beta);
        let cutoff = nyquist - 0.5 * transition;
        let taps = 2 * half as usize;
        let mut rows = Vec::with_capacity(up as usize * taps);
        for phase in 0..up {
            rows.extend((0..taps).map(|tap| {
                // Distance in frames of input from this coefficient's frame to the output's place.
                let offset = tap as f64 - (half as f64 - 1.0) - phase as f64 / up as f64;
                let inside = (1.0 - (offset / half as f64) * (offset / half as f64)).max(0.0);
                let window = bessel_i0(beta * inside.sqrt()) / window_at_0;
                2.0 * cutoff * sinc(2.0 * cutoff * offset) * window
            }));
        }
        Ok(Self { up, down, taps, rows })
    }

    /// The place of output frame `n`.
    fn place(&self, n: u64) -> Place {
        let at = u128::from(n) * u128::from(self.down);
        let (whole, phase) = ((at / u128::from(self.up)) as i64, (at % u128::from(self.up)) as usize);
        Place { first: whole - (self.taps as i64 / 2 - 1), phase }
    }

    /// The place after one.
    fn after(&self, Place { first, phase }: Place) -> Place {
        let first = first + (self.down / self.up) as i64;
        let phase = phase + (self.down % self.up) as usize;
        match phase.checked_sub(self.up as usize) {
            None => Place { first, phase },
            Some(phase) => Place { first: first + 1, phase },
        }
    }

    /// The coefficients of a place.
    fn row(&self, place: Place) -> &[f64] {
        &self.rows[place.phase * self.taps..][..self.taps]
    }

    /// Frames of output for so many frames of input: the least number that spans them.
    fn output_frames(&self, input_frames: u64) -> u64 {
        (u128::from(input_frames) * u128::from(self.up)).div_ceil(u128::from(self.down)) as u64
    }
}

/// Where a frame of output lies in the input: the first frame that it takes part of, and its phase.
#[derive(Debug, Clone, Copy)]
struct Place {
    first: i64,
    phase: usize,
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

fn sinc(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { libm::sin(PI * x) / (PI * x) }
}

/// Modified Bessel function of the first kind, order zero, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = 0.25 * x * x;
    let (mut sum, mut term, mut k) = (1.0, 1.0, 0.0);
    while term > sum * 1e-17 {
        k += 1.0;
        term *= quarter / (k * k);
        sum += term;
    }
    sum
}

/// Frames of output that are computed side by side: one sum need not wait for the last of another.
const ABREAST: usize = 4;

/// Sums of one frame: of every fourth coefficient, left and right in turn.
type Sums = [f64; 8];

/// The scalar products of rows with frames, all of one length.
fn products(rows: [&[f64]; ABREAST], frames: [&[Frame]; ABREAST]) -> [Frame; ABREAST] {
    let mut sums = [[0.0; 8]; ABREAST];
    sum_up(&rows, &frames, &mut sums);
    let mut out = [SILENCE; ABREAST];
    for (((out, sums), row), frames) in out.iter_mut().zip(&mut sums).zip(rows).zip(frames) {
        let (last_row, last_frames) = (row.as_chunks::<4>().1, frames.as_chunks::<4>().1);
        for ((sum, h), x) in sums.as_chunks_mut::<2>().0.iter_mut().zip(last_row).zip(last_frames) {
            *sum = [sum[0] + h * x[0], sum[1] + h * x[1]];
        }
        let [a, b, c, d] = [0, 2, 4, 6].map(|at| [sums[at], sums[at + 1]]);
        *out = [(a[0] + b[0]) + (c[0] + d[0]), (a[1] + b[1]) + (c[1] + d[1])];
    }
    out
}

/// The sums over all whole groups of four. The order of additions is fixed and nothing is fused, so that wider registers,
/// where the machine has them, give the same bytes.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn sum_up(rows: &[&[f64]; ABREAST], frames: &[&[Frame]; ABREAST], out: &mut [Sums; ABREAST]) {
    let [a, b, c, d] = rows.map(|row| row.as_chunks::<4>().0);
    let [w, x, y, z] = frames.map(|frames| frames.as_flattened().as_chunks::<8>().0);
    let [mut p, mut q, mut r, mut s] = [[0.0; 8]; ABREAST];
    let (former, latter) = (a.iter().zip(w).zip(b.iter().zip(x)), c.iter().zip(y).zip(d.iter().zip(z)));
    for (((a, w), (b, x)), ((c, y), (d, z))) in former.zip(latter) {
        add(&mut p, a, w);
        add(&mut q, b, x);
        add(&mut r, c, y);
        add(&mut s, d, z);
    }
    *out = [p, q, r, s];
}

/// Adds the products of four coefficients and four frames.
#[inline(always)]
fn add(sums: &mut Sums, row: &[f64; 4], frames: &[f64; 8]) {
    for k in 0..8 {
        sums[k] += row[k / 2] * frames[k];
    }
}

/// Converts a rate, frame by frame: push input, pull output, and say when the input has ended.
#[derive(Debug, Clone)]
pub struct RateConverter {
    kernel: Arc<Kernel>,
    /// Input from frame `first` on; silence before the start and after the end.
    window: Vec<Frame>,
    first: i64,
    /// Next frame of output, and its place in the input.
    next: u64,
    place: Place,
    /// Frames of input in all, once known.
    ended_at: Option<u64>,
}

impl RateConverter {
    /// A converter at the start of its input.
    ///
    /// # Errors
    /// If the ratio of the rates in lowest terms needs too large a filter.
    pub fn new(from_hz: u32, to_hz: u32) -> Result<Self, Reason> {
        let kernel = Arc::new(Kernel::new(from_hz, to_hz)?);
        let place = kernel.place(0);
        let mut converter = Self { kernel, window: Vec::new(), first: 0, next: 0, place, ended_at: None };
        converter.restart(0);
        Ok(converter)
    }

    /// Frames of output for so many frames of input: the least number that spans them, by the exact ratio.
    #[must_use]
    pub fn output_frames(&self, input_frames: u64) -> u64 {
        self.kernel.output_frames(input_frames)
    }

    /// Starts over at a frame of output. Returns the frame of input that must be pushed first.
    pub fn restart(&mut self, output_frame: u64) -> u64 {
        let place = self.kernel.place(output_frame);
        let first = place.first;
        self.window.clear();
        self.window.resize(usize::try_from(-first).unwrap_or(0), SILENCE);
        (self.first, self.ended_at) = (first, None);
        (self.next, self.place) = (output_frame, place);
        u64::try_from(first).unwrap_or(0)
    }

    /// Appends input.
    pub fn push(&mut self, frames: &[Frame]) {
        let used = ((self.place.first - self.first) as usize).min(self.window.len());
        self.window.drain(..used);
        self.first += used as i64;
        self.window.extend_from_slice(frames);
    }

    /// Says that the input has ended: what follows is silence, and the length of the output is known.
    pub fn end(&mut self) {
        if self.ended_at.is_none() {
            self.ended_at = u64::try_from(self.first + self.window.len() as i64).ok();
            self.window.resize(self.window.len() + self.kernel.taps, SILENCE);
        }
    }

    /// Appends to `out` what more input allows to compute.
    pub fn convert(&mut self, frames: &[Frame], out: &mut Vec<Frame>) {
        for part in frames.chunks(INPUT_FRAMES) {
            self.push(part);
            self.pull_all(out);
        }
    }

    /// Ends the input, and appends the rest to `out`.
    pub fn finish(&mut self, out: &mut Vec<Frame>) {
        self.end();
        self.pull_all(out);
    }

    fn pull_all(&mut self, out: &mut Vec<Frame>) {
        loop {
            let start = out.len();
            out.resize(start + INPUT_FRAMES, SILENCE);
            let count = self.pull(&mut out[start..]);
            out.truncate(start + count);
            if count < INPUT_FRAMES {
                return;
            }
        }
    }

    /// Computes as many frames of output as the input so far allows, at most `out`'s. Returns how many.
    pub fn pull(&mut self, out: &mut [Frame]) -> usize {
        let kernel = &*self.kernel;
        let left = self.ended_at.map_or(u64::MAX, |frames| kernel.output_frames(frames).saturating_sub(self.next));
        let wanted = out.len().min(usize::try_from(left).unwrap_or(usize::MAX));
        let mut done = 0;
        while done < wanted {
            let (mut rows, mut inputs): ([&[f64]; ABREAST], [&[Frame]; ABREAST]) = ([&[]; ABREAST], [&[]; ABREAST]);
            let mut found = 0;
            while found < ABREAST.min(wanted - done) {
                let start = (self.place.first - self.first) as usize;
                let Some(frames) = self.window.get(start..start + kernel.taps) else { break };
                (rows[found], inputs[found]) = (kernel.row(self.place), frames);
                self.place = kernel.after(self.place);
                found += 1;
            }
            // Places that are left over repeat the first.
            let (row, input) = (rows[0], inputs[0]);
            rows[found..].fill(row);
            inputs[found..].fill(input);
            out[done..done + found].copy_from_slice(&products(rows, inputs)[..found]);
            self.next += found as u64;
            done += found;
            if found < ABREAST {
                break;
            }
        }
        done
    }
}

/// A source at another rate.
pub struct ResampledReader<S = Reader> {
    source: S,
    converter: RateConverter,
    rate_hz: u32,
    frames: u64,
    input: Vec<Frame>,
}

impl<S: Source> ResampledReader<S> {
    /// Converts a source, from its start.
    ///
    /// # Errors
    /// If the two rates have no workable ratio.
    pub fn new(source: S, rate_hz: u32) -> Result<Self, Reason> {
        let converter = RateConverter::new(source.rate_hz(), rate_hz)?;
        let frames = converter.output_frames(source.frames());
        Ok(Self { source, converter, rate_hz, frames, input: vec![SILENCE; INPUT_FRAMES] })
    }
}

impl<S: Source> Source for ResampledReader<S> {
    fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    fn frames(&self) -> u64 {
        self.frames
    }

    fn read(&mut self, out: &mut [Frame]) -> Result<usize, MediaError> {
        let mut done = 0;
        loop {
            done += self.converter.pull(&mut out[done..]);
            if done == out.len() || self.converter.ended_at.is_some() {
                return Ok(done);
            }
            // The input so far is used up.
            match self.source.read(&mut self.input)? {
                0 => self.converter.end(),
                count => self.converter.push(&self.input[..count]),
            }
        }
    }

    fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        if frame > self.frames {
            let reason = Reason::PastTheEnd { frame, frames: self.frames };
            return Err(MediaError::new(self.source.path(), reason));
        }
        let first = self.converter.restart(frame);
        self.source.seek(first.min(self.source.frames()))
    }

    fn info(&self) -> &Info {
        self.source.info()
    }

    fn path(&self) -> &Path {
        self.source.path()
    }
}

#[cfg(test)]
mod tests;
