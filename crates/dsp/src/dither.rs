//! Dither: puts the signal on the grid of a word length without distortion.
//!
//! Rounding to a grid of step D distorts quiet sounds. Noise of triangular density, two steps wide (TPDF), added before
//! rounding, makes the error's mean and power independent of the signal: its power is D^2/4 (S. P. Lipshitz,
//! R. A. Wannamaker, J. Vanderkooy, "Quantization and Dither: A Theoretical Survey", JAES 40(5), 1992). The shaped kind
//! feeds past errors back so that their noise lies where the ear is dull (`shaping`).
//!
//! Each channel has its own noise, drawn from a counter and the seed: the same sheet gives the same file. What comes out
//! is k D with whole k between -1/D and 1/D - 1, exactly. Only the key is put on the grid; with followers, the rounding
//! goes to the residue.

mod shaping;

use multiversion::multiversion;

use crate::{BuildError, Context, Processor};
use shaping::ORDER;
use units::random::{GOLDEN, next, scramble};
use units::{At, Block, Frame, Param, Settings, Spec, Unit, Value};

/// Word length.
pub const BITS: Param = Param::number("bits", Unit::Bit, [8.0, 32.0], 24.0, "The word length of the file to come.");
/// Which noise.
pub const KIND: Param = Param::choice(
    "kind",
    &["tpdf", "shaped", "none"],
    0,
    "Even noise, noise moved to where the ear is dull, or plain rounding.",
);
/// Which of all the noises.
pub const SEED: Param = Param::number(
    "seed",
    Unit::Plain,
    [0.0, 4_294_967_295.0],
    1.0,
    "Another number is another noise; the same number is the same noise again.",
);

/// The dither.
pub const SPEC: Spec = Spec {
    name: "dither",
    title: "dither",
    summary: "Puts the signal on the grid of a word length without distortion.",
    source: "S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, “Quantization and Dither: A Theoretical Survey”, \
             JAES 40(5), 1992; the shaped kind by linear prediction of Terhardt's threshold in quiet (Hearing \
             Research 1, 1979).",
    caution: "Once, and last: prints do it where they cut the word length. Nothing may change the level behind \
             it.",
    sentence: "{kind} dither to {bits}[, seed {seed}]",
    params: &[BITS, KIND, SEED],
    rows: None,
    outside_key: false,
};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Tpdf,
    Shaped,
    None,
}

/// The dither's state.
pub struct Dither {
    settings: Settings,
    kind: Kind,
    /// 1/D: grid steps from 0 to full scale.
    steps: f64,
    noise: [Noise; 2],
    shaping: [f64; ORDER],
    /// Past errors in steps, the latest first, for each channel.
    errors: [[f64; ORDER]; 2],
}

/// Builds it.
///
/// # Errors
/// None: every setting in range can be had.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Dither::new(settings, context)))
}

impl Dither {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let mut dither = Self {
            settings: settings.clone(),
            kind: [Kind::Tpdf, Kind::Shaped, Kind::None][settings.choice(&KIND)],
            steps: 1.0,
            noise: [Noise { counter: 0 }; 2],
            shaping: shaping::filter(context.rate_hz),
            errors: [[0.0; ORDER]; 2],
        };
        dither.reset();
        dither
    }

    /// The grid point, in steps, for a sample in steps, by the shaped kind.
    #[inline]
    fn shaped(&mut self, channel: usize, x: f64) -> f64 {
        let errors = &mut self.errors[channel];
        let past: f64 = errors.iter().zip(&self.shaping).map(|(e, c)| e * c).sum();
        let wanted = x + past;
        let k = rounded(wanted + self.noise[channel].triangular(), self.steps);
        errors.copy_within(..ORDER - 1, 1);
        // At full scale the error is the clipping's; bounding it keeps the loop calm.
        errors[0] = (k - wanted).clamp(-2.0, 2.0);
        k
    }
}

/// The nearest grid point, in steps.
#[inline(always)]
fn rounded(x: f64, steps: f64) -> f64 {
    x.round().clamp(-steps, steps - 1.0)
}

/// Plain rounding. Compiled twice, as rounding is an instruction on newer machines; both give the same bytes.
#[multiversion(targets("x86_64+avx2"))]
fn round_all(frames: &mut [Frame], steps: f64) {
    let step = 1.0 / steps;
    for sample in frames.as_flattened_mut() {
        *sample = rounded(*sample * steps, steps) * step;
    }
}

/// Frames that are dithered at a time.
const STRIP: usize = 8;

/// Rounding with even noise, in strips that become vector code; compiled for wider registers as well.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn dither_all(frames: &mut [Frame], noise: &mut [Noise; 2], steps: f64) {
    let step = 1.0 / steps;
    let mut counters: [u64; 2 * STRIP] = std::array::from_fn(|k| noise[k % 2].ahead(k / 2 + 1));
    for strip in frames.chunks_mut(STRIP) {
        let mut drawn = [0.0; 2 * STRIP];
        for (drawn, counter) in drawn.iter_mut().zip(&mut counters) {
            *drawn = triangular(scramble(*counter));
            *counter = counter.wrapping_add(GOLDEN.wrapping_mul(STRIP as u64));
        }
        for (sample, drawn) in strip.as_flattened_mut().iter_mut().zip(drawn) {
            *sample = rounded(*sample * steps + drawn, steps) * step;
        }
    }
    for noise in noise {
        noise.counter = noise.ahead(frames.len());
    }
}

impl Processor for Dither {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        let (steps, step) = (self.steps, 1.0 / self.steps);
        match self.kind {
            Kind::None => round_all(block.key_mut(), steps),
            Kind::Tpdf => dither_all(block.key_mut(), &mut self.noise, steps),
            Kind::Shaped => {
                for frame in block.key_mut() {
                    for (channel, sample) in frame.iter_mut().enumerate() {
                        *sample = self.shaped(channel, *sample * steps) * step;
                    }
                }
            }
        }
        block.settle_residue();
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        self.steps = steps(self.settings.number(&BITS));
    }

    fn reset(&mut self) {
        self.steps = steps(self.settings.number(&BITS));
        let seed = self.settings.number(&SEED) as u64;
        self.noise = [0, 1].map(|channel| Noise::new(2 * seed + channel));
        self.errors = [[0.0; ORDER]; 2];
    }
}

/// Grid steps from 0 to full scale: 2^(bits - 1).
fn steps(bits: f64) -> f64 {
    (1_u64 << (bits.round() as u32 - 1)) as f64
}

/// A stream of random numbers.
#[derive(Clone, Copy, Debug)]
struct Noise {
    counter: u64,
}

impl Noise {
    fn new(stream: u64) -> Self {
        Self { counter: scramble(stream.wrapping_mul(GOLDEN) ^ GOLDEN) }
    }

    /// Its counter when so many more numbers were drawn.
    #[inline(always)]
    fn ahead(self, numbers: usize) -> u64 {
        self.counter.wrapping_add(GOLDEN.wrapping_mul(numbers as u64))
    }

    #[inline(always)]
    fn triangular(&mut self) -> f64 {
        triangular(next(&mut self.counter))
    }
}

/// Difference of two numbers evenly spread over one step: between -1 and 1, likeliest 0.
#[inline(always)]
fn triangular(bits: u64) -> f64 {
    // The bits of 2^52: with a whole number below that in the place of its last bits, it is so much greater.
    const TWO_TO_52: u64 = 0x4330_0000_0000_0000;
    let [high, low] = [bits >> 32, bits & 0xffff_ffff].map(|whole| f64::from_bits(TWO_TO_52 | whole));
    (high - low) * (1.0 / 4_294_967_296.0)
}

#[cfg(test)]
mod tests;
