//! One figure of a processor as it is set: what its card shows.

use dsp::{Context, Processor};
use measure::harmonics;
use units::{Frame, Settings};

use crate::bench::{RATE_HZ, answer, both, ears, impulse, left, levels_db, magnitude_db, run, sine};
use crate::plot::{Axis, Curve, draw};

/// Points of a response.
const POINTS: usize = 161;
/// Levels of a static curve: every 4 dB, held until slow dynamics have settled.
const STEP_DB: f64 = 4.0;
const SETTLED_MS: f64 = 700.0;
/// The tone whose harmonics are drawn, and how long it takes to settle and is measured.
const TONE_DBFS: f64 = -12.0;
const TONE_FRAMES: [usize; 2] = [36_000, 24_000];

/// Processors that have one.
const DRAWN: &[&str] = &["eq", "compressor", "limiter", "drive", "tape", "console", "room", "delay"];

/// Whether a processor has a figure.
#[must_use]
pub fn has_figure(processor: &str) -> bool {
    DRAWN.contains(&processor)
}

/// The figure that fits a processor with these settings, as SVG; none where a picture would say no more than the
/// sentence, or where the settings need a file that is not here.
#[must_use]
pub fn figure_of(settings: &Settings, tempo_bpm: f64) -> Option<String> {
    let spec = settings.spec();
    let context = Context { tempo_bpm, ..Context::plain(RATE_HZ, 1) };
    let build = || dsp::entry(spec.name)?.build(settings, &context).ok();
    match spec.name {
        "eq" => response(&build),
        "compressor" | "limiter" => static_curve(&build),
        "drive" | "tape" | "console" => tone(&build),
        "room" | "delay" => decay(&build),
        _ => None,
    }
}

type Build<'a> = &'a dyn Fn() -> Option<Box<dyn Processor>>;

/// What becomes of the middle and of the sides over frequency.
fn response(build: Build<'_>) -> Option<String> {
    let of = |hit: Frame| Some(magnitude_db(&left(&answer(build()?, hit)), ears(POINTS)));
    let (middle, sides) = (of([1.0, 1.0])?, of([1.0, -1.0])?);
    let most = middle.iter().chain(&sides).fold(6.0_f64, |most, (_, db)| most.max(db.abs()));
    let range = (most.min(24.0) / 6.0).ceil() * 6.0;
    let gain = Axis::even("Gain in dB", [-range, range], if range > 12.0 { 6.0 } else { 3.0 });
    let alike = middle.iter().zip(&sides).all(|(m, s)| (m.1 - s.1).abs() < 0.01);
    let curves = if alike {
        vec![Curve::line("middle and sides", middle)]
    } else {
        vec![Curve::line("middle", middle), Curve::line("sides", sides)]
    };
    Some(draw("What becomes of the middle and of the sides", [&Axis::hertz(), &gain], &curves))
}

/// Output over input for steady tones.
fn static_curve(build: Build<'_>) -> Option<String> {
    let settled = |dbfs: f64| {
        let signal: Vec<f64> = sine(1000.0, dbfs, units::frames_from_ms(SETTLED_MS, RATE_HZ)).collect();
        let out = left(&run(build()?, &both(signal.iter().copied())));
        let level = |signal: &[f64]| levels_db(signal, 10.0).last().map(|(_, db)| *db);
        Some((dbfs, dbfs + level(&out)? - level(&signal)?))
    };
    let levels = (0..=15).map(|n| -60.0 + STEP_DB * f64::from(n));
    let points = levels.map(settled).collect::<Option<Vec<_>>>()?;
    let rest = points.iter().map(|(x, _)| (*x, *x)).collect();
    let axis = |title, high| Axis::even(title, [-60.0, high], 12.0);
    let curves = [Curve::line("a steady tone of 1 kHz", points), Curve::line("untouched", rest)];
    Some(draw("Output over input", [&axis("Input in dBFS", 0.0), &axis("Output in dBFS", 12.0)], &curves))
}

/// Harmonics of a tone.
fn tone(build: Build<'_>) -> Option<String> {
    let [all, measured] = TONE_FRAMES;
    let out = left(&run(build()?, &both(sine(1000.0, TONE_DBFS, all))));
    let found = harmonics(&out[all - measured..], RATE_HZ, 1000.0)?;
    let level = |(index, db): (usize, &Option<f64>)| (index as f64 + 2.0, db.unwrap_or(-120.0).max(-120.0));
    let points = found.levels_db.iter().take(9).enumerate().map(level).collect();
    let y = Axis::even("Level over the fundamental in dB", [-120.0, 0.0], 20.0);
    let curves = [Curve::dots("1 kHz at −12 dBFS", points)];
    Some(draw("Harmonics of a tone", [&Axis::even("Harmonic", [2.0, 10.0], 1.0), &y], &curves))
}

/// The level of what comes back after a hit.
fn decay(build: Build<'_>) -> Option<String> {
    let out = run(build()?, &impulse([1.0, 1.0], (1.5 * RATE_HZ) as usize));
    let points = levels_db(&left(&out), 5.0);
    let most = points.iter().map(|(_, db)| *db).fold(f64::NEG_INFINITY, f64::max);
    let points = points.into_iter().map(|(at, db)| (at, db - most)).collect();
    let x = Axis::even("Time after a hit in ms", [0.0, 1500.0], 250.0);
    let curves = [Curve::line("the loudest at 0 dB", points)];
    Some(draw("How it dies away", [&x, &Axis::even("Level in dB", [-60.0, 0.0], 10.0)], &curves))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_processor_whose_sentence_a_picture_helps_has_one_at_rest() {
        for entry in dsp::CATALOGUE {
            let settings = Settings::defaults(entry.spec);
            let drawn = figure_of(&settings, 120.0);
            assert_eq!(drawn.is_some(), has_figure(entry.spec.name), "{}", entry.spec.name);
            assert!(drawn.is_none_or(|svg| svg.starts_with("<svg") && svg.contains("<title>")));
        }
    }
}
