//! Figures of the report: the song strip, the waveform, the spectrum. Plain SVG with a title and a description each.

use std::fmt::Write as _;

use maud::{Markup, html};
use measure::LoudnessPoint;
use units::format_time;

/// Width of every figure, in its own units.
const WIDTH: f64 = 960.0;
/// Room for the numbers of the scale.
const LEFT: f64 = 44.0;
/// Room for the names below.
const BELOW: f64 = 30.0;

/// A curve of a figure: its name, and what is drawn. Which line pattern it gets follows from its place in the list.
pub struct Curve<'a, T> {
    /// Name in the key.
    pub name: &'a str,
    /// Values.
    pub values: &'a [T],
}

/// Sections as (name, start in seconds).
pub type Sections = [(String, f64)];

/// Short-term loudness of each print over the song, as overlapping silhouettes on one scale.
pub fn song_strip(prints: &[Curve<'_, LoudnessPoint>], sections: &Sections, secs: f64) -> Markup {
    const HEIGHT: f64 = 220.0;
    const TOP_LUFS: f64 = 0.0;
    const BOTTOM_LUFS: f64 = -48.0;
    let x = |time: f64| LEFT + (WIDTH - LEFT) * (time / secs.max(1e-9)).clamp(0.0, 1.0);
    let y = |lufs: f64| (HEIGHT - BELOW) * (TOP_LUFS - lufs.clamp(BOTTOM_LUFS, TOP_LUFS)) / (TOP_LUFS - BOTTOM_LUFS);
    let base = y(BOTTOM_LUFS);
    let silhouette = |points: &[LoudnessPoint]| {
        let mut path = format!("M{LEFT:.1} {base:.1}");
        for point in points {
            let _ = write!(path, "L{:.1} {:.1}", x(point.secs), y(point.short_term_lufs.unwrap_or(BOTTOM_LUFS)));
        }
        let end = points.last().map_or(LEFT, |point| x(point.secs));
        let _ = write!(path, "L{end:.1} {base:.1}Z");
        path
    };
    let names: Vec<&str> = prints.iter().map(|print| print.name).collect();
    html! {
        figure {
            svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label="Loudness over the song" {
                title { "Short-term loudness of " (names.join(" and ")) " over the song" }
                @for lufs in [-40.0, -30.0, -20.0, -10.0] {
                    line class="rule" x1=(LEFT) x2=(WIDTH) y1=(y(lufs)) y2=(y(lufs)) {}
                    text class="scale" x=(LEFT - 6.0) y=(y(lufs) + 4.0) text-anchor="end" { (minus(lufs, 0)) }
                }
                @for (index, print) in prints.iter().enumerate() {
                    path class=(format!("print p{index}")) d=(silhouette(print.values)) {}
                }
                line class="baseline" x1=(LEFT) x2=(WIDTH) y1=(base) y2=(base) {}
                @for (name, from) in sections {
                    line class="tick" x1=(x(*from)) x2=(x(*from)) y1=(base) y2=(base + 6.0) {}
                    text class="section" x=(x(*from)) y=(base + 20.0) { (name) }
                }
            }
            (key(&names, "Short-term loudness in LUFS"))
        }
    }
}

/// The largest samples over the song, above and below a line.
pub fn waveform(name: &str, outline: &[f32]) -> Markup {
    const HEIGHT: f64 = 90.0;
    let middle = HEIGHT / 2.0;
    let x = |index: usize| LEFT + (WIDTH - LEFT) * index as f64 / outline.len().max(1) as f64;
    let mut path = format!("M{LEFT:.1} {middle:.1}");
    for (index, peak) in outline.iter().enumerate() {
        let _ = write!(path, "L{:.1} {:.2}", x(index), middle - f64::from(*peak).min(1.0) * (middle - 2.0));
    }
    for (index, peak) in outline.iter().enumerate().rev() {
        let _ = write!(path, "L{:.1} {:.2}", x(index), middle + f64::from(*peak).min(1.0) * (middle - 2.0));
    }
    html! {
        svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(format!("Waveform of {name}")) {
            title { "Waveform of " (name) }
            path class="wave" d=(path + "Z") {}
            line class="rule" x1=(LEFT) x2=(WIDTH) y1=(middle) y2=(middle) {}
        }
    }
}

/// Third-octave levels of each print, matched in loudness so that only the colour differs.
pub fn spectrum(prints: &[Curve<'_, (f64, f64)>]) -> Markup {
    const HEIGHT: f64 = 300.0;
    let values = || prints.iter().flat_map(|print| print.values.iter().map(|(_, db)| *db));
    let top = (values().fold(-100.0, f64::max) / 6.0).ceil() * 6.0;
    let bottom = (values().fold(top, f64::min).max(top - 60.0) / 6.0).floor() * 6.0;
    let x = |hz: f64| LEFT + (WIDTH - LEFT - 16.0) * libm_log10(hz / 20.0) / 3.0;
    let y = |db: f64| 6.0 + (HEIGHT - BELOW - 6.0) * (top - db.clamp(bottom, top)) / (top - bottom).max(1.0);
    let line = |curve: &[(f64, f64)]| {
        let mut path = String::new();
        for (index, (hz, db)) in curve.iter().enumerate() {
            let _ = write!(path, "{}{:.1} {:.1}", if index == 0 { 'M' } else { 'L' }, x(*hz), y(*db));
        }
        path
    };
    let names: Vec<&str> = prints.iter().map(|print| print.name).collect();
    let steps = ((top - bottom) / 12.0) as i32;
    html! {
        figure {
            svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label="Third-octave spectrum" {
                title { "Third-octave spectrum of " (names.join(" and ")) ", at matched loudness" }
                @for db in (0..=steps).map(|step| top - 12.0 * f64::from(step)) {
                    line class="rule" x1=(LEFT) x2=(WIDTH) y1=(y(db)) y2=(y(db)) {}
                    text class="scale" x=(LEFT - 6.0) y=(y(db) + 4.0) text-anchor="end" { (minus(db, 0)) }
                }
                @for hz in [31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16_000.0] {
                    line class="rule" x1=(x(hz)) x2=(x(hz)) y1="6" y2=(HEIGHT - BELOW) {}
                    text class="scale" x=(x(hz)) y=(HEIGHT - BELOW + 18.0) text-anchor="middle" { (hertz(hz)) }
                }
                @for (index, print) in prints.iter().enumerate() {
                    path class=(format!("line p{index}")) d=(line(print.values)) {}
                }
            }
            (key(&names, "Third-octave level in dB, at matched loudness, over frequency in Hz"))
        }
    }
}

fn key(names: &[&str], what: &str) -> Markup {
    html! {
        figcaption {
            (what) "."
            @for (index, name) in names.iter().enumerate() {
                span class="key" {
                    svg viewBox="0 0 34 10" width="34" height="10" aria-hidden="true" {
                        line class=(format!("line p{index}")) x1="0" x2="34" y1="5" y2="5" {}
                    }
                    (name)
                }
            }
        }
    }
}

/// A number with a true minus sign.
pub fn minus(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().any(|c| c.is_ascii_digit() && c != '0') => format!("\u{2212}{digits}"),
        Some(digits) => digits.to_owned(),
        None => text,
    }
}

/// A length of time for people.
pub fn length(secs: f64) -> String {
    let text = format_time(secs);
    text.split_once('.').map_or(text.clone(), |(whole, _)| whole.to_owned())
}

fn hertz(hz: f64) -> String {
    if hz >= 1000.0 { format!("{} k", hz / 1000.0) } else { format!("{hz}") }
}

fn libm_log10(x: f64) -> f64 {
    // A level is ten times the logarithm of a power.
    units::db_from_power(x) / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_set_with_a_true_minus_and_zero_has_none() {
        assert_eq!(minus(-8.04, 1), "\u{2212}8.0");
        assert_eq!(minus(-0.01, 1), "0.0");
        assert_eq!(length(94.6), "1:34");
    }
}
