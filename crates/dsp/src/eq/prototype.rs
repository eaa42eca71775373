//! The analogue filters that the equaliser's bands stand for.
//!
//! Every shape is a cascade of sections `H(s) = (n0 + n1 s + n2 s²) / (d0 + d1 s + d2 s²)` with `s = j f / hz`:
//!
//! - bell, shelves, notch, all-pass: the prototypes of the Audio EQ Cookbook (W3C Working Group Note, 8 June 2021), with
//!   `A = 10^(gain_db/40)`; its shelves stand at half their gain (in dB) at `hz`;
//! - low and high cuts: Butterworth, -3.01 dB at `hz`, 6 dB an octave for each order: the poles of an order `n` lie on
//!   the unit circle at equal angles, so a pair has `Q = 1 / (2 sin((2k+1) pi/2n))`, and an odd order one real pole. The
//!   band's `q` scales the Q of the most resonant pair; at 0.7071 it is Butterworth. It holds within [`CUT_QS`],
//!   for shelves up to [`MOST_RESONANT_Q`];
//! - tilt: `(G s + 1) / (s + G)` with `G = 10^(gain_db/20)`: 0 dB at `hz`, `+gain_db` far above, `-gain_db` far below
//!   (common practice, no source).
//!
//! The **curve** says how gain and width hang together:
//!
//! - symmetric: as above; a cut mirrors the boost of the same number;
//! - proportional: bells narrow as they grow, `q (1 + |gain_db| / 6 dB) / 3`: the stated `q` holds at 12 dB, a third of
//!   it near 0 dB, four thirds of it at 18 dB;
//! - passive: as networks of coils, capacitors and resistors do it. A bell's resonant branch keeps its own Q whatever
//!   its gain, so the bell broadens as it grows: `(s² + s G/q + 1) / (s² + s/q + 1)`, a cut inverted. Shelves are of
//!   first order, and boost and cut are separate branches. A low boost `(s + G) / (s + 1)` begins at `hz`; a low cut's
//!   branch lies [`PASSIVE_OFFSET`] higher, `(s + k) / (s + k G)`. So boost and cut at one frequency do not cancel: the
//!   bottom is lifted and a dip stands above it. High shelves mirror this about `hz`. (Principle of such networks; the
//!   offset is our choice.)

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use units::gain_from_db;

/// How far the corner of a passive cut lies from the boost's, as a ratio of frequencies.
pub const PASSIVE_OFFSET: f64 = 2.5;

/// Most sections that a band needs: 48 dB an octave.
pub const MOST_SECTIONS: usize = 4;

/// Shelves take no higher Q: they would ring, and lift their corner by far more than anyone asked for.
pub const MOST_RESONANT_Q: f64 = 4.0;

/// Cuts take a Q in this range: below it the corner would sag for octaves.
pub const CUT_QS: [f64; 2] = [0.25, MOST_RESONANT_Q];

/// Slope of one order.
const DB_PER_OCTAVE_OF_AN_ORDER: f64 = 6.0;

/// A band's shape, in the order of the sheet's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Lifts or lowers around a frequency.
    Bell,
    /// Lifts or lowers below.
    LowShelf,
    /// Lifts or lowers above.
    HighShelf,
    /// Removes below.
    LowCut,
    /// Removes above.
    HighCut,
    /// Removes one frequency.
    Notch,
    /// Lifts one end and lowers the other.
    Tilt,
    /// Turns the phase alone.
    AllPass,
}

impl Shape {
    /// The sheet's words.
    pub const WORDS: &'static [&'static str] =
        &["bell", "low shelf", "high shelf", "low cut", "high cut", "notch", "tilt", "all-pass"];

    /// All shapes in the order of their words.
    pub const ALL: [Self; 8] = [
        Self::Bell,
        Self::LowShelf,
        Self::HighShelf,
        Self::LowCut,
        Self::HighCut,
        Self::Notch,
        Self::Tilt,
        Self::AllPass,
    ];

    /// Whether the gain means anything.
    #[must_use]
    pub fn has_gain(self) -> bool {
        matches!(self, Self::Bell | Self::LowShelf | Self::HighShelf | Self::Tilt)
    }
}

/// How gain and width hang together, in the order of the sheet's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Curve {
    /// Cut mirrors boost.
    Symmetric,
    /// Bells narrow as they grow.
    Proportional,
    /// As passive networks do it.
    Passive,
}

impl Curve {
    /// The sheet's words.
    pub const WORDS: &'static [&'static str] = &["symmetric", "proportional", "passive"];

    /// All curves in the order of their words.
    pub const ALL: [Self; 3] = [Self::Symmetric, Self::Proportional, Self::Passive];
}

/// One analogue section, constant terms first, `s = 1` at the band's frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prototype {
    /// Numerator.
    pub num: [f64; 3],
    /// Denominator.
    pub den: [f64; 3],
}

impl Prototype {
    /// Passes everything.
    pub const IDENTITY: Self = Self { num: [1.0, 0.0, 0.0], den: [1.0, 0.0, 0.0] };

    /// Complex response `[re, im]` at a frequency given as a ratio to the band's.
    #[must_use]
    pub fn response(&self, x: f64) -> [f64; 2] {
        let at = |[c0, c1, c2]: [f64; 3]| [c0 - c2 * x * x, c1 * x];
        let ([nr, ni], [dr, di]) = (at(self.num), at(self.den));
        let power = dr * dr + di * di;
        [(nr * dr + ni * di) / power, (ni * dr - nr * di) / power]
    }

    fn inverse(self) -> Self {
        Self { num: self.den, den: self.num }
    }
}

/// What a band asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Shape.
    pub shape: Shape,
    /// Centre or corner.
    pub hz: f64,
    /// Gain.
    pub gain_db: f64,
    /// Quality.
    pub q: f64,
    /// Slope of cuts; the nearest multiple of 6 holds.
    pub slope_db_per_octave: f64,
}

impl Band {
    /// The analogue sections, the most resonant last; those not needed pass everything.
    #[must_use]
    pub fn prototypes(&self, curve: Curve) -> [Prototype; MOST_SECTIONS] {
        let mut sections = [Prototype::IDENTITY; MOST_SECTIONS];
        match self.shape {
            Shape::LowCut | Shape::HighCut => {
                let order = (self.slope_db_per_octave / DB_PER_OCTAVE_OF_AN_ORDER).round() as usize;
                butterworth(self.shape == Shape::LowCut, order.clamp(1, 2 * MOST_SECTIONS), self.q, &mut sections);
            }
            Shape::Notch => sections[0] = Prototype { num: [1.0, 0.0, 1.0], den: [1.0, 1.0 / self.q, 1.0] },
            Shape::AllPass => {
                sections[0] = Prototype { num: [1.0, -1.0 / self.q, 1.0], den: [1.0, 1.0 / self.q, 1.0] };
            }
            Shape::Tilt => {
                let g = gain_from_db(self.gain_db);
                sections[0] = Prototype { num: [1.0, g, 0.0], den: [g, 1.0, 0.0] };
            }
            Shape::Bell | Shape::LowShelf | Shape::HighShelf => sections[0] = self.with_gain(curve),
        }
        sections
    }

    fn with_gain(&self, curve: Curve) -> Prototype {
        if self.gain_db == 0.0 {
            return Prototype::IDENTITY;
        }
        match (curve, self.shape) {
            (Curve::Passive, Shape::Bell) => {
                let g = gain_from_db(self.gain_db.abs());
                let boost = Prototype { num: [1.0, g / self.q, 1.0], den: [1.0, 1.0 / self.q, 1.0] };
                if self.gain_db < 0.0 { boost.inverse() } else { boost }
            }
            (Curve::Passive, shape) => passive_shelf(shape == Shape::LowShelf, self.gain_db),
            (Curve::Proportional, Shape::Bell) => {
                cookbook(self.shape, self.gain_db, self.q * (1.0 + self.gain_db.abs() / 6.0) / 3.0)
            }
            (_, Shape::Bell) => cookbook(self.shape, self.gain_db, self.q),
            _ => cookbook(self.shape, self.gain_db, self.q.min(MOST_RESONANT_Q)),
        }
    }
}

/// Bell and shelves of the Audio EQ Cookbook.
fn cookbook(shape: Shape, gain_db: f64, q: f64) -> Prototype {
    let a = gain_from_db(gain_db / 2.0);
    let middle = a.sqrt() / q;
    match shape {
        Shape::LowShelf => Prototype { num: [a * a, a * middle, a], den: [1.0, middle, a] },
        Shape::HighShelf => Prototype { num: [a, a * middle, a * a], den: [a, middle, 1.0] },
        _ => Prototype { num: [1.0, a / q, 1.0], den: [1.0, 1.0 / (a * q), 1.0] },
    }
}

fn passive_shelf(low: bool, gain_db: f64) -> Prototype {
    let g = gain_from_db(gain_db.abs());
    let k = if gain_db < 0.0 { PASSIVE_OFFSET } else { 1.0 };
    let mut boost = Prototype { num: [k * g, 1.0, 0.0], den: [k, 1.0, 0.0] };
    if !low {
        // s -> 1/s mirrors it about the band's frequency.
        boost = Prototype { num: [1.0, k * g, 0.0], den: [1.0, k, 0.0] };
    }
    if gain_db < 0.0 { boost.inverse() } else { boost }
}

fn butterworth(low_cut: bool, order: usize, q: f64, sections: &mut [Prototype; MOST_SECTIONS]) {
    let (first_order, second_order) =
        if low_cut { ([0.0, 1.0, 0.0], [0.0, 0.0, 1.0]) } else { ([1.0, 0.0, 0.0], [1.0, 0.0, 0.0]) };
    let pairs = order / 2;
    let odd = order % 2;
    if odd == 1 {
        sections[0] = Prototype { num: first_order, den: [1.0, 1.0, 0.0] };
    }
    for pair in 0..pairs {
        // Pairs from the least to the most resonant.
        let k = (pairs - 1 - pair) as f64;
        let butterworth_q = 1.0 / (2.0 * libm::sin((2.0 * k + 1.0) * PI / (2.0 * order as f64)));
        let scale = if pair + 1 == pairs { q.clamp(CUT_QS[0], CUT_QS[1]) / FRAC_1_SQRT_2 } else { 1.0 };
        sections[odd + pair] = Prototype { num: second_order, den: [1.0, 1.0 / (butterworth_q * scale), 1.0] };
    }
}
