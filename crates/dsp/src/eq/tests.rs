//! Held against the analogue prototypes, worked out here from the published formulas.

use super::*;
use units::db_from_power;

/// Worst error in dB of a band against its prototype from 20 Hz to 20 kHz.
fn worst_error(matcher: &Matcher, rate_hz: f64, band: &Band, curve: Curve) -> (f64, f64) {
    let prototypes = band.prototypes(curve);
    let pairs = matcher.cascade(&prototypes, band.hz);
    let mut worst = (0.0, 0.0);
    for step in 0..=240 {
        let hz = 20.0 * libm::pow(1000.0, f64::from(step) / 240.0);
        let analogue: f64 = prototypes.iter().map(|p| p.power(hz / band.hz)).product();
        if analogue < 1e-6 && band.shape == Shape::Notch {
            continue;
        }
        let digital: f64 = pairs
            .as_flattened()
            .iter()
            .map(|c| {
                let [re, im] = c.response(hz, rate_hz);
                re * re + im * im
            })
            .product();
        let error = (db_from_power(digital / analogue)).abs();
        if error > worst.0 || error.is_nan() {
            worst = (error, hz);
        }
    }
    worst
}

#[test]
fn every_shape_is_within_a_tenth_of_a_decibel_of_its_prototype() {
    let mut all = 0.0_f64;
    for rate_hz in [44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0] {
        let matcher = Matcher::new(rate_hz);
        for shape in Shape::ALL {
            for curve in Curve::ALL {
                let mut worst = (0.0, 0.0);
                let mut of = None;
                for band in grid(shape) {
                    let error = worst_error(&matcher, rate_hz, &band, curve);
                    if error.0 > worst.0 || error.0.is_nan() {
                        (worst, of) = (error, Some(band));
                    }
                }
                println!("{rate_hz} {shape:?} {curve:?}: {:.4} dB at {:.0} Hz {of:?}", worst.0, worst.1);
                all = all.max(worst.0);
            }
        }
    }
    println!("worst {all}");
    assert!(all < 0.1);
}

fn grid(shape: Shape) -> Vec<Band> {
    let gains: &[f64] = if shape.has_gain() { &[-18.0, -12.0, -6.0, -1.0, 1.0, 6.0, 12.0, 18.0] } else { &[0.0] };
    let qs: &[f64] = match shape {
        Shape::Bell | Shape::Notch => &[0.1, 0.2, 0.4, FRAC_1_SQRT_2, 1.0, 2.0, 5.0, 10.0, 40.0],
        Shape::LowShelf | Shape::HighShelf => &[0.1, 0.4, FRAC_1_SQRT_2, 1.0, 2.0],
        Shape::LowCut | Shape::HighCut => &[0.5, FRAC_1_SQRT_2, 1.0, 2.0, 6.0],
        _ => &[FRAC_1_SQRT_2],
    };
    let slopes: &[f64] = match shape {
        Shape::LowCut | Shape::HighCut => &[6.0, 12.0, 18.0, 24.0, 30.0, 36.0, 42.0, 48.0],
        _ => &[12.0],
    };
    let mut bands = Vec::new();
    for step in 0..25 {
        let hz = if step < 15 {
            20.0 * libm::pow(400.0, f64::from(step) / 14.0)
        } else {
            8000.0 + 1200.0 * f64::from(step - 14)
        };
        for &gain_db in gains {
            for &q in qs {
                for &slope_db_per_octave in slopes {
                    bands.push(Band { shape, hz, gain_db, q, slope_db_per_octave });
                }
            }
        }
    }
    bands
}
