//! Tests of the figures that are read from in and out, against closed forms.

use super::*;

const RATE_HZ: f64 = 48_000.0;

fn tone(level: impl Fn(f64) -> f64) -> Vec<Frame> {
    let sample = |n: u32| {
        let t = f64::from(n) / RATE_HZ;
        level(t) * libm::sin(std::f64::consts::TAU * 1000.0 * t)
    };
    (0..96_000).map(|n| [sample(n); 2]).collect()
}

#[test]
fn reduction_is_read_from_in_and_out() {
    let input = tone(|_| 0.5);
    let output = tone(|t| if t < 1.0 { 1.0 } else { 1.0 / 1.995_262 });
    let (reductions, distortion) = follow(&input, &output, 2.0, RATE_HZ);
    assert!((reductions[reductions.len() - 1] - 6.0).abs() < 0.01 && reductions[10] < 0.01);
    assert!(distortion < 0.02, "a gain that moves slowly is no distortion: {distortion}");
}

#[test]
fn distortion_of_a_clipped_tone_is_the_closed_form() {
    // A hard clip of a sine at half its height: all that is not its fundamental, over the whole output (Fourier series
    // of a clipped sine). 48 samples a period catch the corners only so well.
    let input = tone(|_| 1.0);
    let output: Vec<Frame> = input.iter().map(|x| x.map(|x| x.clamp(-0.5, 0.5))).collect();
    let (_, distortion) = follow(&input, &output, 1.0, RATE_HZ);
    // Conduction angle phi = asin(1/2): fundamental (2 phi + sin 2 phi) / pi, mean square from the integral.
    let phi = std::f64::consts::FRAC_PI_6;
    let fundamental = (2.0 * phi + libm::sin(2.0 * phi)) / std::f64::consts::PI;
    let flat = 0.25 * (std::f64::consts::FRAC_PI_2 - phi);
    let slope = phi / 2.0 - libm::sin(2.0 * phi) / 4.0;
    let power = 2.0 / std::f64::consts::PI * (flat + slope);
    let expected = (1.0 - fundamental * fundamental / 2.0 / power).sqrt();
    assert!((distortion - expected).abs() < 5e-3, "{distortion}, expected {expected}");
}

#[test]
fn the_knee_is_where_gain_stops_giving_loudness() {
    let point = |gain_db: f64, lufs: f64| CostPoint {
        gain_db,
        lufs,
        true_peak_dbtp: -1.0,
        plr_db: -1.0 - lufs,
        reduction_most_db: 0.0,
        reduction_loud_db: 0.0,
        clipper_most_db: 0.0,
        distortion_percent: gain_db,
        codec_dbtp: 0.0,
        normalised_dbtp: Vec::new(),
    };
    let points = vec![point(0.0, -12.0), point(1.0, -11.0), point(2.0, -10.2), point(3.0, -9.7)];
    assert_eq!(knee(&points), Some(-10.2));
    assert_eq!(knee(&points[..3]), None);
}
