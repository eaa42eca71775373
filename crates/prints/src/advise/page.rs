//! Advice as one page that needs nothing else, in the manner of the report.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use units::Severity;

use super::Advice;
use super::alignment::{SumRecord, WayRecord};
use super::cost::{CostPoint, CostRecord};
use super::ledger::LedgerRecord;
use super::paths::{BlendPoint, PathKind, PathRecord};
use super::plot::{self, Plot, steps};
use super::pre_delay::{DelayPoint, PreDelayRecord};
use crate::report::figures::{length, minus};
use crate::report::page::{STYLE, finding_line};

/// Size of a figure beside another.
const HALF: [f64; 2] = [480.0, 220.0];

const OWN_STYLE: &str = include_str!("style.css");

/// The page.
pub(super) fn html(advice: &Advice) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'";
                title { (advice.title) ", advice" }
                style { (PreEscaped(STYLE)) (PreEscaped(OWN_STYLE)) }
            }
            body {
                main {
                    (heading(advice))
                    (findings(advice))
                    (returns(advice))
                    (processors(advice))
                    (costs(advice))
                    (pre_delays(advice))
                    (alignment(advice))
                    (ledger(advice))
                    (sides(advice))
                    footer {
                        "Loudness after ITU-R BS.1770. In and out are compared at matched loudness. Blends and delays "
                        "other than those in use follow from the energies of one render."
                    }
                }
            }
        }
    };
    page.into_string()
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
            p class="by" { (advice.artist) ". Advice, " (length(advice.secs)) " of song." }
            p class="verdict" { b { (verdict) } }
        }
    }
}

fn findings(advice: &Advice) -> Markup {
    html! {
        section {
            h2 { "Findings" }
            @if advice.findings.is_empty() && advice.accepted.is_empty() { p { "None." } }
            ol class="findings" {
                @for finding in &advice.findings { li { (finding_line(finding)) } }
                @for accepted in &advice.accepted {
                    li { (finding_line(&accepted.finding)) " Accepted: " (accepted.reason) }
                }
            }
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

fn alignment(advice: &Advice) -> Markup {
    html! {
        @if !advice.alignment.is_empty() {
            section {
                h2 { "Do parallel paths meet in time" }
                p class="said" { "An impulse and noise through the plan, one stem at a time. Samples after song time." }
                table {
                    thead { tr {
                        th { "Into" } th { "By" } th { "Impulse" } th { "Noise" } th { "Polarity" } th { "Remark" }
                    } }
                    tbody { @for sum in &advice.alignment { (ways(sum)) } }
                }
                @for sum in &advice.alignment {
                    @if let Some((hz, db)) = sum.deepest() {
                        p class="said" {
                            (sum.bus) ": the ways in time lose at most " b { (minus(-db, 2)) " dB" } " to phase, at " (hz) " Hz."
                        }
                    }
                }
            }
        }
    }
}

fn ways(sum: &SumRecord) -> Markup {
    let samples = |value: Option<f64>| value.map_or("none".to_owned(), |value| minus(value, 2));
    let remark = |way: &WayRecord| match (way.on_purpose, way.moves) {
        (true, _) => "late on purpose",
        (false, true) => "moves by itself",
        (false, false) => "",
    };
    html! {
        @for (index, way) in sum.ways.iter().enumerate() {
            tr {
                th scope="row" { @if index == 0 { (sum.bus) br; small { "stem " (sum.stem) } } }
                td { (way.from) }
                td { (samples(way.arrives_samples)) }
                td { (samples(way.by_noise_samples)) }
                td { (way.polarity.map_or("none", |p| if p == measure::Polarity::Normal { "normal" } else { "inverted" })) }
                td { (remark(way)) }
            }
        }
    }
}

fn costs(advice: &Advice) -> Markup {
    html! {
        @for record in &advice.costs {
            section {
                h2 { "What loudness costs, " (record.print) }
                p class="said" { (cost_sentence(record)) }
                figure { (cost_curves(record)) }
                (cost_table(record))
                p { small { (proof(record)) } }
                (codecs(record))
            }
        }
    }
}

fn cost_sentence(record: &CostRecord) -> Markup {
    let at = |lufs: f64, of: fn(&CostPoint) -> f64| record.at(lufs, of);
    html! {
        @match record.knee_lufs {
            Some(knee) => { "Up to " b { (minus(knee, 1)) " LUFS" } " loudness comes nearly for free; from there each decibel gives less." }
            None => { "In all of this range loudness comes nearly for free." }
        }
        @if let Some(target) = record.target_lufs {
            " At the " b { (minus(target, 1)) " LUFS" } " that it asks for"
            @if let Some(most) = at(target, |p| p.reduction_most_db) { " the limiter takes " (minus(most, 1)) " dB at most" }
            @if let Some(loud) = at(target, |p| p.reduction_loud_db) { ", " (minus(loud, 1)) " dB or more for a twentieth of the time" }
            @if let Some(plr) = at(target, |p| p.plr_db) { "; PLR " (minus(plr, 1)) " dB" }
            @if let Some(distortion) = at(target, |p| p.distortion_percent) { ", distortion " (minus(distortion, 1)) " %" }
            "."
        }
    }
}

fn cost_curves(record: &CostRecord) -> Markup {
    let line =
        |of: fn(&CostPoint) -> f64| record.points.iter().map(|point| (point.lufs, of(point))).collect::<Vec<_>>();
    let lines = [
        line(|p| p.reduction_loud_db),
        line(|p| p.plr_db),
        line(|p| p.distortion_percent),
        line(|p| p.reduction_most_db),
    ];
    let most = lines.iter().flatten().fold(8.0f64, |most, (_, y)| most.max(*y)).ceil().min(24.0);
    let plot = Plot { size: [960.0, 300.0], across: [-16.5, -5.5], up: [0.0, most] };
    let drawn = html! { @for (index, line) in lines.iter().enumerate() { (plot.line(index, line)) } };
    let mut marks: Vec<plot::Mark> = Vec::new();
    marks.extend(record.knee_lufs.map(|lufs| (lufs, format!("knee {}", minus(lufs, 1)), 0)));
    for (name, lufs) in &record.references {
        marks.push((*lufs, format!("{name} {}", minus(*lufs, 1)), 1));
    }
    let matched = |target: f64| record.references.iter().any(|(_, lufs)| (lufs - target).abs() < 0.05);
    marks.extend(
        record
            .target_lufs
            .filter(|target| !matched(*target))
            .map(|lufs| (lufs, format!("asked for {}", minus(lufs, 1)), 2)),
    );
    marks.retain(|(lufs, _, _)| (-16.5..=-5.5).contains(lufs));
    html! {
        (plot.frame(&format!("Cost of loudness of {}", record.print), [&steps(-16, -6, 2), &steps(0, most as i32, 4)], &marks, &drawn))
        (plot::key("Over loudness in LUFS:", &["reduction 5 % of the time, dB", "PLR, dB", "distortion, %", "reduction at most, dB"]))
    }
}

fn cost_table(record: &CostRecord) -> Markup {
    html! {
        div class="scroll" {
            table {
                thead { tr {
                    th { "Loudness" br; small { "LUFS" } } th { "PLR" br; small { "dB" } } th { "Reduction" br; small { "most, dB" } }
                    th { "Distortion" br; small { "%" } } th { "After " (record.codec) br; small { "dBTP" } }
                    @for target in &record.players_lufs { th { "At " (minus(*target, 0)) br; small { "peak, dBTP" } } }
                } }
                tbody {
                    @for point in &record.points {
                        tr {
                            th scope="row" { (minus(point.lufs, 1)) }
                            td { (minus(point.plr_db, 1)) } td { (minus(point.reduction_most_db, 1)) }
                            td { (minus(point.distortion_percent, 2)) }
                            td { @if point.codec_dbtp > 0.0 { b { "+" (minus(point.codec_dbtp, 2)) } } @else { (minus(point.codec_dbtp, 2)) } }
                            @for peak in &point.normalised_dbtp { td { (minus(*peak, 1)) } }
                        }
                    }
                }
            }
        }
    }
}

fn proof(record: &CostRecord) -> String {
    let [heard, whole] = record.secs;
    let head = "The last columns are the peak that is left when a player turns the print down to that loudness: what lies \
                under \u{2212}1 dBTP there is punch that was given away. Players do not turn up.";
    match record.whole_less_cells_lu {
        Some(lu) => format!(
            "{head} {heard:.0} s stand for {whole:.0} s, rendered at even steps of loudness; at the gain nearest to what \
             is asked for, the whole reads {} LU against them.",
            minus(lu, 2)
        ),
        None => format!("{head} The whole song was rendered."),
    }
}

fn ledger(advice: &Advice) -> Markup {
    let mut columns: Vec<(&str, &str)> = Vec::new();
    for way in advice.ledger.iter().flat_map(|record| &record.ways) {
        if !columns.contains(&(&way.into, &way.by)) {
            columns.push((&way.into, &way.by));
        }
    }
    html! {
        section {
            h2 { "Which stem comes by which way" }
            p class="said" { "Level of the stem by each way, in dB under all of it at that sum; loudness behind its fader, over the whole song." }
            div class="scroll" {
                table {
                    thead { tr {
                        th { "Stem" } th { "Loudness" br; small { "LUFS" } }
                        @for (into, by) in &columns { th { (by) br; small { "into " (into) } } }
                    } }
                    tbody { @for record in &advice.ledger { (ledger_row(record, &columns)) } }
                }
            }
            @if !advice.drivers.is_empty() {
                h3 { "Who drives what takes gain away" }
                ul class="returns" {
                    @for record in &advice.drivers {
                        @let shares: Vec<String> =
                            record.drivers.iter().map(|(stem, share)| format!("{stem} {:.0} %", 100.0 * share)).collect();
                        li { (record.name) " takes " b { (minus(record.reduction_db, 1)) " dB" } " at its most: " (shares.join(", ")) "." }
                    }
                }
            }
        }
    }
}

fn ledger_row(record: &LedgerRecord, columns: &[(&str, &str)]) -> Markup {
    let way = |column: &(&str, &str)| record.ways.iter().find(|way| (&*way.into, &*way.by) == *column);
    html! {
        tr {
            th scope="row" { (record.stem) }
            td { (record.lufs.map_or("silent".to_owned(), |lufs| minus(lufs, 1))) }
            @for column in columns {
                td { @match way(column) {
                    None => { "" }
                    Some(way) => { (way.level_db.map_or("nothing".to_owned(), |db| minus(db, 1))) }
                } }
            }
        }
    }
}

fn sides(advice: &Advice) -> Markup {
    let pair = |[before, after]: [Option<f64>; 2]| {
        let word = |value: Option<f64>| value.map_or("\u{2013}".to_owned(), |value| minus(value, 1));
        if before.is_none() && after.is_none() {
            String::new()
        } else {
            format!("{} \u{2192} {}", word(before), word(after))
        }
    };
    html! {
        @if !advice.sides.is_empty() {
            section {
                h2 { "Side effects, stem by stem" }
                div class="scroll" {
                    table {
                        thead { tr {
                            th { "Behind" } th { "Stem" } th { "Lost in mono" br; small { "dB" } }
                            th { "Right over left" br; small { "dB" } } th { "Far speaker" br; small { "dB of the near one" } }
                            th { "Low end" br; small { "dB" } }
                        } }
                        tbody {
                            @for (index, record) in advice.sides.iter().enumerate() {
                                tr {
                                    th scope="row" { @if index == 0 || advice.sides[index - 1].by != record.by { (record.by) } }
                                    td { (record.stem) }
                                    td { (pair(record.mono_loss_db)) }
                                    td { (pair(record.balance_db)) }
                                    td { (pair(record.far_db)) @if record.far_turned && record.far_db[1].is_some() { " turned" } }
                                    td { (record.low_end_db.map_or(String::new(), |db| minus(db, 1))) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn codecs(record: &CostRecord) -> Markup {
    html! {
        h3 { "After codecs, at the loudness that it asks for" }
        div class="scroll" {
            table {
                thead { tr {
                    th { "Codec" } th { "Decoded" br; small { "dBTP" } } th { "Overs" } th { "First at" }
                    th { "Residual" br; small { "dB" } } th { "Ceiling that survives" br; small { "dBTP" } }
                } }
                tbody {
                    @for codec in &record.codecs {
                        tr {
                            th scope="row" { (codec.codec) }
                            td { (minus(codec.decoded_dbtp, 2)) }
                            td { (codec.overs) }
                            td { (codec.first_over_secs.map_or(String::new(), units::format_time)) }
                            td { (codec.residual_db.map_or(String::new(), |db| minus(db, 1))) }
                            td { (minus(codec.surviving_ceiling_dbtp, 2)) }
                        }
                    }
                }
            }
        }
    }
}
