//! Digital sections against analogue prototypes, and prototypes against published formulas.

use std::f64::consts::TAU;

use units::db_from_gain;

use crate::testing::RATES_HZ;

use super::super::design::{Matcher, Pair};
use super::super::prototype::{MOST_RESONANT_Q, MOST_SECTIONS, PASSIVE_OFFSET};
use super::*;

type Complex = [f64; 2];

fn times(a: Complex, b: Complex) -> Complex {
    [a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0]]
}

fn magnitude([re, im]: Complex) -> f64 {
    (re * re + im * im).sqrt()
}

fn analogue(band: &Band, curve: Curve, hz: f64) -> Complex {
    band.prototypes(curve).iter().map(|p| p.response(hz / band.hz)).fold([1.0, 0.0], times)
}

fn analogue_db(band: &Band, curve: Curve, hz: f64) -> f64 {
    db_from_gain(magnitude(analogue(band, curve, hz)))
}

fn digital(pairs: &[Pair; MOST_SECTIONS], rate_hz: f64, hz: f64) -> Complex {
    pairs.as_flattened().iter().map(|c| c.response(hz, rate_hz)).fold([1.0, 0.0], times)
}

/// The worst errors over a grid of frequencies: of level up to 20 kHz, of phase up to 10 kHz.
#[derive(Clone, Copy, Default)]
struct Worst {
    db: f64,
    degrees: f64,
}

/// 20 Hz to 20 kHz: even by ratio, and denser at the top.
fn frequencies() -> impl Iterator<Item = f64> {
    let by_ratio = (0..=150).map(|step| 20.0 * libm::pow(1000.0, f64::from(step) / 150.0));
    by_ratio.chain((0..=60).map(|step| 8000.0 + 200.0 * f64::from(step)))
}

fn compare(matcher: &Matcher, rate_hz: f64, band: &Band, curve: Curve) -> Worst {
    let pairs = matcher.cascade(&band.prototypes(curve), band.hz);
    let mut worst = Worst::default();
    for hz in frequencies() {
        let target = analogue(band, curve, hz);
        let power = target[0] * target[0] + target[1] * target[1];
        // At the bottom of a notch neither level nor phase says anything.
        if band.shape == Shape::Notch && power < 1e-6 {
            continue;
        }
        let ratio = times(digital(&pairs, rate_hz, hz), [target[0] / power, -target[1] / power]);
        let db = db_from_gain(magnitude(ratio)).abs();
        assert!(db.is_finite(), "{band:?} at {hz} Hz");
        worst.db = worst.db.max(db);
        if hz <= 10_000.0 {
            worst.degrees = worst.degrees.max(libm::atan2(ratio[1], ratio[0]).abs() * 360.0 / TAU);
        }
    }
    worst
}

fn grid(shape: Shape) -> Vec<Band> {
    let gains: &[f64] = if shape.has_gain() { &[-18.0, -9.0, -3.0, -0.5, 0.5, 3.0, 9.0, 18.0] } else { &[0.0] };
    let qs: &[f64] = match shape {
        Shape::Bell | Shape::Notch => &[0.1, 0.25, 0.5, FRAC_1_SQRT_2, 1.0, 2.0, 5.0, 12.0, 40.0],
        Shape::LowShelf | Shape::HighShelf => &[0.1, 0.4, FRAC_1_SQRT_2, 1.0, 2.0, 4.0],
        Shape::LowCut | Shape::HighCut => &[0.1, 0.5, FRAC_1_SQRT_2, 1.0, 2.0, 4.0],
        Shape::Tilt | Shape::AllPass => &[FRAC_1_SQRT_2],
    };
    let cut = matches!(shape, Shape::LowCut | Shape::HighCut);
    let slopes: &[f64] = if cut { &[6.0, 12.0, 18.0, 24.0, 30.0, 36.0, 42.0, 48.0] } else { &[12.0] };
    let low = (0..14).map(|step| 20.0 * libm::pow(400.0, f64::from(step) / 14.0));
    let mut bands = Vec::new();
    for hz in low.chain((0..=15).map(|step| 8000.0 + 800.0 * f64::from(step))) {
        for &gain_db in gains {
            for &q in qs {
                bands.extend(slopes.iter().map(|&slope| Band { shape, hz, gain_db, q, slope_db_per_octave: slope }));
            }
        }
    }
    bands
}

/// The design's figure (no cramping): within 0.1 dB of the prototype up to 20 kHz, every shape, gains to 18 dB.
/// The published closed forms err by 0.2 to 2.6 dB here. Worst measured, at 44.1 kHz: bell 0.03, shelf 0.08 (Q 4 at
/// 20 kHz; 0.03 up to Q 2), low cut 0.02, high cut 0.05, notch 0.03, tilt 0.02 dB; less at higher rates.
#[test]
fn every_shape_is_within_a_tenth_of_a_decibel_of_its_prototype() {
    for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        let matcher = Matcher::new(rate_hz);
        for shape in Shape::ALL {
            for curve in Curve::ALL {
                if curve != Curve::Symmetric && matches!(shape, Shape::LowCut | Shape::HighCut | Shape::Notch) {
                    continue;
                }
                let mut worst = 0.0_f64;
                for band in grid(shape) {
                    let error = compare(&matcher, rate_hz, &band, curve).db;
                    assert!(error < 0.1, "{error} dB: {band:?} {curve:?} at {rate_hz} Hz");
                    worst = worst.max(error);
                }
                println!("{rate_hz} Hz, {shape:?}, {curve:?}: worst {worst:.4} dB");
            }
        }
    }
}

/// Moving bands may go farther than 18 dB.
#[test]
fn the_gains_of_moving_bands_stay_close_too() {
    for rate_hz in RATES_HZ {
        let matcher = Matcher::new(rate_hz);
        let mut worst = 0.0_f64;
        for band in
            grid(Shape::Bell).into_iter().chain(grid(Shape::HighShelf)).filter(|band| band.gain_db.abs() == 18.0)
        {
            for gain_db in [-30.0, 24.0, 30.0] {
                worst = worst.max(compare(&matcher, rate_hz, &Band { gain_db, ..band }, Curve::Symmetric).db);
            }
        }
        println!("beyond 18 dB: worst {worst:.4} dB");
        assert!(worst < 0.1, "{worst}");
    }
}

#[test]
fn phases_stay_close_to_the_analogue_ones() {
    let band = |shape, hz, gain_db| Band { shape, hz, gain_db, q: FRAC_1_SQRT_2, slope_db_per_octave: 12.0 };
    // Worst error in degrees up to 10 kHz at 44.1 kHz. A bilinear design errs by 1.8, 1.7, 1.6, 0.1 and 22 (a
    // high cut at 16 kHz).
    let cases = [
        (bell(3000.0, 6.0, 1.0), 2.5),
        (bell(10_000.0, 6.0, FRAC_1_SQRT_2), 6.0),
        (band(Shape::HighShelf, 8000.0, 6.0), 4.5),
        (band(Shape::LowCut, 80.0, 0.0), 0.2),
        (band(Shape::HighCut, 16_000.0, 0.0), 12.0),
        (band(Shape::HighCut, 2000.0, 0.0), 13.0),
        (band(Shape::AllPass, 5000.0, 0.0), 8.5),
    ];
    let matcher = Matcher::new(44_100.0);
    for (band, degrees) in cases {
        let worst = compare(&matcher, 44_100.0, &band, Curve::Symmetric).degrees;
        assert!(worst < degrees, "{worst} degrees: {band:?}");
    }
}

/// Audio EQ Cookbook prototypes and Butterworth filters, worked out with SciPy 1.17 (`signal.freqs`, `signal.butter`).
#[test]
fn prototypes_have_the_published_responses() {
    let band = |shape, hz, gain_db, q| Band { shape, hz, gain_db, q, slope_db_per_octave: 12.0 };
    let cut = |slope| Band { slope_db_per_octave: slope, ..band(Shape::HighCut, 5000.0, 0.0, FRAC_1_SQRT_2) };
    let cases: [(Band, [(f64, f64); 3]); 9] = [
        (bell(10_000.0, 6.0, FRAC_1_SQRT_2), [(2000.0, 0.5088), (5000.0, 2.8302), (16_000.0, 4.0313)]),
        (bell(12_000.0, 6.0, 1.0), [(5000.0, 1.2610), (12_000.0, 6.0), (20_000.0, 2.8140)]),
        (band(Shape::LowShelf, 200.0, 6.0, 1.0), [(50.0, 6.1768), (200.0, 3.0), (400.0, -0.4425)]),
        (band(Shape::HighShelf, 8000.0, -9.0, FRAC_1_SQRT_2), [(5000.0, -1.3245), (8000.0, -4.5), (20_000.0, -8.7367)]),
        (band(Shape::Notch, 3000.0, 0.0, 4.0), [(2500.0, -1.6580), (2900.0, -11.6405), (10_000.0, -0.0294)]),
        (band(Shape::Tilt, 1000.0, 4.0, 1.0), [(20.0, -3.9963), (1000.0, 0.0), (4000.0, 3.4734)]),
        (cut(6.0), [(1000.0, -0.1703), (5000.0, -3.0103), (20_000.0, -12.3045)]),
        (cut(30.0), [(4000.0, -0.4429), (10_000.0, -30.1072), (20_000.0, -60.2060)]),
        (cut(48.0), [(4000.0, -0.1206), (5000.0, -3.0103), (20_000.0, -96.3296)]),
    ];
    for (band, figures) in cases {
        for (hz, db) in figures {
            let got = analogue_db(&band, Curve::Symmetric, hz);
            assert!((got - db).abs() < 6e-5, "{band:?} at {hz} Hz: {got}");
        }
    }
}

#[test]
fn cuts_of_every_slope_have_the_butterworth_attenuation() {
    // 10 log10(1 + (f / fc)^2n): the definition (Butterworth 1930).
    for order in 1..=8 {
        let slope_db_per_octave = 6.0 * f64::from(order);
        for (shape, hz) in [(Shape::HighCut, 1700.0), (Shape::LowCut, 1000.0 / 1.7)] {
            let band = Band { shape, hz: 1000.0, gain_db: 0.0, q: FRAC_1_SQRT_2, slope_db_per_octave };
            let expected = -10.0 * libm::log10(1.0 + libm::pow(1.7, 2.0 * f64::from(order)));
            assert!((analogue_db(&band, Curve::Symmetric, hz) - expected).abs() < 1e-9, "{band:?}");
        }
    }
}

#[test]
fn shelves_and_cuts_do_not_ring_however_high_the_q() {
    for shape in [Shape::LowShelf, Shape::HighCut] {
        let of = |q| Band { shape, q, ..bell(1000.0, 6.0, 1.0) }.prototypes(Curve::Symmetric);
        assert_eq!(of(40.0), of(MOST_RESONANT_Q));
    }
}

#[test]
fn a_cut_mirrors_the_boost_of_a_symmetric_curve() {
    for rate_hz in RATES_HZ {
        let matcher = Matcher::new(rate_hz);
        for shape in [Shape::Bell, Shape::LowShelf, Shape::HighShelf, Shape::Tilt] {
            for hz in [60.0, 3000.0, 14_000.0] {
                let pairs = [9.0, -9.0].map(|gain_db| {
                    let band = Band { shape, hz, gain_db, q: 1.3, slope_db_per_octave: 12.0 };
                    matcher.cascade(&band.prototypes(Curve::Symmetric), hz)
                });
                for at in frequencies() {
                    let both = times(digital(&pairs[0], rate_hz, at), digital(&pairs[1], rate_hz, at));
                    assert!(db_from_gain(magnitude(both)).abs() < 0.01, "{shape:?} {hz} at {at} Hz");
                }
            }
        }
    }
}

/// Width of a bell between the points at half its gain in dB, as Q.
fn q_of_half_gain(band: &Band, curve: Curve) -> f64 {
    let top = analogue_db(band, curve, band.hz);
    let (mut low, mut high) = (1.0_f64, 1000.0_f64);
    for _ in 0..60 {
        let ratio = (low * high).sqrt();
        if analogue_db(band, curve, band.hz * ratio) / top > 0.5 { low = ratio } else { high = ratio }
    }
    1.0 / (low - 1.0 / low)
}

#[test]
fn curves_keep_their_laws() {
    // Cookbook: the bandwidth at half the gain in dB gives Q.
    assert!((q_of_half_gain(&bell(1000.0, 9.0, 2.0), Curve::Symmetric) - 2.0).abs() < 1e-6);
    // Proportional, as stated in `prototype`: the stated Q at 12 dB, four thirds of it at 18 dB, half of it at 3 dB.
    for (gain_db, q) in [(12.0, 2.0), (-18.0, 8.0 / 3.0), (3.0, 1.0)] {
        assert!((q_of_half_gain(&bell(1000.0, gain_db, 2.0), Curve::Proportional) - q).abs() < 1e-6);
    }
    // Passive: broader as it grows, by the square root of the gain.
    let narrow = q_of_half_gain(&bell(1000.0, 18.0, 2.0), Curve::Passive);
    assert!((narrow - 2.0 / units::gain_from_db(9.0)).abs() < 1e-6, "{narrow}");
}

#[test]
fn a_passive_low_boost_and_cut_lift_the_bottom_and_leave_a_dip() {
    let shelf = |gain_db| Band { gain_db, shape: Shape::LowShelf, ..bell(60.0, 0.0, 1.0) };
    let both = |hz| analogue_db(&shelf(12.0), Curve::Passive, hz) + analogue_db(&shelf(-8.0), Curve::Passive, hz);
    assert!((both(0.01) - 4.0).abs() < 0.01, "the difference of the gains at the bottom");
    let dip = [100.0, 200.0, 300.0, 400.0, 600.0].map(both).into_iter().fold(f64::INFINITY, f64::min);
    assert!(dip < -1.0, "the dip is {dip} dB");
    assert!(both(20_000.0).abs() < 0.01, "the top stays");
    // By hand: (s + G)(s + k) / ((s + 1)(s + k C)) at s = j: G, C = 12 and 8 dB.
    let (g, c, k) = (units::gain_from_db(12.0), units::gain_from_db(8.0), PASSIVE_OFFSET);
    let by_hand = 10.0 * libm::log10((1.0 + g * g) * (1.0 + k * k) / (2.0 * (1.0 + k * k * c * c)));
    assert!((both(60.0) - by_hand).abs() < 1e-9);
    // High shelves mirror it.
    let high = |gain_db| Band { gain_db, shape: Shape::HighShelf, ..bell(6000.0, 0.0, 1.0) };
    let mirrored = analogue_db(&high(12.0), Curve::Passive, 3000.0) + analogue_db(&high(-8.0), Curve::Passive, 3000.0);
    assert!((mirrored - both(120.0)).abs() < 1e-9);
}
