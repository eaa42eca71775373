//! What filters do to the spectrum: an impulse goes in, the transform of what comes out is drawn.

use super::Figure;
use crate::bench::{Words, answer, build, ears, left, magnitude_db, with_rows};
use crate::plot::{Axis, Curve, draw};

/// Points of a response.
const POINTS: usize = 121;

fn response(words: Words<'_>, band: Words<'_>) -> Vec<(f64, f64)> {
    magnitude_db(&left(&answer(with_rows("eq", words, &[band]), [1.0, 1.0])), ears(POINTS))
}

/// Shapes, what the curves do to a bell, and slopes.
pub fn equaliser() -> Vec<Figure> {
    let gain = |range| Axis::even("Gain in dB", range, 3.0);
    let shape =
        |shape: &'static str| Curve::line(shape, response(&[], &[("shape", shape), ("hz", "1000"), ("gain_db", "6")]));
    let shapes = ["bell", "low shelf", "high shelf", "low cut", "high cut", "notch", "tilt"].map(shape);
    let bell = |(curve, gain_db): (&'static str, &'static str)| {
        let points = response(&[("curve", curve)], &[("hz", "1000"), ("gain_db", gain_db), ("q", "1")]);
        Curve::line(format!("{curve}, {gain_db} dB"), points)
    };
    let bells = ["3", "18"].map(|gain_db| ["symmetric", "proportional", "passive"].map(|curve| (curve, gain_db)));
    let bells: Vec<Curve> = bells.into_iter().flatten().map(bell).collect();
    let slope = |slope: &'static str| {
        let points = response(&[], &[("shape", "low cut"), ("hz", "200"), ("slope_db_per_octave", slope)]);
        Curve::line(format!("{slope} dB an octave"), points)
    };
    let of_100_hz =
        |shape: &'static str, gain_db: &'static str| [("shape", shape), ("hz", "100"), ("gain_db", gain_db)];
    let [cut, boost] = [of_100_hz("low shelf", "-6"), of_100_hz("low shelf", "9")];
    let passive = |name: &'static str, rows: &[Words<'_>]| {
        let out = answer(with_rows("eq", &[("curve", "passive")], rows), [1.0, 1.0]);
        Curve::line(name, magnitude_db(&left(&out), ears(POINTS)))
    };
    let passive = [passive("boost alone", &[&boost]), passive("cut alone", &[&cut]), passive("both", &[&boost, &cut])];
    vec![
        Figure::new(
            "eq-shapes",
            "The shapes at 1 kHz, +6 dB where they have a gain, Q at its default. Transform of the impulse response.",
            draw("Responses of the equaliser's shapes", [&Axis::hertz(), &gain([-24.0, 9.0])], &shapes),
        ),
        Figure::new(
            "eq-curves",
            "A bell of Q 1 at +3 and +18 dB under each curve: proportional narrows as it grows, passive broadens.",
            draw("Bells under the three curves", [&Axis::hertz(), &gain([0.0, 18.0])], &bells),
        ),
        Figure::new(
            "eq-slopes",
            "Low cuts at 200 Hz: −3 dB at the corner whatever the slope.",
            draw(
                "Slopes of the low cut",
                [&Axis::hertz(), &Axis::even("Gain in dB", [-48.0, 6.0], 6.0)],
                &["6", "12", "24", "48"].map(slope),
            ),
        ),
        Figure::new(
            "eq-passive",
            "Passive curves: low shelves of +9 and −6 dB at one frequency, 100 Hz, each alone and both together, which leaves a \
             dip above the lift.",
            draw("A low boost and a low cut at one frequency", [&Axis::hertz(), &gain([-9.0, 12.0])], &passive),
        ),
    ]
}

/// The sides over the middle by frequency.
pub fn width() -> Vec<Figure> {
    let curve = |(name, words): (&'static str, Words<'static>)| {
        // A hit in the left channel has a middle and a side of equal size.
        let out = answer(build("width", words), [1.0, 0.0]);
        let part = |sign: f64| out.iter().map(|[l, r]| (l + sign * r) / 2.0).collect::<Vec<f64>>();
        let [mid, side] = [1.0, -1.0].map(|sign| magnitude_db(&part(sign), ears(POINTS)));
        Curve::line(name, side.iter().zip(mid).map(|((hz, side), (_, mid))| (*hz, side - mid)).collect())
    };
    let settings: [(&str, Words<'_>); 4] = [
        ("150 %", &[("width_percent", "150")]),
        ("60 %", &[("width_percent", "60")]),
        ("bass mono 120 Hz", &[("bass_mono_hz", "120")]),
        ("low 80, high 140 %", &[("low_percent", "80"), ("high_percent", "140")]),
    ];
    let y = Axis::even("Sides over middle in dB", [-24.0, 6.0], 6.0);
    vec![Figure::new(
        "width-sides",
        "Level of the sides against the middle, for a hit on the left, where both are alike as it comes in.",
        draw("Width by frequency", [&Axis::hertz(), &y], &settings.map(curve)),
    )]
}
