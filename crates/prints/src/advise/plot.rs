//! A plain plot: scales with their numbers, lines, marks. SVG with a title.

use std::fmt::Write as _;

use maud::{Markup, html};

use crate::report::figures::minus;

const LEFT: f64 = 44.0;
const RIGHT: f64 = 16.0;
const ABOVE: f64 = 8.0;
const BELOW: f64 = 30.0;

/// The scales of a plot.
pub(super) struct Plot {
    /// Width and height in its own units.
    pub size: [f64; 2],
    /// Ends of the horizontal scale.
    pub across: [f64; 2],
    /// Ends of the vertical scale.
    pub up: [f64; 2],
}

/// A mark on the horizontal scale: where, what it says, how far down its words stand (in lines).
pub(super) type Mark = (f64, String, u32);

impl Plot {
    /// Place of a value on the horizontal scale.
    pub(super) fn x(&self, value: f64) -> f64 {
        let [from, to] = self.across;
        LEFT + (self.size[0] - LEFT - RIGHT) * (value.clamp(from, to) - from) / (to - from)
    }

    /// Place of a value on the vertical scale.
    pub(super) fn y(&self, value: f64) -> f64 {
        let [low, high] = self.up;
        ABOVE + (self.size[1] - ABOVE - BELOW) * (high - value.clamp(low, high)) / (high - low)
    }

    /// A line through points.
    pub(super) fn line(&self, index: usize, points: &[(f64, f64)]) -> Markup {
        let mut path = String::new();
        for (at, (x, y)) in points.iter().enumerate() {
            let _ = write!(path, "{}{:.1} {:.1}", if at == 0 { 'M' } else { 'L' }, self.x(*x), self.y(*y));
        }
        html! { path class=(format!("line p{index}")) d=(path) {} }
    }

    /// A bar from zero, centred on a value.
    pub(super) fn bar(&self, index: usize, x: f64, width: f64, value: f64) -> Markup {
        let (from, to) = (self.y(value.max(0.0)), self.y(value.min(0.0)));
        html! { rect class=(format!("bar p{index}")) x=(self.x(x) - width / 2.0) y=(from) width=(width) height=((to - from).max(0.5)) {} }
    }

    /// A stretch of the horizontal scale, drawn along its foot.
    pub(super) fn stretch(&self, [from, to]: [f64; 2]) -> Markup {
        let foot = self.size[1] - BELOW;
        html! { rect class="flat" x=(self.x(from)) y=(foot - 6.0) width=((self.x(to) - self.x(from)).max(2.0)) height="6" {} }
    }

    /// The frame: numbers of both scales (horizontal ones as value and words), marks, and what is drawn.
    pub(super) fn frame(
        &self,
        title: &str,
        [across, up]: [&[(f64, String)]; 2],
        marks: &[Mark],
        drawn: &Markup,
    ) -> Markup {
        let foot = self.size[1] - BELOW;
        html! {
            svg viewBox=(format!("0 0 {} {}", self.size[0], self.size[1])) role="img" aria-label=(title) {
                title { (title) }
                @for (value, words) in up {
                    line class="rule" x1=(LEFT) x2=(self.size[0] - RIGHT) y1=(self.y(*value)) y2=(self.y(*value)) {}
                    text class="scale" x=(LEFT - 6.0) y=(self.y(*value) + 4.0) text-anchor="end" { (words) }
                }
                @for (value, words) in across {
                    line class="rule" x1=(self.x(*value)) x2=(self.x(*value)) y1=(ABOVE) y2=(foot) {}
                    text class="scale" x=(self.x(*value)) y=(foot + 18.0) text-anchor="middle" { (words) }
                }
                (drawn)
                @for (value, words, down) in marks {
                    @let x = self.x(*value);
                    @let (anchor, shift) = if x > self.size[0] * 0.7 { ("end", -6.0) } else { ("start", 6.0) };
                    line class="mark" x1=(x) x2=(x) y1=(ABOVE) y2=(foot) {}
                    text class="section" x=(x + shift) y=(ABOVE + 14.0 + 18.0 * f64::from(*down)) text-anchor=(anchor) { (words) }
                }
            }
        }
    }
}

/// Numbers of a scale in even steps.
pub(super) fn steps(from: i32, to: i32, step: i32) -> Vec<(f64, String)> {
    (from..=to).step_by(step as usize).map(|value| (f64::from(value), minus(f64::from(value), 0))).collect()
}

/// What the lines of a plot are.
pub(super) fn key(what: &str, names: &[&str]) -> Markup {
    html! {
        figcaption {
            (what)
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
