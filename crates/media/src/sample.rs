//! Samples as bytes: little-endian integers and floats to and from `f64` with full scale at 1.

use multiversion::multiversion;
use units::Frame;

/// How a sample is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Encoding {
    /// Unsigned 8-bit integer, silence at 128.
    Unsigned8,
    /// Signed 16-bit integer.
    Signed16,
    /// Signed 24-bit integer.
    Signed24,
    /// Signed 32-bit integer.
    Signed32,
    /// 32-bit float.
    Float32,
    /// 64-bit float.
    Float64,
}

impl Encoding {
    pub(crate) const fn bytes(self) -> usize {
        match self {
            Self::Unsigned8 => 1,
            Self::Signed16 => 2,
            Self::Signed24 => 3,
            Self::Signed32 | Self::Float32 => 4,
            Self::Float64 => 8,
        }
    }

    pub(crate) const fn is_float(self) -> bool {
        matches!(self, Self::Float32 | Self::Float64)
    }

    /// Reads whole frames of `channels` channels from bytes: `first` and the one after it; mono goes to both sides. Exact:
    /// every value of every encoding has its own `f64`.
    pub(crate) fn decode(self, bytes: &[u8], channels: usize, first: usize, out: &mut [Frame]) {
        let layout = [channels, first];
        match self {
            Self::Signed24 if channels == 2 => stereo_24(bytes, out),
            Self::Unsigned8 => each(bytes, layout, out, |[a]: [u8; 1]| (f64::from(a) - 128.0) / 128.0),
            Self::Signed16 => each(bytes, layout, out, |b| f64::from(i16::from_le_bytes(b)) / 32_768.0),
            Self::Signed24 => {
                each(bytes, layout, out, |[a, b, c]| f64::from(i32::from_le_bytes([0, a, b, c])) / 2_147_483_648.0)
            }
            Self::Signed32 => each(bytes, layout, out, |b| f64::from(i32::from_le_bytes(b)) / 2_147_483_648.0),
            Self::Float32 => each(bytes, layout, out, |b| f64::from(f32::from_le_bytes(b))),
            Self::Float64 => each(bytes, layout, out, f64::from_le_bytes),
        }
    }
}

/// Walks frames of `N`-byte samples.
fn each<const N: usize>(
    bytes: &[u8],
    [channels, first]: [usize; 2],
    out: &mut [Frame],
    sample: impl Fn([u8; N]) -> f64,
) {
    let (samples, _) = bytes.as_chunks::<N>();
    if channels == 1 {
        for (frame, mono) in out.iter_mut().zip(samples) {
            *frame = [sample(*mono); 2];
        }
    } else {
        for (frame, all) in out.iter_mut().zip(samples.chunks_exact(channels)) {
            *frame = [sample(all[first]), sample(all[first + 1])];
        }
    }
}

/// Stereo of three bytes a sample, two frames at a time: most stems are of this kind.
fn stereo_24(bytes: &[u8], out: &mut [Frame]) {
    let (pairs, last) = out.as_chunks_mut::<2>();
    for (pair, [a, b, c, d, e, f, g, h, rest @ ..]) in pairs.iter_mut().zip(bytes.as_chunks::<12>().0) {
        let low = u64::from_le_bytes([*a, *b, *c, *d, *e, *f, *g, *h]);
        let high = u32::from_le_bytes(*rest);
        // Each sample in the upper three bytes of its word.
        let words = [(low << 8) as u32, (low >> 16) as u32, (low >> 40) as u32 | high << 24, high];
        let [l, r, m, s] = words.map(|word| f64::from((word & !0xff).cast_signed()) / 2_147_483_648.0);
        *pair = [[l, r], [m, s]];
    }
    let read = pairs.len() * 12;
    each(&bytes[read..], [2, 0], last, |[a, b, c]| f64::from(i32::from_le_bytes([0, a, b, c])) / 2_147_483_648.0);
}

/// How samples are written into a wave file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum WavSample {
    /// 16-bit integers.
    Int16,
    /// 24-bit integers.
    Int24,
    /// 32-bit floats.
    Float32,
    /// 64-bit floats.
    Float64,
}

impl WavSample {
    /// Bits of a sample.
    #[must_use]
    pub const fn bits(self) -> u16 {
        match self {
            Self::Int16 => 16,
            Self::Int24 => 24,
            Self::Float32 => 32,
            Self::Float64 => 64,
        }
    }

    pub(crate) const fn is_float(self) -> bool {
        matches!(self, Self::Float32 | Self::Float64)
    }

    /// Appends frames to `bytes`. Returns how many samples had to be clamped.
    pub(crate) fn encode(self, frames: &[Frame], bytes: &mut Vec<u8>) -> u64 {
        let samples = frames.as_flattened();
        let start = bytes.len();
        bytes.resize(start + samples.len() * usize::from(self.bits() / 8), 0);
        let bytes = &mut bytes[start..];
        match self {
            Self::Int16 => integers::<2>(samples, bytes),
            Self::Int24 => integers::<3>(samples, bytes),
            Self::Float32 => {
                bytes.as_chunks_mut().0.iter_mut().zip(samples).for_each(|(out, x)| *out = (*x as f32).to_le_bytes());
                0
            }
            Self::Float64 => {
                bytes.as_chunks_mut().0.iter_mut().zip(samples).for_each(|(out, x)| *out = x.to_le_bytes());
                0
            }
        }
    }
}

/// Samples that are rounded at a time.
const RUN: usize = 64;

/// Writes integers of `N` bytes. Returns how many samples had to be clamped.
fn integers<const N: usize>(samples: &[f64], bytes: &mut [u8]) -> u64 {
    let mut clamped = 0;
    for (run, bytes) in samples.chunks(RUN).zip(bytes.chunks_mut(RUN * N)) {
        let mut levels = [0; RUN];
        clamped += round_all(run, 8 * N as u32, &mut levels);
        for (out, level) in bytes.as_chunks_mut::<N>().0.iter_mut().zip(levels) {
            out.copy_from_slice(&level.to_le_bytes()[..N]);
        }
    }
    clamped
}

/// [`quantize`] of finite samples as vector code: the same integers on every machine.
#[multiversion(targets("x86_64+avx2"))]
fn round_all(samples: &[f64], bits: u32, levels: &mut [i32; RUN]) -> u64 {
    // Added to a whole number of up to 51 bits, it leaves it in the low bits.
    const WHOLE: f64 = 6_755_399_441_055_744.0;
    let scale = f64::from(1u32 << (bits - 1));
    let mut clamped = 0;
    for (x, out) in samples.iter().zip(levels) {
        let level = (x * scale).round();
        let held = level.clamp(-scale, scale - 1.0);
        clamped += u64::from(held != level);
        *out = ((held + WHOLE).to_bits() as u32).cast_signed();
    }
    clamped
}

/// The nearest integer of `bits` bits, full scale at 1. Counts the samples that did not fit.
pub(crate) fn quantize(x: f64, bits: u32, clamped: &mut u64) -> i32 {
    let scale = f64::from(1u32 << (bits - 1));
    let level = (x * scale).round();
    let held = level.clamp(-scale, scale - 1.0);
    *clamped += u64::from(held != level);
    held as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_encoding_reads_its_full_scale_and_its_least_step() {
        // Two's complement, full scale at 1: IEC 61937 and wave files alike. 8-bit wave samples are offset by 128.
        let read = |encoding: Encoding, bytes: &[u8]| {
            let mut out = [[0.0; 2]];
            encoding.decode(bytes, 1, 0, &mut out);
            out[0][0]
        };
        assert_eq!(read(Encoding::Unsigned8, &[0]), -1.0);
        assert_eq!(read(Encoding::Unsigned8, &[129]), 1.0 / 128.0);
        assert_eq!(read(Encoding::Signed16, &[0x00, 0x80]), -1.0);
        assert_eq!(read(Encoding::Signed16, &[0xff, 0xff]), -1.0 / 32_768.0);
        assert_eq!(read(Encoding::Signed24, &[0x00, 0x00, 0x80]), -1.0);
        assert_eq!(read(Encoding::Signed24, &[0x01, 0x00, 0x00]), 1.0 / 8_388_608.0);
        assert_eq!(read(Encoding::Signed32, &[0, 0, 0, 0x40]), 0.5);
        // IEEE 754: 0x3f000000 is 0.5; 0xbff0000000000000 is -1.
        assert_eq!(read(Encoding::Float32, &[0, 0, 0, 0x3f]), 0.5);
        assert_eq!(read(Encoding::Float64, &[0, 0, 0, 0, 0, 0, 0xf0, 0xbf]), -1.0);
    }

    #[test]
    fn stereo_keeps_its_sides() {
        let mut out = [[0.0; 2]; 2];
        Encoding::Signed16.decode(&[0, 0x40, 0, 0xc0, 0, 0x20, 0, 0xe0], 2, 0, &mut out);
        assert_eq!(out, [[0.5, -0.5], [0.25, -0.25]]);
    }

    #[test]
    fn what_is_written_reads_back_and_overs_are_counted() {
        let mut bytes = Vec::new();
        assert_eq!(WavSample::Int16.encode(&[[1.0, -1.0], [0.5, 1.5]], &mut bytes), 2);
        assert_eq!(bytes, [0xff, 0x7f, 0x00, 0x80, 0x00, 0x40, 0xff, 0x7f]);
        let frames = [[-0.123_456_789, 8_388_607.0 / 8_388_608.0]];
        for (sample, encoding, step) in [
            (WavSample::Int24, Encoding::Signed24, 0.5 / 8_388_608.0),
            (WavSample::Float32, Encoding::Float32, 1e-8),
            (WavSample::Float64, Encoding::Float64, 0.0),
        ] {
            let (mut bytes, mut back) = (Vec::new(), [[0.0; 2]]);
            assert_eq!(sample.encode(&frames, &mut bytes), 0);
            encoding.decode(&bytes, 2, 0, &mut back);
            assert!((back[0][0] - frames[0][0]).abs() <= step, "{sample:?}");
            assert_eq!(back[0][1], frames[0][1], "{sample:?}");
        }
    }
}
