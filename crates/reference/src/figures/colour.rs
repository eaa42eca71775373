//! What curves, tapes, desks and dither add: harmonics of a tone, responses, noise.

use measure::harmonics;
use measure::spectrum::SpectrumMeter;

use super::Figure;
use crate::bench::{RATE_HZ, Words, answer, both, build, ears, left, magnitude_db, run, sine};
use crate::plot::{Axis, Curve, draw};

/// A whole number of periods of 1 kHz, long enough for all to settle, and the stretch that is measured.
const FRAMES: usize = 72_000;
const MEASURED: usize = 48_000;
/// What is less is not drawn.
const FLOOR_DB: f64 = -140.0;

/// Levels of the harmonics of a tone of 1 kHz over the fundamental, from the second on.
fn levels_db(name: &str, words: Words<'_>, peak_dbfs: f64) -> Vec<f64> {
    let out = left(&run(build(name, words), &both(sine(1000.0, peak_dbfs, FRAMES))));
    let found = harmonics(&out[FRAMES - MEASURED..], RATE_HZ, 1000.0).expect("a tone");
    found.levels_db.iter().map(|db| db.unwrap_or(FLOOR_DB).max(FLOOR_DB)).collect()
}

/// Harmonics of each shape, little driven and hard.
pub fn drive() -> Vec<Figure> {
    let shapes = ["tanh", "cubic", "tube", "diode", "hard clip", "fuzz"];
    let figure = |drive_db: &'static str, file: &str, caption: &'static str| {
        let curve = |shape: &'static str| {
            let words: Words<'_> = &[("shape", shape), ("drive_db", drive_db), ("even_percent", "50")];
            let levels = levels_db("drive", words, -12.0).into_iter().take(9).enumerate();
            Curve::dots(shape, levels.map(|(index, db)| (index as f64 + 2.0, db)).collect())
        };
        let x = Axis::even("Harmonic", [2.0, 10.0], 1.0);
        let y = Axis::even("Level over the fundamental in dB", [-120.0, 0.0], 20.0);
        Figure::new(file, caption, draw("Harmonics of the drive's shapes", [&x, &y], &shapes.map(curve)))
    };
    vec![
        figure(
            "6",
            "drive-harmonics-6",
            "Harmonics of a tone of 1 kHz at −12 dBFS, driven by 6 dB, half of the even part. What is less than −120 dB \
             stands at the foot.",
        ),
        figure("24", "drive-harmonics-24", "The same driven by 24 dB: the order of the shapes changes."),
    ]
}

/// Response by speed; harmonics by level.
pub fn tape() -> Vec<Figure> {
    let response = |ips: &'static str| {
        let hit = units::gain_from_db(-100.0);
        let out = left(&answer(build("tape", &[("ips", ips)]), [hit, hit]));
        let points = magnitude_db(&out, ears(121)).into_iter().map(|(hz, db)| (hz, db + 100.0));
        Curve::line(format!("{ips} ips"), points.collect())
    };
    let third = |drive_db: &'static str| {
        let level = |n: i32| -48.0 + 4.0 * f64::from(n);
        let points = (0..=12).map(|n| (level(n), levels_db("tape", &[("drive_db", drive_db)], level(n))[1]));
        Curve::dots(format!("drive {} dB", drive_db.replace('-', "−")), points.collect())
    };
    vec![
        Figure::new(
            "tape-response",
            "Response for quiet sound by speed, at the defaults: the bump of the head below, the losses of short waves \
             above. Transform of the answer to a hit at −100 dBFS.",
            draw(
                "The tape's response by speed",
                [&Axis::hertz(), &Axis::even("Gain in dB", [-6.0, 3.0], 1.0)],
                &["7.5", "15", "30"].map(response),
            ),
        ),
        Figure::new(
            "tape-harmonics",
            "Third harmonic of a tone of 1 kHz by its level: at drive 0 dB a full-scale tone has 3 %, which is −30.5 dB.",
            draw(
                "The tape's third harmonic by level",
                [
                    &Axis::even("Level of the tone in dBFS", [-48.0, 0.0], 6.0),
                    &Axis::even("Level over the fundamental in dB", [-120.0, 0.0], 20.0),
                ],
                &["-6", "0", "6", "12"].map(third),
            ),
        ),
    ]
}

/// Harmonics by amount.
pub fn console() -> Vec<Figure> {
    let amounts = ["-80", "-70", "-60", "-50", "-40"];
    let curve = |(name, harmonic): (&'static str, usize)| {
        let level = |amount: &&'static str| levels_db("console", &[("amount_db", amount)], -12.0)[harmonic - 2];
        Curve::dots(name, amounts.iter().map(|amount| (amount.parse().unwrap_or(0.0), level(amount))).collect())
    };
    vec![Figure::new(
        "console-harmonics",
        "Second and third harmonic of a tone of 1 kHz at −12 dBFS by the amount, 40 % of their power even.",
        draw(
            "Harmonics of the console colour by amount",
            [
                &Axis::even("Amount in dB", [-80.0, -40.0], 10.0),
                &Axis::even("Level over the fundamental in dB", [-100.0, -30.0], 10.0),
            ],
            &[("second", 2), ("third", 3)].map(curve),
        ),
    )]
}

/// Noise of both kinds.
pub fn dither() -> Vec<Figure> {
    let curve = |kind: &'static str| {
        let out = run(build("dither", &[("bits", "16"), ("kind", kind)]), &vec![units::SILENCE; 1 << 19]);
        let mut meter = SpectrumMeter::new(RATE_HZ);
        meter.push(&out);
        let points = meter.finish().third_octave_db();
        Curve::line(kind, points.into_iter().filter_map(|(hz, db)| Some((hz, db?))).collect())
    };
    vec![Figure::new(
        "dither-noise",
        "Noise of silence at 16 bits in third-octave bands, which rise by 3 dB an octave for even noise: the shaped kind \
         leaves the region where the ear is keen and puts more where it is dull.",
        draw(
            "Noise of the dither by frequency",
            [&Axis::hertz(), &Axis::even("Level in dBFS", [-150.0, -80.0], 10.0)],
            &["tpdf", "shaped"].map(curve),
        ),
    )]
}
