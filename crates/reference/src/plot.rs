//! A chart as SVG: two axes, curves that differ in hue and in pattern, a key in words. It reads by day and by night.

use std::fmt::Write as _;

use crate::MARK;

/// Width and height, in units of its own.
const SIZE: [f64; 2] = [640.0, 360.0];
/// Room around the field: left, top, right, below.
const MARGIN: [f64; 4] = [52.0, 12.0, 16.0, 44.0];
/// Height of a line of the key, how many names stand in one at most, the room for a letter, and for the line ahead of a name.
const KEY_LINE: f64 = 20.0;
const KEY_COLUMNS: usize = 4;
const KEY_LETTER: f64 = 6.5;
const KEY_MARK: f64 = 44.0;
/// The report's style; its first lines are the colours, by day and by night.
const REPORT_STYLE: &str = include_str!("../../prints/src/report/style.css");

/// An axis.
pub struct Axis {
    /// What it counts, with the unit.
    pub title: &'static str,
    /// Its ends.
    pub range: [f64; 2],
    /// Whether equal ratios take equal room.
    pub ratios: bool,
    /// Where numbers stand.
    pub ticks: Vec<f64>,
}

impl Axis {
    /// Frequency as one hears it, from 20 Hz to 20 kHz.
    pub fn hertz() -> Self {
        let ticks = vec![20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0, 20_000.0];
        Self { title: "Frequency in Hz", range: [20.0, 20_000.0], ratios: true, ticks }
    }

    /// Equal steps, numbers at multiples of `step`.
    pub fn even(title: &'static str, range: [f64; 2], step: f64) -> Self {
        let first = (range[0] / step).ceil() as i64;
        let last = (range[1] / step).floor() as i64;
        Self { title, range, ratios: false, ticks: (first..=last).map(|n| n as f64 * step).collect() }
    }

    /// Where a value stands, from 0 to 1; values outside stand at the ends.
    fn part(&self, value: f64) -> f64 {
        let [low, high] = self.range;
        let value = value.clamp(low, high);
        if self.ratios { libm::log(value / low) / libm::log(high / low) } else { (value - low) / (high - low) }
    }
}

/// A curve and its name in the key.
pub struct Curve {
    /// Name.
    pub name: String,
    /// Points, from left to right.
    pub points: Vec<(f64, f64)>,
    /// Whether each point gets a dot.
    pub dots: bool,
}

impl Curve {
    /// A line.
    pub fn line(name: impl Into<String>, points: Vec<(f64, f64)>) -> Self {
        Self { name: name.into(), points, dots: false }
    }

    /// A line with a dot at each point.
    pub fn dots(name: impl Into<String>, points: Vec<(f64, f64)>) -> Self {
        Self { dots: true, ..Self::line(name, points) }
    }
}

/// The chart.
pub fn draw(title: &str, [x, y]: [&Axis; 2], curves: &[Curve]) -> String {
    let columns = key_columns(curves);
    let lines = curves.len().div_ceil(columns);
    let height = SIZE[1] + KEY_LINE * lines as f64;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {height}\" role=\"img\">\n{MARK}\n<title>{}</title>\n",
        SIZE[0],
        escaped(title),
    );
    let _ = writeln!(svg, "<style>\n{}{}</style>", colours(), STYLE);
    let _ = writeln!(svg, "<rect class=\"paper\" width=\"{}\" height=\"{height}\"/>", SIZE[0]);
    axes(&mut svg, x, y);
    for (index, curve) in curves.iter().enumerate() {
        let points: Vec<[f64; 2]> = curve.points.iter().map(|(a, b)| [across(x, *a), up(y, *b)]).collect();
        let _ = writeln!(svg, "<path class=\"c c{index}\" d=\"{}\"/>", path(&points));
        for [px, py] in points.iter().filter(|_| curve.dots) {
            let _ = writeln!(svg, "<circle class=\"c{index}\" cx=\"{px:.1}\" cy=\"{py:.1}\" r=\"3\"/>");
        }
        key(&mut svg, columns, index, &curve.name);
    }
    svg + "</svg>\n"
}

const STYLE: &str = "\
.paper { fill: var(--paper); } text { fill: var(--ink); font: 13px Georgia, serif; } .n { fill: var(--soft); }
.r { stroke: var(--rule); } .c { fill: none; stroke-width: 2; stroke-linejoin: round; }
.c0, .c3, .c6 { stroke: var(--print); } .c1, .c4, .c7 { stroke: var(--other); } .c2, .c5 { stroke: var(--ink); }
.c1, .c5 { stroke-dasharray: 7 3; } .c2, .c3 { stroke-dasharray: 2 3; } .c6 { stroke-dasharray: 9 3 2 3; } circle { fill: var(--paper); stroke-dasharray: none; }
";

/// The colours of the report: its style up to the first rule that is not about them.
fn colours() -> &'static str {
    &REPORT_STYLE[..REPORT_STYLE.find("* {").unwrap_or(0)]
}

fn across(axis: &Axis, value: f64) -> f64 {
    MARGIN[0] + (SIZE[0] - MARGIN[0] - MARGIN[2]) * axis.part(value)
}

fn up(axis: &Axis, value: f64) -> f64 {
    SIZE[1] - MARGIN[3] - (SIZE[1] - MARGIN[1] - MARGIN[3]) * axis.part(value)
}

fn axes(svg: &mut String, x: &Axis, y: &Axis) {
    let [left, right, top, bottom] = [MARGIN[0], SIZE[0] - MARGIN[2], MARGIN[1], SIZE[1] - MARGIN[3]];
    for value in &x.ticks {
        let at = across(x, *value);
        let _ = writeln!(svg, "<line class=\"r\" x1=\"{at:.1}\" x2=\"{at:.1}\" y1=\"{top}\" y2=\"{bottom}\"/>");
        let _ = writeln!(
            svg,
            "<text class=\"n\" x=\"{at:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            bottom + 17.0,
            number(*value)
        );
    }
    for value in &y.ticks {
        let at = up(y, *value);
        let _ = writeln!(svg, "<line class=\"r\" x1=\"{left}\" x2=\"{right}\" y1=\"{at:.1}\" y2=\"{at:.1}\"/>");
        let _ = writeln!(
            svg,
            "<text class=\"n\" x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            left - 6.0,
            at + 4.0,
            number(*value)
        );
    }
    let middle = (left + right) / 2.0;
    let _ = writeln!(svg, "<text x=\"{middle}\" y=\"{}\" text-anchor=\"middle\">{}</text>", bottom + 36.0, x.title);
    let (at, title) = ((top + bottom) / 2.0, y.title);
    let _ = writeln!(svg, "<text transform=\"translate(13 {at}) rotate(-90)\" text-anchor=\"middle\">{title}</text>");
}

/// Names that stand in a line of the key: as many as the longest leaves room for.
fn key_columns(curves: &[Curve]) -> usize {
    let longest = curves.iter().map(|curve| curve.name.chars().count()).max().unwrap_or(0);
    let room = (SIZE[0] - MARGIN[0] - MARGIN[2]) / (KEY_MARK + KEY_LETTER * longest as f64);
    (room as usize).clamp(1, KEY_COLUMNS)
}

fn key(svg: &mut String, columns: usize, index: usize, name: &str) {
    let room = (SIZE[0] - MARGIN[0] - MARGIN[2]) / columns as f64;
    let x = MARGIN[0] + room * (index % columns) as f64;
    let y = SIZE[1] + KEY_LINE * (index / columns) as f64 + 6.0;
    let _ = writeln!(svg, "<path class=\"c c{index}\" d=\"M{x} {}h24\"/>", y - 4.0);
    let _ = writeln!(svg, "<text x=\"{}\" y=\"{y}\">{}</text>", x + 30.0, escaped(name));
}

/// Points as a path, those that a straight line between others stands for left out.
fn path(points: &[[f64; 2]]) -> String {
    let (mut text, mut kept) = (String::new(), 0);
    for (index, [x, y]) in points.iter().enumerate() {
        let stands_for_all =
            |next: usize| (kept + 1..next).all(|n| is_between(points[n], [points[kept], points[next]]));
        if index == 0 || index + 1 == points.len() || !stands_for_all(index + 1) {
            let place = [x, y].map(|p| ((p * 10.0).round() / 10.0).to_string());
            let _ = write!(text, "{}{}", if index == 0 { 'M' } else { 'L' }, place.join(" "));
            kept = index;
        }
    }
    text
}

/// Whether a point lies on the line between two others, to a fifth of a unit.
fn is_between([x, y]: [f64; 2], [[x0, y0], [x1, y1]]: [[f64; 2]; 2]) -> bool {
    let on_line = y0 + (y1 - y0) * (x - x0) / (x1 - x0).max(1e-9);
    (y - on_line).abs() < 0.2
}

/// A number with a true minus sign, thousands as k.
fn number(value: f64) -> String {
    let text =
        if value.abs() >= 1000.0 { format!("{}k", value / 1000.0) } else { format!("{}", (value * 1e3).round() / 1e3) };
    text.replace('-', "\u{2212}")
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_colours_are_those_of_the_report_by_day_and_by_night() {
        for name in ["--paper", "--ink", "--soft", "--rule", "--print", "--other"] {
            assert_eq!(colours().matches(name).count(), 2, "{name} by day and by night");
        }
    }

    #[test]
    fn long_names_take_fewer_columns() {
        let named = |letters: usize| vec![Curve::line("x".repeat(letters), Vec::new())];
        assert_eq!([3, 22, 60, 200].map(|letters| key_columns(&named(letters))), [4, 3, 1, 1]);
    }

    #[test]
    fn values_stand_where_they_belong() {
        assert!((Axis::hertz().part(200.0) - 1.0 / 3.0).abs() < 1e-12, "a decade of three");
        assert_eq!(Axis::even("", [-20.0, 0.0], 5.0).part(-5.0), 0.75);
        assert_eq!(Axis::even("", [-20.0, 0.0], 5.0).ticks, [-20.0, -15.0, -10.0, -5.0, 0.0]);
        assert_eq!(path(&[[0.0, 1.0], [1.0, 1.0], [2.0, 1.0], [3.0, 2.0]]), "M0 1L2 1L3 2");
        assert_eq!(number(-12_500.0), "\u{2212}12.5k");
    }
}
