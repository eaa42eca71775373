//! The static curve: how far a steady level is reduced.
//!
//! D. Giannoulis, M. Massberg, J. D. Reiss, "Digital Dynamic Range Compressor Design: A Tutorial and Analysis", JAES
//! 60(6), 2012. With level x, threshold T, ratio R and knee width W, all in dB, the reduction s(x) = x - y is
//!
//! - 0 for 2(x - T) < -W,
//! - (1 - 1/R) (x - T + W/2)^2 / (2W) for 2|x - T| <= W,
//! - (1 - 1/R) (x - T) above;
//!
//! never more than the range.

/// A soft-knee curve in the form in which every frame evaluates it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Curve {
    /// Level at which the knee begins: T - W/2.
    start_db: f64,
    /// Knee width W.
    knee_db: f64,
    /// 1 / (2W), or 0 without a knee.
    half_inverse_knee: f64,
    /// 1 - 1/R.
    slope: f64,
    /// Greatest reduction.
    range_db: f64,
}

impl Curve {
    pub(super) fn new(threshold_db: f64, ratio: f64, knee_db: f64, range_db: f64) -> Self {
        let half_inverse_knee = if knee_db > 0.0 { 0.5 / knee_db } else { 0.0 };
        Self { start_db: threshold_db - knee_db / 2.0, knee_db, half_inverse_knee, slope: 1.0 - 1.0 / ratio, range_db }
    }

    /// Reduction in dB (0 or above) of a steady level: s(x).
    #[inline]
    pub(super) fn reduction_db(&self, level_db: f64) -> f64 {
        self.unlimited(level_db - self.start_db).min(self.range_db)
    }

    /// s(x) without the range, of a level above the start of the knee.
    #[inline]
    fn unlimited(&self, above_db: f64) -> f64 {
        let in_knee = above_db.clamp(0.0, self.knee_db);
        self.slope * (in_knee * in_knee * self.half_inverse_knee + (above_db - self.knee_db).max(0.0))
    }

    /// One step of a compressor that hears its own output.
    ///
    /// Such a loop settles on the curve above if its detector answers an output level y with the reduction f(y) that
    /// belongs to the input level u which the curve takes to y: f(u - s(u)) = s(u). The loop is closed without a delay:
    /// the new reduction g solves g = rest + share * f(x - g), where `rest` and `share` come from the ballistics, and this
    /// gives f(x - g). With u in place of x - g this reads u - (1 - share) s(u) = x - rest: a straight line, a parabola
    /// and a straight line, so it is solved in closed form and is stable for every attack and ratio. The range bounds g, not f.
    #[inline]
    pub(super) fn answer_db(&self, level_db: f64, rest_db: f64, share: f64) -> f64 {
        let z = level_db - rest_db - self.start_db;
        let k = (1.0 - share) * self.slope;
        let knee_ends = self.knee_db * (1.0 - k / 2.0);
        let above = if z <= 0.0 {
            z
        } else if z >= knee_ends {
            (z - k * self.knee_db / 2.0) / (1.0 - k)
        } else {
            2.0 * z / (1.0 + (1.0 - 4.0 * k * z * self.half_inverse_knee).sqrt())
        };
        self.unlimited(above)
    }

    /// Greatest reduction.
    pub(super) fn range_db(&self) -> f64 {
        self.range_db
    }

    /// The ratio at which a loop above its knee runs, for the choice of its speed.
    pub(super) fn ratio(&self) -> f64 {
        1.0 / (1.0 - self.slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The published equation, written as printed.
    fn published(x: f64, t: f64, r: f64, w: f64) -> f64 {
        if 2.0 * (x - t) < -w {
            x
        } else if w > 0.0 && 2.0 * (x - t).abs() <= w {
            x + (1.0 / r - 1.0) * (x - t + w / 2.0) * (x - t + w / 2.0) / (2.0 * w)
        } else {
            t + (x - t) / r
        }
    }

    #[test]
    fn the_curve_is_the_published_one() {
        // Output levels computed from the paper's equation outside this project (T, R, W; then x, y).
        let points = [
            ([-20.0, 4.0, 0.0], [[-26.0, -26.0], [-18.0, -19.5], [0.0, -15.0]]),
            ([-20.0, 4.0, 10.0], [[-24.0, -24.0375], [-20.0, -20.9375], [-16.0, -19.0375]]),
            ([-24.0, 2.0, 6.0], [[-26.0, -26.041_667], [-22.0, -23.041_667], [0.0, -12.0]]),
            ([-18.0, 10.0, 12.0], [[-22.0, -22.15], [-14.0, -17.75], [-6.0, -16.8]]),
            ([-30.0, 20.0, 6.0], [[-32.0, -32.079_167], [-30.0, -30.7125], [0.0, -28.5]]),
        ];
        for ([t, r, w], pairs) in points {
            let curve = Curve::new(t, r, w, 60.0);
            for [x, y] in pairs {
                assert!((x - curve.reduction_db(x) - y).abs() < 1e-6, "T {t} R {r} W {w} at {x}");
            }
            for step in 0..600 {
                let x = f64::from(step) * 0.1 - 60.0;
                assert!((x - curve.reduction_db(x) - published(x, t, r, w)).abs() < 1e-12);
            }
        }
        assert_eq!(Curve::new(-40.0, 20.0, 6.0, 12.0).reduction_db(0.0), 12.0);
    }

    #[test]
    fn a_loop_settles_on_the_same_curve_however_fast_it_runs() {
        for (ratio, knee_db) in [(1.0, 6.0), (4.0, 0.0), (4.0, 10.0), (20.0, 24.0), (100.0, 6.0)] {
            let curve = Curve::new(-20.0, ratio, knee_db, 60.0);
            for (share, x) in [(0.9, -5.0), (0.01, -20.0), (0.1, -30.0), (0.5, -17.0), (1e-3, 0.0)] {
                let mut g = 0.0;
                for _ in 0..40_000 {
                    let rest = (1.0 - share) * g;
                    g = rest + share * curve.answer_db(x, rest, share);
                }
                assert!((g - curve.reduction_db(x)).abs() < 1e-9, "R {ratio} W {knee_db} share {share} at {x}: {g}");
            }
        }
    }
}
