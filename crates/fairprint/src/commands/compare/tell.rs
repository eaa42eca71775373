//! What `compare` says: a sentence, and short tables.

use std::path::Path;

use measure::{Comparison, Standing, TonalBalance};
use prints::fair::{Against, RevisionsComparison, WithoutComparison};

use crate::commands::figure;
use crate::voice::Voice;

/// Third-octave bands in a row of the table: an octave.
const BANDS_A_ROW: usize = 3;
/// First band of the table: 25 Hz, so that rows are the octaves around 31.5 Hz, 63 Hz and so on.
const FIRST_BAND: usize = 1;

/// Two files.
pub fn two(voice: &Voice, a: &str, b: &str, found: &Comparison) {
    voice.say(&format!("A is {a}, B is {b}."));
    voice.say(&found.statement);
    voice.say("");
    figures(voice, found);
    voice.say("");
    bands(voice, found);
    voice.say("");
    lie(voice, found);
}

/// Two revisions.
pub fn revisions(voice: &Voice, found: &RevisionsComparison) {
    let [a, b] = &found.revisions;
    voice.say(&format!("A is {a}, B is {b}."));
    let alone = [(a, &found.only_in_a), (b, &found.only_in_b)];
    for (revision, prints) in alone.into_iter().filter(|(_, prints)| !prints.is_empty()) {
        voice.say(&format!("Only {revision} has {}.", prints.join(", ")));
    }
    for print in &found.prints {
        voice.say("");
        voice.say(&format!("{}: {}", print.print, print.comparison.statement));
        if print.comparison.is_the_same() {
            continue;
        }
        voice.say("");
        figures(voice, &print.comparison);
        voice.say("");
        lie(voice, &print.comparison);
    }
}

/// A print with and without a part.
pub fn without(voice: &Voice, found: &WithoutComparison) {
    two(voice, &format!("{} as it is", found.print), &format!("it without {}", found.without), &found.comparison);
    if let Some(gain_db) = found.gain_ahead_db {
        voice.say(&format!("  Both are driven by the gain that was found for the print, {gain_db:+.2} dB."));
    }
}

/// A print beside references.
pub fn against(voice: &Voice, found: &Against) {
    voice.say(&format!("{}, against {}.", found.path, units::counted(found.references.len(), "reference")));
    voice.say(&found.balance.statement);
    voice.say("");
    standings(voice, &found.balance);
    voice.say("");
    balance_bands(voice, &found.balance);
    voice.say("");
    for reference in &found.references {
        let name = Path::new(&reference.path).file_name().unwrap_or_default().to_string_lossy();
        voice.say(&format!("  {name} as B: {}", reference.comparison.statement));
    }
}

fn figures(voice: &Voice, found: &Comparison) {
    voice.say(&format!("  {:20} {:>8} {:>8} {:>9}", "", "A", "B", "B less A"));
    let row = |what: &str, [a, b]: [Option<f64>; 2], difference: Option<f64>, unit: &str| {
        let line = format!("  {what:20} {:>8} {:>8} {:>9}  {unit}", figure(a, 2), figure(b, 2), signed(difference, 2));
        voice.say(line.trim_end());
    };
    let pair = |of: fn(&measure::Measures) -> Option<f64>| [of(&found.a), of(&found.b)];
    let less = |[a, b]: [Option<f64>; 2]| b.zip(a).map(|(b, a)| b - a);
    let simple = |what: &str, values: [Option<f64>; 2], unit: &str| row(what, values, less(values), unit);
    simple("loudness", pair(|m| m.integrated_lufs), "LUFS");
    simple("loudness range", pair(|m| m.loudness_range_lu), "LU");
    simple("true peak", pair(|m| m.true_peak_dbtp), "dBTP");
    simple("PLR", pair(|m| m.plr_db), "dB");
    simple("PSR, median", found.over_time.median_psr_db, "dB");
    simple("crest, median", found.over_time.median_crest_db, "dB");
    row("onset sharpness", found.over_time.onset_sharpness_db, found.over_time.onset_difference_db, "dB, note by note");
    simple("correlation", pair(|m| m.correlation), "");
    if let Some((secs, [a, b])) = densest_change(found) {
        let at = minutes(secs);
        voice.say(&format!("  PSR differs most in the three seconds to {at}: {a:.1} dB in A, {b:.1} dB in B."));
    }
}

/// Where PSR differs most, of the moments within 20 LU of the loudest in both.
fn densest_change(found: &Comparison) -> Option<(f64, [f64; 2])> {
    let loudest = [found.a.max_short_term_lufs?, found.b.max_short_term_lufs?];
    let heard = found.over_time.moments.iter().filter_map(|moment| {
        let loud = moment.short_term_lufs.iter().zip(loudest).all(|(lufs, most)| lufs.is_some_and(|l| l > most - 20.0));
        let [a, b] = moment.psr_db;
        a.zip(b).filter(|_| loud).map(|(a, b)| (moment.secs, [a, b]))
    });
    let most = heard.max_by(|(_, x), (_, y)| (x[1] - x[0]).abs().total_cmp(&(y[1] - y[0]).abs()));
    most.filter(|(_, [a, b])| (b - a).abs() >= 0.1)
}

/// Third octaves at matched loudness and width, an octave a row.
fn bands(voice: &Voice, found: &Comparison) {
    voice.say(&format!("  {:12} {:>20}   {:>20}", "B less A, dB", "level, matched", "width (side to mid)"));
    let widths: Vec<(f64, Option<f64>)> =
        found.width_third_octave_db.iter().map(|band| (band.hz, band.audible_difference_db())).collect();
    for (levels, widths) in rows(&found.matched_third_octave_db).zip(rows(&widths)) {
        voice.say(&format!("  {:12} {}   {}", octave(levels), three(levels), three(widths)));
    }
}

fn balance_bands(voice: &Voice, balance: &TonalBalance) {
    voice.say(&format!("  {:10} {:>8} {:>8} {:>8} {:>8} {:>8}", "matched", "it", "least", "median", "most", "outside"));
    for (hz, standing) in balance.third_octave_db.iter().filter(|(_, s)| s.here.is_some() || s.set.is_some()) {
        voice.say(&format!("  {:10} {}", frequency(*hz), columns(standing)));
    }
}

fn standings(voice: &Voice, balance: &TonalBalance) {
    voice.say(&format!("  {:20} {:>8} {:>8} {:>8} {:>8} {:>8}", "", "it", "least", "median", "most", "outside"));
    let row = |what: &str, standing: &Standing, unit: &str| {
        voice.say(&format!("  {what:20} {}  {unit}", columns(standing)));
    };
    row("loudness", &balance.integrated_lufs, "LUFS");
    row("loudness range", &balance.loudness_range_lu, "LU");
    row("PLR", &balance.plr_db, "dB");
    row("PSR, median", &balance.psr_db, "dB");
    row("crest, median", &balance.crest_db, "dB");
    row("onset sharpness", &balance.onset_sharpness_db, "dB");
    row("width (side to mid)", &balance.width_db, "dB");
}

fn columns(standing: &Standing) -> String {
    let [least, median, most] = standing.set.map_or([None; 3], |set| set.map(Some));
    let outside = standing.outside.filter(|outside| outside.abs() >= 0.05);
    let [here, least, median, most] = [standing.here, least, median, most].map(|value| figure(value, 1));
    let outside = outside.map_or(String::new(), |outside| format!("{outside:+.1}"));
    format!("{here:>8} {least:>8} {median:>8} {most:>8} {outside:>8}")
}

/// How the two lie against each other.
fn lie(voice: &Voice, found: &Comparison) {
    match (found.delay_samples, found.null_depth_db, found.polarity) {
        (Some(delay), Some(depth), Some(polarity)) => {
            let turned = if polarity == measure::Polarity::Inverted { " and has inverted polarity" } else { "" };
            let lies = match delay {
                _ if delay.abs() < 0.005 => "in step with".to_owned(),
                _ if delay < 0.0 => format!("{:.2} samples ahead of", -delay),
                _ => format!("{delay:.2} samples behind"),
            };
            voice.say(&format!(
                "  B lies {lies} A{turned}; aligned and matched, {depth:.1} dB is left of it when A is taken away."
            ));
        }
        _ => voice.say("  They are different recordings: nothing lines up."),
    }
    if let Some(gain) = found.gain_db {
        voice.say(&format!("  Play B at {gain:+.2} dB to hear it as loud as A."));
    }
}

/// Bands in rows of an octave.
fn rows(bands: &[(f64, Option<f64>)]) -> impl Iterator<Item = &[(f64, Option<f64>)]> {
    bands.get(FIRST_BAND..).unwrap_or_default().chunks(BANDS_A_ROW)
}

/// The octave's middle band.
fn octave(row: &[(f64, Option<f64>)]) -> String {
    row.get(1).map_or_else(String::new, |(hz, _)| frequency(*hz))
}

fn frequency(hz: f64) -> String {
    if hz >= 1000.0 { format!("{} kHz", hz / 1000.0) } else { format!("{hz} Hz") }
}

fn three(row: &[(f64, Option<f64>)]) -> String {
    let cell = |(_, db): &(f64, Option<f64>)| format!("{:>6}", signed(*db, 1));
    row.iter().map(cell).collect::<Vec<_>>().join(" ")
}

/// With its sign; a zero has none to speak of, so it is never `-0.0`.
fn signed(value: Option<f64>, places: usize) -> String {
    let scale = [1.0, 10.0, 100.0][places.min(2)];
    value.map_or("-".to_owned(), |value| format!("{:+.places$}", (value * scale).round() / scale + 0.0))
}

/// `1:34`.
fn minutes(secs: f64) -> String {
    format!("{}:{:02}", secs as u64 / 60, secs as u64 % 60)
}
