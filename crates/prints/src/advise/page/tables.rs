//! Tables: alignment, the ledger, side effects.

use maud::{Markup, html};

use crate::advise::Advice;
use crate::advise::alignment::{SumRecord, WayRecord};
use crate::advise::ledger::LedgerRecord;
use crate::report::figures::minus;

pub(super) fn alignment(advice: &Advice) -> Markup {
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
                            (sum.bus) ": the paths in time lose at most " b { (minus(-db, 2)) " dB" } " to phase, at " (hz) " Hz."
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

pub(super) fn ledger(advice: &Advice) -> Markup {
    let mut columns: Vec<(&str, &str)> = Vec::new();
    for way in advice.ledger.iter().flat_map(|record| &record.ways) {
        if !columns.contains(&(&way.into, &way.by)) {
            columns.push((&way.into, &way.by));
        }
    }
    html! {
        section {
            h2 { "Which stem comes by which path" }
            p class="said" { "Level of the stem by each path, in dB under all of it at that sum; loudness behind its fader, over the whole song." }
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

pub(super) fn sides(advice: &Advice) -> Markup {
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
