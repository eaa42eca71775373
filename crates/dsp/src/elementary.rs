//! Exponentials and logarithms in plain arithmetic, for inner loops.
//!
//! A library's `tanh` takes about 18 ns, which at eight times the rate is the whole budget of a drive. These are
//! written without branches or calls, so that a loop over them becomes vector code, and with nothing but IEEE 754
//! addition, multiplication and division, so that every machine gives the same bytes. Polynomials are the Chebyshev
//! fits on the reduced range, computed to 40 digits. Each function states its error, and a test holds it.

use std::f64::consts::{FRAC_1_SQRT_2, LN_2, LOG2_E};

/// Adding 1.5 * 2^52 rounds to a whole number and leaves it in the low bits.
const ROUNDING: f64 = 6_755_399_441_055_744.0;

/// `(e^r - 1) / r` for |r| up to half of ln 2, in rising powers; fit error 8e-14.
const EXP: [f64; 9] = [
    1.0,
    0.499_999_999_997_971_243_12,
    0.166_666_666_666_482_292_35,
    0.041_666_666_891_631_157_201,
    0.008_333_333_353_778_419_176_3,
    0.001_388_882_154_298_609_782_8,
    1.984_120_863_463_913_378_6e-4,
    2.487_623_871_994_097_203e-5,
    2.762_516_988_352_066_582_2e-6,
];

/// `atanh(s) / s` in rising powers of `s^2` for |s| up to (sqrt 2 - 1) / (sqrt 2 + 1); fit error 2e-16.
const ATANH: [f64; 7] = [
    1.000_000_000_000_000_172_1,
    0.333_333_333_332_761_116_02,
    0.200_000_000_310_283_015_14,
    0.142_857_079_848_577_681_57,
    0.111_117_191_449_873_694_51,
    0.090_609_050_478_980_383_353,
    0.084_195_980_154_464_564_403,
];

/// `e^x - 1` for -700 <= x <= 700, relative error below 2e-13, also near 0.
#[inline(always)]
#[must_use]
pub fn expm1(x: f64) -> f64 {
    let shifted = x * LOG2_E + ROUNDING;
    let octaves = shifted - ROUNDING;
    let r = x - octaves * LN_2;
    let (r2, c) = (r * r, &EXP);
    let r4 = r2 * r2;
    let low = (c[0] + c[1] * r) + (c[2] + c[3] * r) * r2;
    let high = (c[4] + c[5] * r) + (c[6] + c[7] * r) * r2 + c[8] * r4;
    let fraction = r * (low + high * r4);
    let scale = f64::from_bits((shifted.to_bits() << 52).wrapping_add(1.0_f64.to_bits()));
    scale * fraction + (scale - 1.0)
}

/// Hyperbolic tangent of any finite number, relative error below 4e-13.
#[inline(always)]
#[must_use]
pub fn tanh(x: f64) -> f64 {
    // Beyond 20 the difference from 1 is below half of the last bit.
    let e = expm1(2.0 * x.clamp(-20.0, 20.0));
    e / (e + 2.0)
}

/// `ln(1 + y)` for 0 <= y < 1e300, relative error below 1e-15, also near 0.
#[inline(always)]
#[must_use]
pub fn log1p(y: f64) -> f64 {
    // 1 + y = 2^octaves * m, with m between sqrt(1/2) and sqrt(2).
    let bits = (1.0 + y).to_bits();
    let octaves = (bits - FRAC_1_SQRT_2.to_bits()) >> 52;
    let m_less_1 = if octaves == 0 { y } else { f64::from_bits(bits - (octaves << 52)) - 1.0 };
    let octaves = f64::from_bits(octaves | ROUNDING.to_bits()) - ROUNDING;
    let s = m_less_1 / (m_less_1 + 2.0);
    let (z, c) = (s * s, &ATANH);
    let z2 = z * z;
    let series = (c[0] + c[1] * z) + (c[2] + c[3] * z) * z2 + ((c[4] + c[5] * z) + c[6] * z2) * (z2 * z2);
    octaves * LN_2 + 2.0 * s * series
}

/// Inverse hyperbolic sine of |x| < 1e150 with the sign of x, and `sqrt(1 + x^2)` that comes with it.
#[inline(always)]
#[must_use]
pub fn asinh_and_root(x: f64) -> (f64, f64) {
    let (magnitude, square) = (x.abs(), x * x);
    let root = (1.0 + square).sqrt();
    (log1p(magnitude + square / (1.0 + root)).copysign(x), root)
}

/// The number to within 1e-46. Powers of what is left stay above the denormals, on which some machines crawl.
#[inline(always)]
#[must_use]
pub fn without_denormals(x: f64) -> f64 {
    const QUIET: f64 = 1e-30;
    (x + QUIET) - QUIET
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Magnitudes from 1e-12 to `most`, both signs.
    fn sweep(most: f64) -> impl Iterator<Item = f64> {
        let octaves = libm::log2(most / 1e-12);
        (0..200_000).map(move |i| {
            let x = 1e-12 * libm::exp2(octaves * f64::from(i) / 200_000.0);
            if i % 2 == 0 { x } else { -x }
        })
    }

    /// Largest relative error of `f` against the reference, the C library's algorithms as ported in `libm`.
    fn worst(f: impl Fn(f64) -> f64, reference: impl Fn(f64) -> f64, most: f64) -> f64 {
        sweep(most).map(|x| (f(x) / reference(x) - 1.0).abs()).fold(0.0, f64::max)
    }

    #[test]
    fn functions_keep_the_errors_they_state() {
        assert!(worst(expm1, libm::expm1, 650.0) < 2e-13);
        assert!(worst(tanh, libm::tanh, 1e6) < 4e-13);
        assert!(worst(|x| log1p(x.abs()), |x| libm::log1p(x.abs()), 1e12) < 1e-15);
        assert!(worst(|x| asinh_and_root(x).0, libm::asinh, 1e12) < 2e-15);
    }

    #[test]
    fn ends_and_zero_are_exact() {
        assert_eq!((tanh(0.0), tanh(60.0), tanh(-1e300)), (0.0, 1.0, -1.0));
        assert_eq!((expm1(0.0), log1p(0.0), asinh_and_root(0.0)), (0.0, 0.0, (0.0, 1.0)));
    }
}
