//! What spaces do: a hit goes in, its echoes, their decay and their width are drawn.

use measure::decay::octave_decays;
use measure::spectrum::SpectrumMeter;

use super::Figure;
use crate::bench::{RATE_HZ, Words, both, build, impulse, left, levels_db, noise, run};
use crate::plot::{Axis, Curve, draw};

const ROOMS: [(&str, Words<'static>); 4] = [
    ("default", &[]),
    ("tight", &[("decay_s", "0.3"), ("size_m", "4"), ("distance_m", "1")]),
    ("dark", &[("decay_s", "1.2"), ("size_m", "14"), ("high_decay_ratio", "0.4")]),
    ("hall", &[("decay_s", "2.2"), ("size_m", "28"), ("distance_m", "8"), ("low_decay_ratio", "1.3")]),
];

/// Level of the left channel after a hit in stretches of `ms`.
fn envelope_db(name: &str, words: Words<'_>, secs: f64, ms: f64) -> Vec<(f64, f64)> {
    levels_db(&left(&run(build(name, words), &impulse([1.0, 1.0], (secs * RATE_HZ) as usize))), ms)
}

/// Decay by octave, and the envelope of the echoes.
pub fn room() -> Vec<Figure> {
    let decay = |(name, words): (&'static str, Words<'static>)| {
        let response = left(&run(build("room", words), &impulse([1.0, 1.0], 4 * RATE_HZ as usize)));
        let bands = octave_decays(&response, RATE_HZ);
        let points = bands.iter().filter_map(|band| Some((band.centre_hz, band.decay.t30_s?)));
        Curve::dots(name, points.collect())
    };
    let echoes = |(name, words): (&'static str, Words<'static>)| {
        // The level of the first sound is 0 dB for each, so that the shapes can be compared.
        let points = envelope_db("room", words, 0.4, 2.0);
        let most = points.iter().map(|(_, db)| *db).fold(f64::NEG_INFINITY, f64::max);
        Curve::line(name, points.into_iter().map(|(at, db)| (at, db - most)).collect())
    };
    let octaves = Axis {
        title: "Octave in Hz",
        range: [50.0, 10_000.0],
        ratios: true,
        ticks: measure::decay::OCTAVES_HZ.to_vec(),
    };
    vec![
        Figure::new(
            "room-decay",
            "Decay time by octave (T30 after ISO 3382-1) of four rooms: the default; 0.3 s in 4 m; 1.2 s in 14 m with highs \
             that take 0.4 times as long; 2.2 s in 28 m with lows that take 1.3 times as long.",
            draw(
                "Decay of four rooms by octave",
                [&octaves, &Axis::even("Decay time in s", [0.0, 3.0], 0.5)],
                &ROOMS.map(decay),
            ),
        ),
        Figure::new(
            "room-echoes",
            "The first 0.4 s of the same rooms after a hit, level in stretches of 2 ms, the loudest of each at 0 dB.",
            draw(
                "Echoes of four rooms",
                [&Axis::even("Time in ms", [0.0, 400.0], 50.0), &Axis::even("Level in dB", [-60.0, 0.0], 10.0)],
                &ROOMS.map(echoes),
            ),
        ),
    ]
}

/// Repeats of each character.
pub fn delay() -> Vec<Figure> {
    let curve = |character: &'static str| {
        let words: Words<'_> = &[("character", character), ("feedback_percent", "60"), ("time_ms", "120")];
        Curve::line(character, envelope_db("delay", words, 0.8, 4.0))
    };
    vec![Figure::new(
        "delay-repeats",
        "Repeats of a hit every 120 ms with 60 % coming round again, level in stretches of 4 ms: clean repeats stay \
         short, the tube blurs each one more, the slap is soft from the first.",
        draw(
            "Repeats of the delay's characters",
            [&Axis::even("Time in ms", [0.0, 800.0], 100.0), &Axis::even("Level in dB", [-90.0, -10.0], 10.0)],
            &["clean", "tube", "slap"].map(curve),
        ),
    )]
}

/// Correlation by frequency.
pub fn spread() -> Vec<Figure> {
    let curve = |(name, words): (&'static str, Words<'static>)| {
        let out = run(build("spread", words), &both(noise(1 << 19).into_iter()));
        let mut meter = SpectrumMeter::new(RATE_HZ);
        meter.push(&out);
        let bands = meter.finish().third_octave_images();
        let points = bands.into_iter().filter_map(|(hz, image)| Some((hz, image?.correlation?)));
        Curve::line(name, points.collect())
    };
    let settings: [(&str, Words<'_>); 4] = [
        ("−9 dB", &[]),
        ("−6 dB", &[("amount_db", "-6")]),
        ("0 dB", &[("amount_db", "0")]),
        ("−6 dB from 500 Hz", &[("amount_db", "-6"), ("from_hz", "500")]),
    ];
    vec![Figure::new(
        "spread-correlation",
        "Correlation of left and right in third-octave bands, for noise that came in centred: 1 stands in the middle, 0 \
         is as wide as two strangers.",
        draw(
            "Correlation behind the spread by frequency",
            [&Axis::hertz(), &Axis::even("Correlation", [-0.2, 1.0], 0.2)],
            &settings.map(curve),
        ),
    )]
}
