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

    /// Output frame `n`'s place: the first frame of input that it takes part of, and its phase.
    fn place(&self, n: u64) -> (i64, usize) {
        let at = u128::from(n) * u128::from(self.down);
        let (whole, phase) = ((at / u128::from(self.up)) as i64, (at % u128::from(self.up)) as usize);
        (whole - (self.taps as i64 / 2 - 1), phase)
    }

    /// Frames of output for so many frames of input: the least number that spans them.
    fn output_frames(&self, input_frames: u64) -> u64 {
        (u128::from(input_frames) * u128::from(self.up)).div_ceil(u128::from(self.down)) as u64
    }
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

/// The scalar product of a row with frames, in four lanes of fixed order, so that it is the same however it is compiled.
fn product(row: &[f64], frames: &[Frame]) -> Frame {
    let mut lanes = [SILENCE; 4];
    let (rows, rest_row) = row.as_chunks::<4>();
    let (quads, rest_frames) = frames.as_chunks::<4>();
    for (h, x) in rows.iter().zip(quads) {
        for lane in 0..4 {
            lanes[lane][0] += h[lane] * x[lane][0];
            lanes[lane][1] += h[lane] * x[lane][1];
        }
    }
    for ((h, x), lane) in rest_row.iter().zip(rest_frames).zip(&mut lanes) {
        lane[0] += h * x[0];
        lane[1] += h * x[1];
    }
    let [a, b, c, d] = lanes;
    [(a[0] + b[0]) + (c[0] + d[0]), (a[1] + b[1]) + (c[1] + d[1])]
}

/// Converts a rate, frame by frame: push input, pull output, and say when the input has ended.
#[derive(Debug, Clone)]
pub struct RateConverter {
    kernel: Arc<Kernel>,
    /// Input from frame `first` on; silence before the start and after the end.
    window: Vec<Frame>,
    first: i64,
    /// Next frame of output, and its place in the input: first frame it takes part of, and phase.
    next: u64,
    next_first: i64,
    phase: usize,
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
        let mut converter =
            Self { kernel, window: Vec::new(), first: 0, next: 0, next_first: 0, phase: 0, ended_at: None };
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
        let (first, phase) = self.kernel.place(output_frame);
        self.window.clear();
        self.window.resize(usize::try_from(-first).unwrap_or(0), SILENCE);
        (self.first, self.ended_at) = (first, None);
        (self.next, self.next_first, self.phase) = (output_frame, first, phase);
        u64::try_from(first).unwrap_or(0)
    }

    /// Appends input.
    pub fn push(&mut self, frames: &[Frame]) {
        let used = ((self.next_first - self.first) as usize).min(self.window.len());
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
        let (step, step_phase) = ((kernel.down / kernel.up) as i64, (kernel.down % kernel.up) as usize);
        for (count, frame) in out[..wanted].iter_mut().enumerate() {
            let start = (self.next_first - self.first) as usize;
            let Some(frames) = self.window.get(start..start + kernel.taps) else { return count };
            *frame = product(&kernel.rows[self.phase * kernel.taps..][..kernel.taps], frames);
            self.next += 1;
            self.next_first += step;
            self.phase += step_phase;
            if self.phase >= kernel.up as usize {
                self.phase -= kernel.up as usize;
                self.next_first += 1;
            }
        }
        wanted
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
