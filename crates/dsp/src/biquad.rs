//! Second-order sections on stereo frames, in transposed direct form II.
//!
//! ```text
//! H(z) = (b0 + b1 z^-1 + b2 z^-2) / (1 + a1 z^-1 + a2 z^-2)
//! y = b0 x + s1;   s1 = b1 x - a1 y + s2;   s2 = b2 x - a2 y
//! ```
//!
//! The form keeps its state small and takes moving coefficients well. Coefficients belong to a filter, state to a
//! lane. The ready-made designs here are those of the Audio EQ Cookbook (W3C Working Group Note, 8 June 2021), for
//! filters in key paths and loops, well below the Nyquist frequency; the equaliser has its own (`eq::design`).

use std::f64::consts::TAU;

use multiversion::multiversion;
use units::Frame;

use crate::ramp::RAMP_FRAMES;

/// Corners are kept below this share of the sample rate, where every design is stable.
pub const HIGHEST_CORNER: f64 = 0.49;

/// 120 dB in nepers.
const TAIL_NEPERS: f64 = 6.0 * std::f64::consts::LN_10;

/// Coefficients of one section, normalised to `a0 = 1`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficients {
    /// Numerator: `b0, b1, b2`.
    pub b: [f64; 3],
    /// Denominator: `a1, a2`.
    pub a: [f64; 2],
}

impl Coefficients {
    /// Passes everything unchanged, bit for bit.
    pub const IDENTITY: Self = Self { b: [1.0, 0.0, 0.0], a: [0.0, 0.0] };

    /// From polynomials in `z^-1` whose `a0` is not 1.
    #[must_use]
    pub fn normalised([b0, b1, b2]: [f64; 3], [a0, a1, a2]: [f64; 3]) -> Self {
        Self { b: [b0 / a0, b1 / a0, b2 / a0], a: [a1 / a0, a2 / a0] }
    }

    /// Cookbook high-pass (a low cut): 12 dB an octave, -3.01 dB at the corner for `q = 0.7071`.
    #[must_use]
    pub fn high_pass(corner_hz: f64, q: f64, rate_hz: f64) -> Self {
        let (cos, alpha) = cookbook(corner_hz, q, rate_hz);
        let b = (1.0 + cos) / 2.0;
        Self::normalised([b, -2.0 * b, b], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    /// Cookbook low-pass (a high cut): 12 dB an octave, -3.01 dB at the corner for `q = 0.7071`.
    #[must_use]
    pub fn low_pass(corner_hz: f64, q: f64, rate_hz: f64) -> Self {
        let (cos, alpha) = cookbook(corner_hz, q, rate_hz);
        let b = (1.0 - cos) / 2.0;
        Self::normalised([b, 2.0 * b, b], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    /// Cookbook band-pass with 0 dB at the centre.
    #[must_use]
    pub fn band_pass(centre_hz: f64, q: f64, rate_hz: f64) -> Self {
        let (cos, alpha) = cookbook(centre_hz, q, rate_hz);
        Self::normalised([alpha, 0.0, -alpha], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    /// Cookbook all-pass: half a turn of phase at the centre.
    #[must_use]
    pub fn all_pass(centre_hz: f64, q: f64, rate_hz: f64) -> Self {
        let (cos, alpha) = cookbook(centre_hz, q, rate_hz);
        Self::normalised([1.0 - alpha, -2.0 * cos, 1.0 + alpha], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    /// First-order low-pass, bilinear, -3.01 dB at the corner; its complement `1 - H` is the high-pass.
    #[must_use]
    pub fn one_pole_low_pass(corner_hz: f64, rate_hz: f64) -> Self {
        let k = libm::tan(TAU / 2.0 * (corner_hz / rate_hz).min(HIGHEST_CORNER));
        Self::normalised([k, k, 0.0], [1.0 + k, k - 1.0, 0.0])
    }

    /// First-order high-pass, bilinear, -3.01 dB at the corner.
    #[must_use]
    pub fn one_pole_high_pass(corner_hz: f64, rate_hz: f64) -> Self {
        let k = libm::tan(TAU / 2.0 * (corner_hz / rate_hz).min(HIGHEST_CORNER));
        Self::normalised([1.0, -1.0, 0.0], [1.0 + k, k - 1.0, 0.0])
    }

    /// Complex response `[re, im]` at a frequency.
    #[must_use]
    pub fn response(&self, hz: f64, rate_hz: f64) -> [f64; 2] {
        let (sin, cos) = libm::sincos(TAU * hz / rate_hz);
        let (sin2, cos2) = (2.0 * sin * cos, 2.0 * cos * cos - 1.0);
        let [b0, b1, b2] = self.b;
        let [a1, a2] = self.a;
        let (nr, ni) = (b0 + b1 * cos + b2 * cos2, -b1 * sin - b2 * sin2);
        let (dr, di) = (1.0 + a1 * cos + a2 * cos2, -a1 * sin - a2 * sin2);
        let power = dr * dr + di * di;
        [(nr * dr + ni * di) / power, (ni * dr - nr * di) / power]
    }

    /// Frames after which what rings has fallen by 120 dB, from the radius of the outer pole.
    #[must_use]
    pub fn tail_frames(&self) -> usize {
        let [a1, a2] = self.a;
        let discriminant = a1 * a1 - 4.0 * a2;
        let radius = if discriminant < 0.0 { a2.sqrt() } else { (a1.abs() + discriminant.sqrt()) / 2.0 };
        if radius <= 0.0 { 2 } else { (-TAIL_NEPERS / libm::log(radius.min(1.0 - 1e-9))).ceil() as usize + 2 }
    }

    fn map2(self, other: Self, f: impl Fn(f64, f64) -> f64) -> Self {
        Self {
            b: [f(self.b[0], other.b[0]), f(self.b[1], other.b[1]), f(self.b[2], other.b[2])],
            a: [f(self.a[0], other.a[0]), f(self.a[1], other.a[1])],
        }
    }
}

fn cookbook(hz: f64, q: f64, rate_hz: f64) -> (f64, f64) {
    let (sin, cos) = libm::sincos(TAU * (hz / rate_hz).min(HIGHEST_CORNER));
    (cos, sin / (2.0 * q))
}

/// The state of one section for one lane, both channels.
#[derive(Clone, Copy, Debug, Default)]
pub struct State {
    s1: Frame,
    s2: Frame,
}

/// Below this, state is silence: -400 dB, far above where denormals begin and far below what 64 bits resolve.
const SILENT: f64 = 1e-20;

impl State {
    /// One frame through a section.
    #[inline(always)]
    #[must_use]
    pub fn step(&mut self, c: &Coefficients, x: Frame) -> Frame {
        let [b0, b1, b2] = c.b;
        let [a1, a2] = c.a;
        let mut y = [0.0; 2];
        for i in 0..2 {
            y[i] = b0 * x[i] + self.s1[i];
            self.s1[i] = b1 * x[i] + self.s2[i] - a1 * y[i];
            self.s2[i] = b2 * x[i] - a2 * y[i];
        }
        y
    }

    /// Whether it holds nothing.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.s1 == [0.0; 2] && self.s2 == [0.0; 2]
    }

    /// Some frames through a section, in place. Call [`State::settle`] now and then.
    pub fn process(&mut self, c: &Coefficients, frames: &mut [Frame]) {
        let (mut state, c) = (*self, *c);
        for frame in frames {
            *frame = state.step(&c, *frame);
        }
        *self = state;
    }

    /// Some frames through two sections in a row, in the time of one.
    pub fn process_pair(pair: &mut [Self; 2], c: &[Coefficients; 2], frames: &mut [Frame]) {
        run_pair(pair, c, frames);
    }

    /// Some frames through two pairs in a row, in hardly more than the time of one.
    pub fn process_pairs(pairs: [&mut [Self; 2]; 2], c: &[[Coefficients; 2]; 2], frames: &mut [Frame]) {
        run_pairs(pairs, c, frames);
    }

    /// Makes a state that has died away silent, so that nothing runs on denormals. It must be called at frames that do
    /// not depend on how the song was cut, for instance every [`RAMP_FRAMES`].
    pub fn settle(&mut self) {
        for channel in 0..2 {
            if self.s1[channel].abs() < SILENT && self.s2[channel].abs() < SILENT {
                (self.s1[channel], self.s2[channel]) = (0.0, 0.0);
            }
        }
    }
}

/// Two sections in a row that take a step at once: the second is a frame behind, so that neither waits for the other.
struct Abreast {
    b: [[f64; 4]; 3],
    a: [[f64; 4]; 2],
    s1: [f64; 4],
    s2: [f64; 4],
}

impl Abreast {
    #[inline(always)]
    fn new([first, second]: &[State; 2], [c, d]: &[Coefficients; 2]) -> Self {
        let both = |[l, r]: Frame, [m, s]: Frame| [l, r, m, s];
        let coefficients = |first: f64, second: f64| both([first; 2], [second; 2]);
        Self {
            b: [0, 1, 2].map(|k| coefficients(c.b[k], d.b[k])),
            a: [0, 1].map(|k| coefficients(c.a[k], d.a[k])),
            s1: both(first.s1, second.s1),
            s2: both(first.s2, second.s2),
        }
    }

    /// The same operations as [`State::step`]: a frame for the first section, one for the second, and what they give.
    #[inline(always)]
    fn step(&mut self, [l, r]: Frame, [m, s]: Frame) -> [Frame; 2] {
        let x = [l, r, m, s];
        let mut y = [0.0; 4];
        for i in 0..4 {
            y[i] = self.b[0][i] * x[i] + self.s1[i];
            self.s1[i] = self.b[1][i] * x[i] + self.s2[i] - self.a[0][i] * y[i];
            self.s2[i] = self.b[2][i] * x[i] - self.a[1][i] * y[i];
        }
        [[y[0], y[1]], [y[2], y[3]]]
    }

    #[inline(always)]
    fn states(&self) -> [State; 2] {
        let half = |[l, r, m, s]: [f64; 4], second: bool| if second { [m, s] } else { [l, r] };
        [false, true].map(|second| State { s1: half(self.s1, second), s2: half(self.s2, second) })
    }
}

/// Wider registers, here and below, give the same bytes: the operations are the same, and nothing is fused.
#[multiversion(targets("x86_64+avx2"))]
fn run_pair(pair: &mut [State; 2], c: &[Coefficients; 2], frames: &mut [Frame]) {
    let Some(first) = frames.first() else { return };
    let mut held = pair[0].step(&c[0], *first);
    let mut abreast = Abreast::new(pair, c);
    for at in 1..frames.len() {
        [held, frames[at - 1]] = abreast.step(frames[at], held);
    }
    *pair = abreast.states();
    let last = frames.len() - 1;
    frames[last] = pair[1].step(&c[1], held);
}

#[multiversion(targets("x86_64+avx2"))]
fn run_pairs([one, two]: [&mut [State; 2]; 2], [c, d]: &[[Coefficients; 2]; 2], frames: &mut [Frame]) {
    if frames.len() < 2 {
        run_pair(one, c, frames);
        return run_pair(two, d, frames);
    }
    // The first section is a frame ahead of the second, which goes with the third, which is a frame ahead of the last.
    let ahead = one[0].step(&c[0], frames[0]);
    let mut waiting = two[0].step(&d[0], one[1].step(&c[1], ahead));
    let mut held = one[0].step(&c[0], frames[1]);
    let (mut first, mut second) = (Abreast::new(one, c), Abreast::new(two, d));
    for at in 2..frames.len() {
        let between;
        [held, between] = first.step(frames[at], held);
        [waiting, frames[at - 2]] = second.step(between, waiting);
    }
    (*one, *two) = (first.states(), second.states());
    let last = frames.len() - 1;
    frames[last - 1] = two[1].step(&d[1], waiting);
    waiting = two[0].step(&d[0], one[1].step(&c[1], held));
    frames[last] = two[1].step(&d[1], waiting);
}

/// Coefficients on their way to others, in straight lines over [`RAMP_FRAMES`] frames. The stable region of `(a1, a2)`
/// is a triangle, so every section on the way is stable too.
#[derive(Clone, Copy, Debug)]
pub struct Gliding {
    now: Coefficients,
    target: Coefficients,
    step: Coefficients,
    left: usize,
}

impl Gliding {
    /// At rest.
    #[must_use]
    pub fn at(coefficients: Coefficients) -> Self {
        Self { now: coefficients, target: coefficients, step: Coefficients::IDENTITY, left: 0 }
    }

    /// Starts towards others.
    pub fn go_to(&mut self, target: Coefficients) {
        if target == self.now && self.left == 0 {
            return;
        }
        self.target = target;
        self.step = target.map2(self.now, |to, from| (to - from) / RAMP_FRAMES as f64);
        self.left = RAMP_FRAMES;
    }

    /// Stands at the target at once.
    pub fn finish(&mut self) {
        *self = Self::at(self.target);
    }

    /// Whether it stands still.
    #[must_use]
    pub fn is_at_rest(&self) -> bool {
        self.left == 0
    }

    /// Where it stands.
    #[must_use]
    pub fn now(&self) -> &Coefficients {
        &self.now
    }

    /// Where it goes.
    #[must_use]
    pub fn target(&self) -> &Coefficients {
        &self.target
    }

    /// The coefficients of the next frame.
    #[inline]
    pub fn advance(&mut self) -> &Coefficients {
        if self.left > 0 {
            self.left -= 1;
            self.now = if self.left == 0 { self.target } else { self.now.map2(self.step, |now, step| now + step) };
        }
        &self.now
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BUTTERWORTH_Q: f64 = std::f64::consts::FRAC_1_SQRT_2;

    fn db(c: &Coefficients, hz: f64) -> f64 {
        let [re, im] = c.response(hz, 48_000.0);
        10.0 * libm::log10(re * re + im * im)
    }

    #[test]
    fn the_high_pass_has_the_cookbooks_coefficients() {
        // Audio EQ Cookbook (W3C Note, 2021), HPF 30 Hz, Q 0.7071, worked at 44.1 and 96 kHz, 12 decimals.
        for (rate_hz, b0, a1, a2) in [
            (44_100.0, 0.996_982_193_404, -1.993_955_279_631, 0.993_973_493_986),
            (96_000.0, 0.998_612_562_464, -1.997_223_199_944, 0.997_227_049_912),
        ] {
            let c = Coefficients::high_pass(30.0, BUTTERWORTH_Q, rate_hz);
            let worked = [b0, -2.0 * b0, b0, a1, a2];
            for (got, worked) in [c.b[0], c.b[1], c.b[2], c.a[0], c.a[1]].into_iter().zip(worked) {
                assert!((got - worked).abs() < 3e-12, "{got} {worked}");
            }
        }
        // The same source's spot magnitudes: 20 Hz -7.8265 dB, 50 Hz -0.5292 dB.
        let c = Coefficients::high_pass(30.0, BUTTERWORTH_Q, 48_000.0);
        assert!((db(&c, 20.0) + 7.8265).abs() < 1e-4);
        assert!((db(&c, 50.0) + 0.5292).abs() < 1e-4);
    }

    #[test]
    fn corners_and_centres_are_where_the_cookbook_puts_them() {
        for hz in [40.0, 1000.0, 15_000.0] {
            assert!((db(&Coefficients::low_pass(hz, BUTTERWORTH_Q, 48_000.0), hz) + 3.0103).abs() < 1e-4);
            assert!((db(&Coefficients::one_pole_low_pass(hz, 48_000.0), hz) + 3.0103).abs() < 1e-4);
            assert!((db(&Coefficients::one_pole_high_pass(hz, 48_000.0), hz) + 3.0103).abs() < 1e-4);
            assert!(db(&Coefficients::band_pass(hz, 3.0, 48_000.0), hz).abs() < 1e-9);
            let all_pass = Coefficients::all_pass(hz, 2.0, 48_000.0);
            assert!(db(&all_pass, hz * 1.3).abs() < 1e-9);
            let [re, im] = all_pass.response(hz, 48_000.0);
            assert!((re + 1.0).abs() < 1e-9 && im.abs() < 1e-9);
        }
    }

    #[test]
    fn samples_follow_the_difference_equation() {
        // y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2], written out.
        let c = Coefficients { b: [0.5, -0.25, 0.125], a: [-0.75, 0.5] };
        let x: Vec<f64> = (0..32).map(|i| f64::from((i * 7) % 11) - 5.0).collect();
        let mut y = [0.0; 32];
        for n in 0..32 {
            let past = |v: &[f64], k: usize| if n >= k { v[n - k] } else { 0.0 };
            y[n] = 0.5 * x[n] - 0.25 * past(&x, 1) + 0.125 * past(&x, 2) + 0.75 * past(&y, 1) - 0.5 * past(&y, 2);
        }
        let mut frames: Vec<Frame> = x.iter().map(|x| [*x, -2.0 * x]).collect();
        State::default().process(&c, &mut frames);
        for (frame, y) in frames.iter().zip(y) {
            assert!((frame[0] - y).abs() < 1e-12 && (frame[1] + 2.0 * y).abs() < 1e-12);
        }
    }

    #[test]
    fn a_pair_gives_the_samples_of_two_in_a_row() {
        let c =
            [Coefficients::high_pass(90.0, 0.8, 48_000.0), Coefficients { b: [0.5, -0.25, 0.125], a: [-0.75, 0.5] }];
        let mut one: Vec<Frame> = (0..500).map(|i| [f64::from((i * 7) % 11) - 5.0, f64::from(i % 3)]).collect();
        let (mut pair, mut pairs) = (one.clone(), one.clone());
        let (mut states, mut more) = ([State::default(); 2], [[State::default(); 2]; 2]);
        let d = [Coefficients::low_pass(3000.0, 1.2, 48_000.0), Coefficients::all_pass(500.0, 2.0, 48_000.0)];
        for (at, length) in [(0, 1), (1, 2), (3, 0), (3, 3), (6, 494)] {
            State::process_pair(&mut states, &c, &mut pair[at..at + length]);
            State::process_pairs(more.each_mut(), &[c, d], &mut pairs[at..at + length]);
        }
        State::default().process(&c[0], &mut one);
        State::default().process(&c[1], &mut one);
        assert_eq!(one, pair);
        State::default().process(&d[0], &mut one);
        State::default().process(&d[1], &mut one);
        assert_eq!(one, pairs);
    }

    #[test]
    fn glides_arrive_exactly() {
        let target = Coefficients::high_pass(90.0, 0.8, 48_000.0);
        let mut gliding = Gliding::at(Coefficients::IDENTITY);
        gliding.go_to(target);
        for _ in 0..RAMP_FRAMES {
            gliding.advance();
        }
        assert!(gliding.is_at_rest());
        assert_eq!(*gliding.now(), target);
    }
}
