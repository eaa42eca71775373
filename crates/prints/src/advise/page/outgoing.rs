//! Prints as they leave: twins section by section, how they travel, what an a cappella holds.

use maud::{Markup, html};

use crate::advise::plot::{self, Plot, steps};
use crate::advise::twins::{TwinChange, TwinRecord, TwinSection};
use crate::advise::{Advice, LeftoverRecord, TranslationRecord};
use crate::report::figures::minus;

/// Stems that are moved this far are set in bold.
const MOVED_DB: f64 = 1.0;

fn db(value: Option<f64>) -> String {
    value.map_or("\u{2013}".to_owned(), |value| minus(value, 1))
}

/// `a, b and c`.
fn list(names: &[String]) -> String {
    match names {
        [] => "nothing".to_owned(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

pub(super) fn twins(advice: &Advice) -> Markup {
    html! {
        @for pair in &advice.twins {
            section {
                h2 { "What “" (pair.approval) "” does to the mix" }
                p class="said" { (proof(pair)) }
                @if pair.own.iter().any(|own| !own.is_empty()) {
                    (sections(pair))
                    (balance(pair))
                }
            }
        }
    }
}

fn proof(pair: &TwinRecord) -> Markup {
    let [clean, loud] = &pair.own;
    html! {
        @if pair.parted.iter().all(Vec::is_empty) {
            b { (pair.approval) } " and " b { (pair.mastering) } " draw from the same " b { (pair.shared) } " stems and buses. "
        } @else {
            b { (pair.approval) } " and " b { (pair.mastering) } " are " b { "not the same mix" } ": only one of them draws from "
            (list(&pair.parted.concat())) ". "
        }
        "From there on " b { (pair.mastering) } " has " (list(clean)) ", " b { (pair.approval) } " has " (list(loud)) "."
    }
}

fn sections(pair: &TwinRecord) -> Markup {
    let cell = |section: &TwinSection, of: &dyn Fn(&TwinChange) -> Option<f64>| {
        let limiter = section.limiter.as_ref().map(|limiter| db(of(limiter)));
        match limiter {
            Some(limiter) => format!("{} / {limiter}", db(of(&section.colour))),
            None => db(of(&section.colour)),
        }
    };
    html! {
        div class="scroll" {
            table {
                thead { tr {
                    th { "Section" } th { "Mix" br; small { "LUFS" } } th { "Loudness" br; small { "LU" } }
                    th { "Below 250 Hz" br; small { "dB" } } th { "Above 4 kHz" br; small { "dB" } }
                    th { "Crest" br; small { "dB" } } th { "Attacks" br; small { "dB" } }
                    th { "Width" br; small { "dB" } } th { "Lost in mono" br; small { "dB" } }
                } }
                tbody {
                    @for section in &pair.sections {
                        tr {
                            th scope="row" { (section.name) }
                            td { (db(section.mix_lufs)) }
                            td { (cell(section, &|c| c.loudness_lu)) }
                            td { (cell(section, &|c| c.low_mid_high_db[0])) } td { (cell(section, &|c| c.low_mid_high_db[2])) }
                            td { (cell(section, &|c| c.crest_db)) } td { (cell(section, &|c| c.attacks_db)) }
                            td { (cell(section, &|c| c.width_db)) } td { (cell(section, &|c| c.mono_loss_db)) }
                        }
                    }
                }
            }
        }
        p { small { "Changes by colour / by gain and limiter. Bands at matched loudness." } }
    }
}

/// Stems and returns by section, from the mix to the finished print.
fn balance(pair: &TwinRecord) -> Markup {
    let columns: Vec<Vec<(&str, f64)>> = pair.sections.iter().map(TwinSection::balance_db).collect();
    let mut names: Vec<&str> = Vec::new();
    let stems = pair.sections.iter().flat_map(TwinSection::stems_db);
    for (name, _) in stems.chain(columns.iter().flatten().copied()) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let at = |column: &[(&str, f64)], name: &str| column.iter().find(|(other, _)| *other == name).map(|(_, db)| *db);
    html! {
        h3 { "Where each stem and return stands in it, against the mix at the same loudness" }
        div class="scroll" {
            table {
                thead { tr { th { "Stem or return" } @for section in &pair.sections { th { (section.name) } } } }
                tbody {
                    @for name in names {
                        tr {
                            th scope="row" { (name) }
                            @for column in &columns {
                                td { @match at(column, name) {
                                    Some(db) if db.abs() >= MOVED_DB => { b { (minus(db, 1)) } }
                                    Some(db) => { (minus(db, 1)) }
                                    None => { "" }
                                } }
                            }
                        }
                    }
                }
            }
        }
    }
}

pub(super) fn translation(advice: &Advice) -> Markup {
    html! {
        @if !advice.translations.is_empty() {
            section {
                h2 { "How the prints travel" }
                (travel_table(advice))
                @if advice.translations.iter().any(|print| !print.mono.is_empty()) { figure { (mono(advice)) } }
                @let thin: Vec<String> = advice.thin_stems.iter().filter(|stem| stem.left_db <= -6.0)
                    .map(|stem| format!("{} {} dB", stem.stem, minus(stem.left_db, 0))).collect();
                @if !thin.is_empty() {
                    p { "What a small speaker, from 250 Hz on, leaves of stems: " (list(&thin)) "." }
                }
                @if let Some(first) = advice.heard.first() {
                    p {
                        "To be heard, from " (units::format_time(first.from_secs)) " on, all at " (minus(first.lufs, 0)) " LUFS: "
                        (list(&advice.heard.iter().map(|file| file.path.display().to_string()).collect::<Vec<_>>())) "."
                    }
                }
            }
        }
    }
}

/// What is stated of every print: a name, and how it is read from the record.
type Line = (&'static str, fn(&TranslationRecord) -> String);

fn travel_table(advice: &Advice) -> Markup {
    let lines: [Line; 8] = [
        ("Mono loses of the whole, dB", |p| db(p.mono_lost_db)),
        ("On a small speaker loudness changes by, LU", |p| db(p.small_speaker_lu)),
        ("Low over middle by ear, here / from the next room, dB", |p| p.low_over_middle_db.map(db).join(" / ")),
        ("Played softly, low / middle / high seem to change by, dB", |p| p.soft_low_mid_high_db.map(db).join(" / ")),
        ("Sides over middle, low / middle / high, dB", |p| p.side_low_mid_high_db.map(db).join(" / ")),
        ("Disc below 300 Hz: sideways / up and down, dB", |p| {
            [p.disc.lateral_db, p.disc.vertical_db].map(db).join(" / ")
        }),
        ("Disc: highest move up and down, dBFS", |p| db(p.disc.vertical_peak_dbfs)),
        ("Strongest 50 ms above 4 kHz over the mean, dB", |p| db(p.sibilance_db)),
    ];
    html! {
        div class="scroll" {
            table {
                thead { tr { th { "" } @for print in &advice.translations { th { (print.print) } } } }
                tbody {
                    @for (name, of) in lines {
                        tr { th scope="row" { (name) } @for print in &advice.translations { td { (of(print)) } } }
                    }
                }
            }
        }
    }
}

/// What mono loses, by third octave.
fn mono(advice: &Advice) -> Markup {
    let first = &advice.translations[0].mono;
    let place = |hz: f64| first.iter().position(|band| band.hz == hz).map(|at| at as f64);
    let most = 12.0;
    let lines: Vec<Vec<(f64, f64)>> = advice
        .translations
        .iter()
        .map(|print| {
            let point =
                |band: &crate::advise::MonoBand| Some((place(band.hz)?, -band.lost_db.unwrap_or(most).min(most)));
            print.mono.iter().filter_map(point).collect()
        })
        .collect();
    let plot = Plot { size: [960.0, 220.0], across: [-0.5, first.len() as f64 - 0.5], up: [-most, 0.0] };
    let named = first.iter().enumerate().filter(|(at, _)| at % 3 == 0);
    let hertz: Vec<(f64, String)> = named.map(|(at, band)| (at as f64, format!("{}", band.hz))).collect();
    let drawn = html! { @for (index, line) in lines.iter().enumerate() { (plot.line(index, line)) } };
    let names: Vec<&str> = advice.translations.iter().map(|print| print.print.as_str()).collect();
    html! {
        (plot.frame("What mono loses", [&hertz, &steps(-12, 0, 3)], &[], &drawn))
        (plot::key("What mono loses, in dB over Hz:", &names))
    }
}

pub(super) fn a_cappellas(advice: &Advice) -> Markup {
    html! {
        @if !advice.a_cappellas.is_empty() {
            section {
                h2 { "What an a cappella holds" }
                @for record in &advice.a_cappellas { p class="said" { (holds(record)) } }
            }
        }
    }
}

fn holds(record: &LeftoverRecord) -> Markup {
    let returns: Vec<String> =
        record.returns.iter().map(|fed| format!("{} (fed by {})", fed.name, list(&fed.by))).collect();
    html! {
        b { (record.alternate) } " keeps " (list(&record.kept)) "; of returns " (list(&returns)) " still sounds."
        @if let Some(left) = record.left_db { " What none of them makes lies at " (minus(left, 0)) " dB of them." }
    }
}
