//! Rate conversion in two stages: zero delay, exact length, the same samples on every machine.
//!
//! Frame `n` of the output stands at the time `n / to_hz`, frame `k` of the input at `k / from_hz`, both from the same
//! zero. The first stage (`sharp`) cuts at the lower of the two Nyquist frequencies, by fast convolution, and gives
//! an inner rate of at least twice the lower rate. So far above the signal, the second stage needs few coefficients: a
//! polyphase windowed sinc. With the ratio of the rates `L / M` in lowest terms, output frame `n` lies at inner position
//! `n M / L`: whole part `floor(n M / L)`, phase `n M mod L`; each of the `L` phases has its own row of coefficients, and one
//! scalar product gives a frame. Blocks of the first stage lie where they lie from the start of the input on, and nothing else is
//! remembered: a seek computes the same samples afresh. The method is R. E. Crochiere and L. R. Rabiner,
//! "Multirate Digital Signal Processing" (1983), with the window of J. F. Kaiser, "Nonrecursive digital filter design using
//! the I0-sinh window function" (1974).
//!
//! The pass band reaches 10/11 of the lower of the two Nyquist frequencies (20.045 kHz at 44.1 kHz); the stop band starts
//! at that Nyquist frequency, 168 dB down, so nothing folds over anywhere.
//!
//! Why not a general library: those measured choose their vector instructions at run time, so that the last bits of a
//! print would depend on the machine; one of them delays by half a frame at some block sizes.

mod sharp;

use std::f64::consts::PI;
use std::path::Path;
use std::sync::Arc;

use multiversion::multiversion;
use units::{Frame, SILENCE};

use crate::{Info, MediaError, Reader, Reason, Source};
use sharp::{Room, Sharp};

/// The pass band's edge as a share of the lower Nyquist frequency.
const PASS_SHARE: f64 = 10.0 / 11.0;

/// Attenuation that the second stage's window is made for.
const SHORT_STOP_BAND_DB: f64 = 200.0;

/// Most coefficients of the second stage: 32 MiB.
const MOST_COEFFICIENTS: u64 = 1 << 22;

/// Frames of input read at once.
const INPUT_FRAMES: usize = 4096;

/// Kaiser's window.
struct Window {
    stop_band_db: f64,
    beta: f64,
    at_0: f64,
}

impl Window {
    fn new(stop_band_db: f64) -> Self {
        let beta = 0.1102 * (stop_band_db - 8.7);
        Self { stop_band_db, beta, at_0: bessel_i0(beta) }
    }

    /// Half the length, in frames, that a transition in cycles a frame needs, by Kaiser's estimate.
    fn half(&self, transition: f64) -> usize {
        let order = (self.stop_band_db - 7.95) / (14.36 * transition);
        (0.5 * order).ceil() as usize
    }

    /// Its weight at a place, the middle at 0 and the ends at -1 and 1.
    fn at(&self, place: f64) -> f64 {
        bessel_i0(self.beta * (1.0 - place * place).max(0.0).sqrt()) / self.at_0
    }
}

/// The filters between two rates.
#[derive(Debug)]
struct Kernel {
    sharp: Sharp,
    /// Ratio of the output's rate to the input's, and to the inner one, both in lowest terms: `up` phases, `down` steps.
    outer: [u64; 2],
    up: u64,
    down: u64,
    /// Coefficients of a row, a multiple of four.
    taps: usize,
    /// `up` rows of `taps` coefficients, each twice in a row: for left and right.
    rows: Vec<f64>,
}

impl Kernel {
    fn new(from_hz: u32, to_hz: u32) -> Result<Self, Reason> {
        let too_fine = Reason::RatioTooFine { from_hz, to_hz };
        if from_hz == 0 || to_hz == 0 {
            return Err(too_fine);
        }
        // The lower rate in frames a frame of input, and the coarsest inner rate that is twice as high.
        let low = (f64::from(to_hz) / f64::from(from_hz)).min(1.0);
        let mut halvings = -1;
        while libm::exp2(-f64::from(halvings + 1)) >= 2.0 * low {
            halvings += 1;
        }
        let (from, to) = (u64::from(from_hz), u64::from(to_hz));
        let [up, down] = if halvings < 0 { lowest(to, 2 * from) } else { lowest(to << halvings, from) };
        let inner_low = low * libm::exp2(f64::from(halvings));
        let window = Window::new(SHORT_STOP_BAND_DB);
        // From the lower Nyquist frequency to where the inner rate mirrors it. Without phases nothing is between frames.
        let half = if up == 1 { 2 } else { window.half(1.0 - inner_low).next_multiple_of(2) };
        let taps = 2 * half;
        if up * 2 * taps as u64 > MOST_COEFFICIENTS {
            return Err(too_fine);
        }
        let mut rows = Vec::with_capacity(up as usize * 2 * taps);
        for phase in 0..up {
            rows.extend((0..taps).flat_map(|tap| {
                // Distance in inner frames from this coefficient's frame to the output's place.
                let offset = tap as f64 - (half as f64 - 1.0) - phase as f64 / up as f64;
                [sinc(offset) * window.at(offset / half as f64); 2]
            }));
        }
        Ok(Self { sharp: Sharp::new(low, halvings), outer: lowest(to, from), up, down, taps, rows })
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
        &self.rows[place.phase * 2 * self.taps..][..2 * self.taps]
    }

    /// Frames of output for so many frames of input: the least number that spans them.
    fn output_frames(&self, input_frames: u64) -> u64 {
        let [up, down] = self.outer;
        (u128::from(input_frames) * u128::from(up)).div_ceil(u128::from(down)) as u64
    }
}

/// Where a frame of output lies in the inner signal: the first frame that it takes part of, and its phase.
#[derive(Debug, Clone, Copy)]
struct Place {
    first: i64,
    phase: usize,
}

/// A ratio in lowest terms.
fn lowest(a: u64, b: u64) -> [u64; 2] {
    let common = gcd(a, b);
    [a / common, b / common]
}

fn gcd(a: u64, b: u64) -> u64 {
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

/// The scalar products of rows with the inner signal, for as many places as `out` has. Four coefficients are added up side
/// by side, and wider registers, where the machine has them, give the same bytes: the order of additions is fixed and
/// nothing is fused. The place after the last is returned.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn products(kernel: &Kernel, inner: &[Frame], first: i64, mut place: Place, out: &mut [Frame]) -> Place {
    for out in out {
        let frames = inner[(place.first - first) as usize..][..kernel.taps].as_flattened();
        let mut sums = [0.0; 8];
        for (row, frames) in kernel.row(place).as_chunks::<8>().0.iter().zip(frames.as_chunks::<8>().0) {
            for k in 0..8 {
                sums[k] += row[k] * frames[k];
            }
        }
        *out = [0, 1].map(|c| (sums[c] + sums[4 + c]) + (sums[2 + c] + sums[6 + c]));
        place = kernel.after(place);
    }
    place
}

/// Converts a rate, frame by frame: push input, pull output, and say when the input has ended.
#[derive(Debug, Clone)]
pub struct RateConverter {
    kernel: Arc<Kernel>,
    room: Room,
    /// Input of the next block and what follows it, and that block's number; silence before the start and after the end.
    input: Vec<Frame>,
    block: i64,
    /// The inner signal from its frame `first` on.
    inner: Vec<Frame>,
    first: i64,
    /// Next frame of output, and its place in the inner signal.
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
        let (room, place) = (kernel.sharp.room(), kernel.place(0));
        let (input, inner) = (Vec::new(), Vec::new());
        let mut converter = Self { kernel, room, input, block: 0, inner, first: 0, next: 0, place, ended_at: None };
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
        let inner_hop = self.kernel.sharp.inner_hop() as i64;
        (self.next, self.place) = (output_frame, self.kernel.place(output_frame));
        self.block = self.place.first.div_euclid(inner_hop);
        self.first = self.block * inner_hop;
        let from = self.input_from();
        self.inner.clear();
        self.input.clear();
        self.input.resize(usize::try_from(-from).unwrap_or(0), SILENCE);
        self.ended_at = None;
        u64::try_from(from).unwrap_or(0)
    }

    /// The frame that the next block of input starts with.
    fn input_from(&self) -> i64 {
        self.block * self.kernel.sharp.hop() as i64 - self.kernel.sharp.overlap as i64
    }

    /// Appends input.
    pub fn push(&mut self, frames: &[Frame]) {
        let used = ((self.place.first - self.first) as usize).min(self.inner.len());
        self.inner.drain(..used);
        self.first += used as i64;
        self.input.extend_from_slice(frames);
        self.filter();
    }

    /// Filters all blocks of input that are there.
    fn filter(&mut self) {
        let sharp = &self.kernel.sharp;
        let mut done = 0;
        while let Some(block) = self.input.get(done..done + sharp.size) {
            sharp.filter(block, &mut self.room, &mut self.inner);
            done += sharp.hop();
            self.block += 1;
        }
        self.input.drain(..done);
    }

    /// Says that the input has ended: what follows is silence, and the length of the output is known.
    pub fn end(&mut self) {
        if self.ended_at.is_some() {
            return;
        }
        let ended_at = u64::try_from(self.input_from() + self.input.len() as i64).unwrap_or(0);
        self.ended_at = Some(ended_at);
        let last = self.kernel.place(self.output_frames(ended_at)).first + self.kernel.taps as i64;
        while self.first + (self.inner.len() as i64) < last {
            self.input.resize(self.input.len().max(self.kernel.sharp.size), SILENCE);
            self.filter();
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
        let start = out.len();
        out.resize(start + self.ready(), SILENCE);
        self.pull(&mut out[start..]);
    }

    /// Frames of output that the input so far allows.
    fn ready(&self) -> usize {
        let Kernel { up, down, taps, .. } = &*self.kernel;
        let Place { first, phase } = self.place;
        // How far the first frame of the last place lies behind that of the next.
        let last = self.inner.len() as i64 - (first - self.first) - *taps as i64;
        let Ok(last) = u64::try_from(last) else { return 0 };
        let ready = ((last + 1) * up - 1 - phase as u64) / down + 1;
        let left = self.ended_at.map_or(u64::MAX, |frames| self.output_frames(frames).saturating_sub(self.next));
        usize::try_from(ready.min(left)).unwrap_or(usize::MAX)
    }

    /// Computes as many frames of output as the input so far allows, at most `out`'s. Returns how many.
    pub fn pull(&mut self, out: &mut [Frame]) -> usize {
        let count = out.len().min(self.ready());
        self.place = products(&self.kernel, &self.inner, self.first, self.place, &mut out[..count]);
        self.next += count as u64;
        count
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
