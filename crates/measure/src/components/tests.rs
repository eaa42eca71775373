//! The closed forms of sum and difference, and a high-pass whose response is known.

use super::*;

const RATE_HZ: f64 = 48_000.0;

/// Responses to impulses left and right of a network with these impulse responses of middle and sides.
fn network(middle: &[f64], sides: &[f64]) -> [Vec<Frame>; 2] {
    let frames = 1 << 15;
    let at = |response: &[f64], n: usize| response.get(n).copied().unwrap_or(0.0);
    let near_far = |n: usize| [at(middle, n) + at(sides, n), at(middle, n) - at(sides, n)].map(|sum| sum / 2.0);
    let left = (0..frames).map(near_far).collect();
    let right = (0..frames).map(near_far).map(|[near, far]| [far, near]).collect();
    [left, right]
}

#[test]
fn a_difference_in_level_alone_parts_nothing() {
    // Sides 3 dB up: the far speaker plays at (g - 1) / (g + 1), 20 log10(0.41254 / 2.41254) = -15.3402 dB, inverted.
    let found = parting(&network(&[1.0], &[libm::pow(10.0, 3.0 / 20.0)]), RATE_HZ).unwrap();
    assert!(found.apart_deg.abs() < 1e-9, "{found:?}");
    assert!((found.far_db + 15.3402).abs() < 0.001, "{found:?}");
    assert!((found.far_deg.abs() - 180.0).abs() < 1e-9, "{found:?}");
}

#[test]
fn equal_levels_at_an_angle_leak_by_the_tangent_of_its_half() {
    // Sides one frame late: at f the angle is 2 pi f / rate, and (M - S) / (M + S) = j tan(angle / 2).
    let found = parting(&network(&[1.0], &[0.0, 1.0]), RATE_HZ).unwrap();
    let angle = TAU * found.hz / RATE_HZ;
    assert!((found.hz - 12_000.0).abs() < 2.0, "{found:?}");
    assert!((found.apart_deg + angle / TAU * 360.0).abs() < 1e-6, "{found:?}");
    assert!((found.far_db - 20.0 * libm::log10(libm::tan(angle / 2.0))).abs() < 1e-6, "{found:?}");
    assert!((found.far_deg - 90.0).abs() < 1e-6, "{found:?}");
}

#[test]
fn a_component_that_is_missing_has_no_phase() {
    assert_eq!(parting(&network(&[1.0], &[]), RATE_HZ), None);
}
