//! What loudness costs: curves, table, and the codecs.

use maud::{Markup, html};

use crate::advise::Advice;
use crate::advise::cost::{CostPoint, CostRecord};
use crate::advise::plot::{self, Plot, steps};
use crate::files::codec_in_words;
use crate::report::figures::minus;

pub(super) fn costs(advice: &Advice) -> Markup {
    html! {
        @for record in &advice.costs {
            section {
                h2 { "What loudness costs “" (record.print) "”" }
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
                    th { "Distortion" br; small { "%" } } th { "After " (codec_in_words(&record.codec)) br; small { "dBTP" } }
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
            "{head} {heard:.0} s stand for {whole:.0} s, rendered at even steps of loudness; at the gain that is asked \
             for, the whole reads {} LU against them.",
            minus(lu, 2)
        ),
        None => format!("{head} The whole song was rendered."),
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
                            th scope="row" { (codec_in_words(&codec.codec)) }
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
