//! What dynamics do to level: sines go in, what they lose is drawn.

use super::Figure;
use crate::bench::{RATE_HZ, Words, both, build, left, levels_db, run, sine};
use crate::plot::{Axis, Curve, draw};

const KINDS: [&str; 5] = ["clean", "bus", "fast", "optical", "valve"];

/// Over half a wave of the tone, so that what follows peaks does not sag between them.
const HOLD: (&str, &str) = ("hold_ms", "1");

/// Frames of a time.
fn frames(ms: f64) -> usize {
    units::frames_from_ms(ms, RATE_HZ)
}

/// Gain over time in dB: the level of the output over that of the input, in stretches of `ms`.
fn gain_db(name: &str, words: Words<'_>, signal: &[f64], ms: f64) -> Vec<(f64, f64)> {
    let out = left(&run(build(name, words), &both(signal.iter().copied())));
    let [before, after] = [signal, &out].map(|signal| levels_db(signal, ms));
    before.into_iter().zip(after).map(|((at, before), (_, after))| (at, after - before)).collect()
}

/// A tone of 1 kHz that is louder for a while: levels in dBFS, and the times in ms at which it is louder.
fn burst(quiet_dbfs: f64, loud_dbfs: f64, loud_ms: [f64; 2], all_ms: f64) -> Vec<f64> {
    let loud = frames(loud_ms[0])..frames(loud_ms[1]);
    let [quiet, louder] = [quiet_dbfs, loud_dbfs].map(units::gain_from_db);
    sine(1000.0, 0.0, frames(all_ms))
        .enumerate()
        .map(|(n, x)| if loud.contains(&n) { louder * x } else { quiet * x })
        .collect()
}

/// Static curves and steps of each kind.
pub fn compressor() -> Vec<Figure> {
    let settled = |kind: &str, dbfs: f64| {
        let signal: Vec<f64> = sine(1000.0, dbfs, frames(900.0)).collect();
        let gain = gain_db("compressor", &[("kind", kind), ("attack_ms", "5"), HOLD], &signal, 5.0);
        gain.last().map_or(0.0, |(_, db)| dbfs + db)
    };
    let levels = || (0..=30).map(|n| -60.0 + 2.0 * f64::from(n));
    let curve = |kind: &'static str| Curve::line(kind, levels().map(|dbfs| (dbfs, settled(kind, dbfs))).collect());
    let step = |kind: &'static str| {
        let signal = burst(-40.0, -5.0, [100.0, 500.0], 1200.0);
        let words: Words<'_> = &[("kind", kind), ("attack_ms", "20"), ("release_ms", "150"), HOLD];
        Curve::line(kind, gain_db("compressor", words, &signal, 5.0))
    };
    let level = |title| Axis::even(title, [-60.0, 0.0], 10.0);
    let time = Axis::even("Time in ms", [0.0, 1200.0], 100.0);
    vec![
        Figure::new(
            "compressor-curve",
            "Output over input for a steady tone of 1 kHz, read after 0.9 s: threshold −20 dB, ratio 4, knee 6 dB, hold \
             1 ms for all. Kinds that hear their output settle on the same curve; the valve bends over a wider range.",
            draw(
                "Static curves of the compressor's kinds",
                [&level("Input in dBFS"), &level("Output in dBFS")],
                &KINDS.map(curve),
            ),
        ),
        Figure::new(
            "compressor-step",
            "Gain for a tone of 1 kHz that jumps from −40 to −5 dBFS at 100 ms and back at 500 ms: attack 20 ms, \
             release 150 ms, hold 1 ms for all.",
            draw(
                "How the compressor's kinds grip and let go",
                [&time, &Axis::even("Gain in dB", [-14.0, 2.0], 2.0)],
                &KINDS.map(step),
            ),
        ),
    ]
}

/// The gain around a burst.
pub fn limiter() -> Vec<Figure> {
    let curve = |(name, words): (&'static str, Words<'static>)| {
        // A tone is read every half period.
        Curve::line(name, gain_db("limiter", words, &burst(-12.0, 6.0, [20.0, 40.0], 150.0), 0.5))
    };
    let settings: [(&str, Words<'_>); 4] = [
        ("look-ahead 3 ms", &[]),
        ("look-ahead 10 ms", &[("look_ahead_ms", "10")]),
        ("release 20 ms", &[("release_ms", "20")]),
        ("clipper takes 50 %", &[("clip_percent", "50")]),
    ];
    let axes = [&Axis::even("Time in ms", [0.0, 150.0], 10.0), &Axis::even("Gain in dB", [-8.0, 1.0], 1.0)];
    vec![Figure::new(
        "limiter-burst",
        "Gain around a burst of 1 kHz, 20 ms long, at +6 dBFS in a tone at −12 dBFS, with the ceiling at −1 dBTP: it \
         makes room ahead of the burst. Latency is taken away.",
        draw("The limiter's gain around a burst", axes, &settings.map(curve)),
    )]
}

/// A hit that dies away, shaped in four ways.
pub fn transient() -> Vec<Figure> {
    let hit: Vec<f64> = sine(1000.0, -12.0, frames(500.0))
        .enumerate()
        .map(|(n, x)| {
            let ms = 1000.0 * n as f64 / RATE_HZ - 50.0;
            if ms < 0.0 { 0.01 * x } else { x * (0.01 + libm::exp(-ms / 80.0)) }
        })
        .collect();
    let curve =
        |(name, words): (&'static str, Words<'static>)| Curve::line(name, gain_db("transient", words, &hit, 1.0));
    let settings: [(&str, Words<'_>); 4] = [
        ("onsets +6 dB", &[("onset_db", "6")]),
        ("onsets −6 dB, 50 ms", &[("onset_db", "-6"), ("onset_ms", "50")]),
        ("ringing +6 dB", &[("sustain_db", "6")]),
        ("ringing −6 dB", &[("sustain_db", "-6")]),
    ];
    let axes = [&Axis::even("Time in ms", [0.0, 500.0], 50.0), &Axis::even("Gain in dB", [-7.0, 7.0], 1.0)];
    vec![Figure::new(
        "transient-hit",
        "Gain around a hit of 1 kHz at 50 ms that dies away with a time constant of 80 ms into a tone 40 dB below it. At any \
         level the curves are the same.",
        draw("The transient shaper's gain around a hit", axes, &settings.map(curve)),
    )]
}
