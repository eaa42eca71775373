//! The page around the figures.

use maud::{Markup, html};

use super::figures::{self, Curve, length, minus};
use super::paper;
use crate::files::codec_in_words;
use crate::record::{Report, Version};
use crate::returns;

/// From this difference in loudness on, the page warns before one switches from one print to the other.
const JUMP_LU: f64 = 3.0;

/// The report as one page.
#[must_use]
pub fn html(report: &Report) -> String {
    let secs = report.frames as f64 / f64::from(report.rate_hz);
    let said = html! {
        (heading(report, secs))
        (strip(report, secs))
        (measures(report))
        (how(report))
        (alternates(report))
        (stems(report))
        (waves(report))
        (colour(report))
        (returned(report))
        (paper::findings(&report.findings, &report.accepted))
        footer {
            "The sheet that was printed lies beside this page as sheet.toml, all figures as report.json. "
            "Loudness after ITU-R BS.1770 and EBU Tech 3341 and 3342; true peak by interpolation at sixteen "
            "times the rate; every figure of a file was read back from that file."
        }
    };
    paper::page(&format!("{}, {}", report.title, report.revision), "", &said)
}

fn heading(report: &Report, secs: f64) -> Markup {
    let versions = counted(report.versions.len(), "print", "prints");
    let files = counted(report.prints.len(), "file", "files");
    html! {
        header {
            h1 { (report.title) }
            p class="by" {
                @if !report.artist.is_empty() { (report.artist) ". " }
                "Revision " b { (report.revision) }
                @if let Some(label) = &report.label { ", “" (label) "”" }
                ", " (report.date) "."
            }
            p class="verdict" {
                (versions) " of " (length(secs)) " at " (f64::from(report.rate_hz) / 1000.0) " kHz, in " (files.to_lowercase()) ". "
                b { (report.verdict.sentence) }
            }
        }
    }
}

fn counted(count: usize, one: &str, many: &str) -> String {
    let words = ["No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine"];
    let number = words.get(count).map_or_else(|| count.to_string(), |word| (*word).to_owned());
    format!("{number} {}", if count == 1 { one } else { many })
}

fn strip(report: &Report, secs: f64) -> Markup {
    let curves: Vec<_> = report.versions.iter().map(|v| Curve { name: &v.name, values: &v.history[..] }).collect();
    let loudness = |v: &Version| v.measures.integrated_lufs;
    let loudest = report.versions.iter().filter_map(loudness).fold(f64::NEG_INFINITY, f64::max);
    let softest = report.versions.iter().filter_map(loudness).fold(f64::INFINITY, f64::min);
    html! {
        section {
            h2 { "Over the song" }
            (figures::song_strip(&curves, &report.sections, secs))
            @if loudest - softest > JUMP_LU {
                p class="caution" {
                    b { "Mind your ears: " } "the loudest print plays " (minus(loudest - softest, 1))
                    " LU above the softest. Turn your monitors down before you switch to it, and take breaks; long "
                    "listening at high level harms hearing for good. Rules on exposure differ from place to place: follow yours."
                }
            }
        }
    }
}

fn measures(report: &Report) -> Markup {
    let cell = |value: Option<f64>, places: usize| value.map_or("none".to_owned(), |v| minus(v, places));
    html! {
        section {
            h2 { "Files, measured" }
            table {
                thead { tr {
                    th { "File" } th { "Loudness" br; small { "LUFS" } } th { "Range" br; small { "LU" } }
                    th { "Short-term" br; small { "most, LUFS" } } th { "True peak" br; small { "dBTP" } }
                    th { "PLR" br; small { "dB" } } th { "Crest" br; small { "dB" } } th { "Correlation" }
                } }
                tbody {
                    @for file in &report.prints {
                        @let m = &file.measures;
                        tr {
                            th scope="row" { (file.name) br; small { (file.format) } }
                            td { (cell(m.integrated_lufs, 2)) } td { (cell(m.loudness_range_lu, 1)) }
                            td { (cell(m.max_short_term_lufs, 1)) } td { (cell(m.true_peak_dbtp, 2)) }
                            td { (cell(m.plr_db, 1)) } td { (cell(m.crest_db, 1)) } td { (cell(m.correlation, 2)) }
                        }
                    }
                }
            }
            details {
                summary { "Names and checksums" }
                @for file in &report.prints {
                    @let name = file.path.rsplit(['/', '\\']).next().unwrap_or(&file.path);
                    p class="sum" { (name) br; code { (file.sha256) } }
                }
            }
        }
    }
}

fn how(report: &Report) -> Markup {
    let solved = report.versions.iter().filter_map(|version| Some((version, version.solved.as_ref()?)));
    html! {
        @for (version, solved) in solved {
            p class="how" {
                b { (version.name) }
                @if let Some(target) = solved.target_lufs {
                    " is to be " (solved.target) ", " (minus(target, 2)) " LUFS. It reaches "
                    b { (version.measures.integrated_lufs.map_or("nothing".to_owned(), |l| minus(l, 2))) " LUFS" }
                    " with " b { (minus(solved.gain_db, 2)) " dB" } " of gain ahead of its last step"
                } @else {
                    " keeps its level"
                }
                @if let Some(ceiling) = solved.ceiling_dbtp { ", limited at " b { (minus(ceiling, 2)) " dBTP" } }
                "."
                @for trip in &solved.survived {
                    " After " (codec_in_words(&trip.codec)) " a listener decodes a true peak of " b { (minus(trip.decoded_dbtp, 2)) " dBTP" } "."
                }
            }
        }
    }
}

/// How deep a null is, in words.
fn null(null_dbfs: Option<f64>) -> String {
    null_dbfs.map_or_else(|| "to the bit".to_owned(), |db| format!("to {} dBFS", minus(db, 0)))
}

fn alternates(report: &Report) -> Markup {
    html! {
        @if !report.alternates.is_empty() {
            section {
                h2 { "Alternates" }
                ul {
                    @for alternate in &report.alternates {
                        li {
                            b { (alternate.name) } " of " (alternate.of)
                            @if alternate.dynamics == "held" {
                                ", with the gains of the full mix: any bar of it splices with the print. With what was taken \
                                 from it, it is the print " (null(alternate.null_dbfs)) "."
                            } @else {
                                ", with gains that react to what remains: it is not meant to be spliced with the print."
                            }
                            @if let Some(lufs) = alternate.measures.integrated_lufs { " " (minus(lufs, 2)) " LUFS." }
                        }
                    }
                }
            }
        }
    }
}

fn stems(report: &Report) -> Markup {
    html! {
        @for set in &report.stems {
            section {
                h2 { "Stems: " (set.name) }
                p {
                    "The parts of " (set.of) ", through all of its processing. They sum to it " (null(set.null_dbfs)) " before \
                     files are rounded"
                    @for (format, null_dbfs) in &set.files_null_dbfs { "; the files (" (format) ") sum to its own " (null(*null_dbfs)) }
                    ". "
                    @match set.residue_share_db {
                        Some(share) => { "What cannot be split lies " (minus(-share, 1)) " dB below the print, in the residue's file." }
                        None => { "There was nothing that could not be split; the residue's file holds rounding alone." }
                    }
                }
                ul {
                    @for (group, stems) in set.groups.iter().filter(|(_, stems)| !stems.is_empty()) {
                        li { b { (group) } ": " (stems.join(", ")) }
                    }
                }
            }
        }
    }
}

fn waves(report: &Report) -> Markup {
    html! {
        section {
            h2 { "Waveforms" }
            @for version in &report.versions {
                p class="label" { (version.name) }
                (figures::waveform(&version.name, &version.outline))
            }
        }
    }
}

/// Spectra of all prints, shifted to one loudness.
fn colour(report: &Report) -> Markup {
    let shifted = |version: &Version| -> Vec<(f64, f64)> {
        let shift = version.measures.integrated_lufs.map_or(0.0, |lufs| -18.0 - lufs);
        version.measures.third_octave_db.iter().filter_map(|(hz, db)| Some((*hz, (*db)? + shift))).collect()
    };
    let spectra: Vec<Vec<(f64, f64)>> = report.versions.iter().map(shifted).collect();
    let curves = report.versions.iter().zip(&spectra).map(|(v, spectrum)| Curve { name: &v.name, values: spectrum });
    html! {
        section {
            h2 { "Colour" }
            (figures::spectrum(&curves.collect::<Vec<_>>()))
        }
    }
}

fn returned(report: &Report) -> Markup {
    html! {
        @if !report.returns.is_empty() {
            section {
                h2 { "What each return adds" }
                ul class="returns" {
                    @for record in &report.returns { li { (returns::sentence(record)) } }
                }
            }
        }
    }
}
