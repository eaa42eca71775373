//! The stereo image in figures: correlation, mid and side, balance, width, and what a mono fold-down loses.
//!
//! Everything follows from three powers: of the left, of the right, and their product. Mid is `(L+R)/2`, side is
//! `(L-R)/2`, and the mono fold-down is mid: a source in the centre keeps its level.

use serde::{Deserialize, Serialize};

/// Mean square of left and right and the mean of their product, over a time or in a band.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StereoPower {
    /// Mean of `L L`.
    pub left: f64,
    /// Mean of `R R`.
    pub right: f64,
    /// Mean of `L R`.
    pub product: f64,
}

/// Facts about a stereo image. Each is none where it is not defined (silence, or one side of a ratio empty).
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct StereoImage {
    /// `sum LR / sqrt(sum LL sum RR)`: 1 for mono, 0 for unrelated sides, -1 for opposite polarity.
    pub correlation: Option<f64>,
    /// Level of the mid's mean square.
    pub mid_db: Option<f64>,
    /// Level of the side's mean square.
    pub side_db: Option<f64>,
    /// Right over left in power: positive leans right.
    pub balance_db: Option<f64>,
    /// Side over mid in power: the wider, the higher.
    pub width_db: Option<f64>,
    /// Power of both channels over that of the fold-down, `(M + S) / M`: 0 for mono, 3.01 for unrelated sides of equal
    /// power and for a source on one side.
    pub fold_down_loss_db: Option<f64>,
}

impl StereoPower {
    /// The same programme with a factor on all powers.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self { left: self.left * factor, right: self.right * factor, product: self.product * factor }
    }

    /// Mean square of `(L+R)/2`. Rounding may leave a trace below zero where channels cancel; that counts as nothing.
    #[must_use]
    pub fn mid(&self) -> f64 {
        ((self.left + self.right + 2.0 * self.product) / 4.0).max(0.0)
    }

    /// Mean square of `(L-R)/2`.
    #[must_use]
    pub fn side(&self) -> f64 {
        ((self.left + self.right - 2.0 * self.product) / 4.0).max(0.0)
    }

    /// Mean square of both channels together, halved: their mean.
    #[must_use]
    pub fn mean(&self) -> f64 {
        (self.left + self.right) / 2.0
    }

    /// The facts.
    #[must_use]
    pub fn image(&self) -> StereoImage {
        let (mid, side) = (self.mid(), self.side());
        let scale = (self.left * self.right).sqrt();
        StereoImage {
            correlation: (scale > 0.0).then(|| (self.product / scale).clamp(-1.0, 1.0)),
            mid_db: level(mid, 1.0),
            side_db: level(side, 1.0),
            balance_db: level(self.right, self.left),
            width_db: level(side, mid),
            fold_down_loss_db: level(mid + side, mid),
        }
    }
}

/// Decibels of a power over another; none unless both are above zero.
fn level(power: f64, reference: f64) -> Option<f64> {
    (power > 0.0 && reference > 0.0).then(|| units::db_from_power(power / reference))
}

#[cfg(test)]
mod tests;
