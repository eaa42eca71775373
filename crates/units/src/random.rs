//! Random numbers that are the same on every machine: a counter, scrambled.
//!
//! Source: G. L. Steele, D. Lea, C. H. Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014 (SplitMix64: the
//! mixing function with D. Stafford's thirteenth set of constants).

/// 2^64 divided by the golden ratio, odd: the counter's step.
pub const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// 64 bits that look unlike those of the counters beside it.
#[inline(always)]
pub const fn scramble(counter: u64) -> u64 {
    let mixed = (counter ^ (counter >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^ (mixed >> 31)
}

/// The next 64 bits of a stream.
#[inline(always)]
pub const fn next(counter: &mut u64) -> u64 {
    *counter = counter.wrapping_add(GOLDEN);
    scramble(*counter)
}

/// Bits as a number from 0 (included) to 1.
#[inline(always)]
pub const fn share(bits: u64) -> f64 {
    (bits >> 11) as f64 / (1_u64 << 53) as f64
}

#[test]
fn it_is_the_published_sequence() {
    // The first outputs for the seed 1234567, as printed with the reference implementation (from memory).
    let mut counter = 1_234_567;
    let expected = [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423];
    assert_eq!([0; 3].map(|_| next(&mut counter)), expected);
}
