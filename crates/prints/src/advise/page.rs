//! Advice as one page that needs nothing else, in the manner of the report.

mod loudness;
mod outgoing;
mod tables;

use maud::{Markup, html};
use units::Severity;

use super::Advice;
use super::paths::{BlendPoint, PathKind, PathRecord};
use super::plot::{self, Plot, steps};
use super::pre_delay::{DelayPoint, PreDelayRecord};
use crate::report::figures::{length, minus};
use crate::report::paper;

/// Size of a figure beside another.
const HALF: [f64; 2] = [480.0, 220.0];

const OWN_STYLE: &str = include_str!("style.css");

/// The page.
pub(super) fn html(advice: &Advice) -> String {
    let said = html! {
        (heading(advice))
        (paper::findings(&advice.findings, &advice.accepted))
        (returns(advice))
        (processors(advice))
        (outgoing::twins(advice))
        (loudness::costs(advice))
        (outgoing::translation(advice))
        (pre_delays(advice))
        (tables::alignment(advice))
        (tables::ledger(advice))
        (tables::sides(advice))
        (outgoing::a_cappellas(advice))
        footer {
            "Loudness after ITU-R BS.1770. In and out are compared at matched loudness. Blends and delays "
            "other than those in use follow from the energies of one render."
        }
    };
    paper::page(&format!("{}, advice", advice.title), OWN_STYLE, &said)
}

fn heading(advice: &Advice) -> Markup {
    let count = |severity| advice.findings.iter().filter(|finding| finding.severity == severity).count();
    let verdict = match (count(Severity::Fail), count(Severity::Warn)) {
        (0, 0) => "Nothing stands in the way of a print.".to_owned(),
        (0, 1) => "One thing to look at before the print.".to_owned(),
        (0, n) => format!("{n} things to look at before the print."),
        (1, _) => "One finding must be mended or accepted.".to_owned(),
        (n, _) => format!("{n} findings must be mended or accepted."),
    };
    html! {
        header {
            h1 { (advice.title) }
            p class="by" { @if !advice.artist.is_empty() { (advice.artist) ". " } "Advice, " (length(advice.secs)) " of song." }
            p class="verdict" { b { (verdict) } }
        }
    }
}

fn returns(advice: &Advice) -> Markup {
    let returns: Vec<&PathRecord> = advice.paths.iter().filter(|path| path.kind == PathKind::Return).collect();
    html! {
        @if !returns.is_empty() {
            section {
                h2 { "What each return adds" }
                div class="half" {
                    @for path in returns {
                        figure {
                            h3 { (path.name) " into " (path.into) }
                            p class="said" { (path.sentence) " " small { (standing(path)) } }
                            (blend(path))
                        }
                    }
                }
            }
        }
    }
}

/// How a path stands against what it joins.
fn standing(path: &PathRecord) -> String {
    let under = path.under_lu.map(|lu| format!("{} LU against the rest", minus(lu, 1)));
    let correlation = path.correlation.map(|value| format!("correlation {}", minus(value, 2)));
    let parts: Vec<String> = [under, correlation].into_iter().flatten().collect();
    if parts.is_empty() { "Silent.".to_owned() } else { format!("It lies {}.", parts.join(", ")) }
}

fn blend(path: &PathRecord) -> Markup {
    let line = |of: &dyn Fn(&BlendPoint) -> Option<f64>| -> Vec<(f64, f64)> {
        path.blend.iter().filter_map(|point| Some((point.level_db, of(point)?))).collect()
    };
    let lines = [
        line(&|point| point.loudness_lu),
        line(&|point| point.low_mid_high_db[0]),
        line(&|point| point.low_mid_high_db[2]),
    ];
    let values = lines.iter().flatten().map(|(_, y)| *y);
    let (low, high) = values.fold((-1.0f64, 3.0f64), |(low, high), y| (low.min(y), high.max(y)));
    let up = [low.floor().max(-12.0), high.ceil().min(18.0)];
    let plot = Plot { size: HALF, across: [-18.0, 12.0], up };
    let step = if up[1] - up[0] > 10.0 { 4 } else { 2 };
    let from = (up[0] as i32).div_euclid(step) * step;
    let scale: Vec<(f64, String)> = steps(from, up[1] as i32, step).into_iter().filter(|(y, _)| *y >= up[0]).collect();
    let drawn = html! { @for (index, line) in lines.iter().enumerate() { (plot.line(index, line)) } };
    let marks = [(0.0, "in use".to_owned(), 0)];
    html! {
        (plot.frame(&format!("Blend of {}", path.name), [&steps(-18, 12, 6), &scale], &marks, &drawn))
        (plot::key("Over its level in dB:", &["adds, LU", "below 250 Hz", "above 4 kHz"]))
    }
}

fn processors(advice: &Advice) -> Markup {
    let processors = advice.paths.iter().filter(|path| path.kind == PathKind::Processor);
    html! {
        section {
            h2 { "What each processor does" }
            details {
                summary { "From stem to print" }
                dl {
                    @for path in processors {
                        dt { (path.name) }
                        dd { (path.sentence) }
                    }
                }
            }
        }
    }
}

fn pre_delays(advice: &Advice) -> Markup {
    html! {
        @if !advice.pre_delays.is_empty() {
            section {
                h2 { "Where delays meet the low end" }
                @for record in &advice.pre_delays { (pre_delay(record)) }
            }
        }
    }
}

fn pre_delay(record: &PreDelayRecord) -> Markup {
    html! {
        h3 { (record.name) ", " (record.processor) }
        p class="said" { (pre_delay_sentence(record)) }
        div class="half" {
            figure { (delay_curve(record)) }
            figure { (comb(record)) }
        }
    }
}

fn pre_delay_sentence(record: &PreDelayRecord) -> Markup {
    let swing = |point: &DelayPoint| format!("{} to {} dB", minus(point.least_db, 1), minus(point.most_db, 1));
    html! {
        (record.parameter) " is " b { (minus(record.in_use_ms, 1)) " ms" } "; below 300 Hz it lies "
        (minus(record.under_db, 1)) " dB against the rest of " (record.into) ", and no third octave moves by more than "
        (swing(&record.now)) "."
        @match record.suggested_ms {
            Some(ms) => { " Flatter, and still one sound with its source: " b { (minus(ms, 0)) " ms" } "." }
            None if record.flat_ms.iter().any(|[from, to]| (*from..=*to).contains(&record.in_use_ms.round())) => {
                " That is flat."
            }
            None => { " No delay from 10 to 40 ms is much flatter." }
        }
    }
}

fn delay_curve(record: &PreDelayRecord) -> Markup {
    let most = record.curve.iter().fold(1.0f64, |most, point| most.max(point.most_db).max(-point.least_db)).ceil();
    let most = most.min(12.0);
    let plot = Plot { size: HALF, across: [0.0, 120.0], up: [-most, most] };
    let line = |of: fn(&DelayPoint) -> f64| record.curve.iter().map(|p| (p.ms, of(p))).collect::<Vec<_>>();
    let drawn = html! {
        @for stretch in &record.flat_ms { (plot.stretch(*stretch)) }
        (plot.line(0, &line(|point| point.least_db)))
        (plot.line(1, &line(|point| point.most_db)))
    };
    let mut marks = vec![(record.in_use_ms, format!("in use {}", minus(record.in_use_ms, 1)), 0)];
    marks.extend(record.suggested_ms.map(|ms| (ms, format!("better {}", minus(ms, 0)), 1)));
    let step = if most > 4.0 { 4 } else { 1 };
    let scale = steps(-(most as i32) / step * step, most as i32, step);
    html! {
        (plot.frame(&format!("Low end of {} over its delay", record.name), [&steps(0, 120, 20), &scale], &marks, &drawn))
        (plot::key("dB over delay in ms, flat where the foot is marked:", &["most lost", "most gained"]))
    }
}

fn comb(record: &PreDelayRecord) -> Markup {
    let most = record.comb_db.iter().fold(1.0f64, |most, (_, db)| most.max(db.abs())).ceil().min(12.0);
    let count = record.comb_db.len().max(1) as f64;
    let plot = Plot { size: HALF, across: [-0.5, count - 0.5], up: [-most, most] };
    let hertz: Vec<(f64, String)> =
        record.comb_db.iter().enumerate().map(|(index, (hz, _))| (index as f64, format!("{hz}"))).collect();
    let drawn = html! {
        @for (index, (_, db)) in record.comb_db.iter().enumerate() { (plot.bar(0, index as f64, 20.0, *db)) }
    };
    let step = if most > 4.0 { 4 } else { 1 };
    let scale = steps(-(most as i32) / step * step, most as i32, step);
    let notches: Vec<String> = record.notches_hz.iter().take(4).map(|hz| minus(*hz, 0)).collect();
    html! {
        (plot.frame(&format!("Comb of {} in use", record.name), [&hertz, &scale], &[], &drawn))
        figcaption {
            "dB by third octave at the value in use, over the sum of energies."
            @if !notches.is_empty() { " A single repeat so late cancels at " (notches.join(", ")) " Hz." }
        }
    }
}
