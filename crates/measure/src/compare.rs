//! A fair comparison of two programmes: aligned, matched in loudness, and said in one sentence.
//!
//! Louder is heard as better, so a comparison is fair only at equal loudness: `gain_db` brings B to A's integrated
//! loudness, exactly (from the meter's energies, gates included). What is said of tone is said at that gain.

use serde::{Deserialize, Serialize};
use units::Frame;

use crate::align::{Alignment, Polarity, align};
use crate::null::{Null, PERFECT_DB, null};
use crate::summary::{Measured, Measures, measure};

/// How far apart two programmes may start.
pub const MOST_DELAY_SECS: f64 = 10.0;
/// Below this correlation two programmes are taken as unrelated: no delay, polarity or null depth is reported. Common
/// practice, no source.
const LEAST_CORRELATION: f64 = 0.3;
/// A null deeper than this is no audible difference: below the last bit of 16-bit audio.
const ALIKE_DB: f64 = -96.0;
/// Third-octave bands so far below the programme's strongest are not spoken of.
const AUDIBLE_RANGE_DB: f64 = 50.0;
/// Differences that are worth a word. Common practice, no source; loudness near the 1 LU that AES TD1008 calls just
/// noticeable.
const LOUDNESS_LU: f64 = 0.3;
const TONE_DB: f64 = 1.0;
const DYNAMICS_DB: f64 = 0.7;
const RANGE_LU: f64 = 1.0;
const WIDTH_DB: f64 = 1.0;

/// The JSON of `compare`, but for the paths. Undefined values are `null`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// Frames by which B lies behind A.
    pub delay_samples: Option<f64>,
    /// Gain for B that gives it A's integrated loudness.
    pub gain_db: Option<f64>,
    /// Polarity of B against A.
    pub polarity: Option<Polarity>,
    /// What is left when A, aligned and scaled for the least residual, is taken away from B. Exactly nothing reads
    /// -300 dB.
    pub null_depth_db: Option<f64>,
    /// Figures of A.
    pub a: Measures,
    /// Figures of B as it stands.
    pub b: Measures,
    /// B less A, each figure as it stands. Add `gain_db` to levels for the difference at matched loudness.
    pub difference: Measures,
    /// Null depth by third octave as `[nominal hz, db]`.
    pub null_third_octave_db: Vec<(f64, Option<f64>)>,
    /// Difference of the third-octave levels at matched loudness, B less A.
    pub matched_third_octave_db: Vec<(f64, Option<f64>)>,
    /// Side over mid, B less A: positive is wider.
    pub width_difference_db: Option<f64>,
    /// What differs, the largest first, in one sentence.
    pub statement: String,
}

/// Compares two programmes of one sample rate.
#[must_use]
pub fn compare(a: &[Frame], b: &[Frame], rate_hz: f64) -> Comparison {
    let related = align(a, b, (MOST_DELAY_SECS * rate_hz) as usize).filter(|fit| fit.correlation >= LEAST_CORRELATION);
    let nulled = related.map(|fit| (fit, null(a, b, &fit, rate_hz)));
    comparison(&measure(a, rate_hz), &measure(b, rate_hz), nulled)
}

/// The same from facts at hand.
#[must_use]
pub fn comparison(a: &Measured, b: &Measured, nulled: Option<(Alignment, Null)>) -> Comparison {
    let gain_db = a.measures.integrated_lufs.and_then(|target| b.loudness.gain_db_for(target));
    let difference = a.measures.difference_to(&b.measures);
    let matched = |(hz, db): &(f64, Option<f64>)| (*hz, db.zip(gain_db).map(|(db, gain)| db + gain));
    let matched_third_octave_db = difference.third_octave_db.iter().map(matched).collect();
    let width_difference_db = b.stereo.width_db.zip(a.stereo.width_db).map(|(b, a)| b - a);
    let (alignment, nulled) = nulled.unzip();
    let mut comparison = Comparison {
        delay_samples: alignment.map(|fit| fit.delay_samples),
        gain_db,
        polarity: alignment.map(|fit| fit.polarity),
        null_depth_db: nulled.as_ref().and_then(|null| null.depth_db),
        a: a.measures.clone(),
        b: b.measures.clone(),
        difference,
        null_third_octave_db: nulled.map_or_else(Vec::new, |null| null.third_octave_db),
        matched_third_octave_db,
        width_difference_db,
        statement: String::new(),
    };
    comparison.statement = comparison.sentence();
    comparison
}

impl Measures {
    /// Each figure of another programme less this one's; none where either has none.
    #[must_use]
    pub fn difference_to(&self, other: &Self) -> Self {
        let less = |b: Option<f64>, a: Option<f64>| b.zip(a).map(|(b, a)| b - a);
        let bands = self.third_octave_db.iter().zip(&other.third_octave_db);
        Self {
            integrated_lufs: less(other.integrated_lufs, self.integrated_lufs),
            loudness_range_lu: less(other.loudness_range_lu, self.loudness_range_lu),
            max_momentary_lufs: less(other.max_momentary_lufs, self.max_momentary_lufs),
            max_short_term_lufs: less(other.max_short_term_lufs, self.max_short_term_lufs),
            true_peak_dbtp: less(other.true_peak_dbtp, self.true_peak_dbtp),
            sample_peak_dbfs: less(other.sample_peak_dbfs, self.sample_peak_dbfs),
            crest_db: less(other.crest_db, self.crest_db),
            plr_db: less(other.plr_db, self.plr_db),
            correlation: less(other.correlation, self.correlation),
            third_octave_db: bands.map(|((hz, a), (_, b))| (*hz, less(*b, *a))).collect(),
        }
    }
}

/// A difference in words, and how much of a difference it is: 1 is just worth a word.
type Remark = (f64, String);

impl Comparison {
    fn sentence(&self) -> String {
        match (self.a.integrated_lufs, self.b.integrated_lufs) {
            (None, None) => return "Both are silent or too short to compare.".to_owned(),
            (None, _) => return "A is silent or too short to compare.".to_owned(),
            (_, None) => return "B is silent or too short to compare.".to_owned(),
            _ => {}
        }
        let loudness = self.loudness_remark();
        let mut remarks: Vec<Remark> =
            [self.tone_remark(), self.dynamics_remark(), self.range_remark(), self.width_remark()]
                .into_iter()
                .flatten()
                .filter(|(weight, _)| *weight >= 1.0)
                .collect();
        remarks.sort_by(|a, b| b.0.total_cmp(&a.0));
        let remarks: Vec<String> = remarks.into_iter().map(|(_, text)| text).collect();
        match (loudness, remarks.is_empty()) {
            (None, true) => self.alike(),
            (Some(loudness), true) => format!("B is {loudness} and otherwise much like A."),
            (None, false) => format!("B is as loud as A; it {}.", listed(&remarks)),
            (Some(loudness), false) => format!("B is {loudness}; at matched loudness it {}.", listed(&remarks)),
        }
    }

    fn alike(&self) -> String {
        match self.null_depth_db {
            Some(depth) if depth <= PERFECT_DB => "A and B are the same to the bit.".to_owned(),
            Some(depth) if depth <= ALIKE_DB => {
                format!("A and B are the same to the ear: they cancel to {depth:.0} dB.")
            }
            Some(depth) => {
                format!("B is much like A in loudness, tone, dynamics and width; they cancel to {depth:.0} dB.")
            }
            None => {
                "B is much like A in loudness, tone, dynamics and width, but it is not the same programme.".to_owned()
            }
        }
    }

    fn loudness_remark(&self) -> Option<String> {
        let lu = self.difference.integrated_lufs.filter(|lu| lu.abs() >= LOUDNESS_LU)?;
        Some(format!("{:.1} LU {} than A", lu.abs(), if lu > 0.0 { "louder" } else { "quieter" }))
    }

    /// The band that differs most, of those that are loud enough in either programme to be heard.
    fn tone_remark(&self) -> Option<Remark> {
        let strongest = |m: &Measures| m.third_octave_db.iter().filter_map(|(_, db)| *db).fold(f64::MIN, f64::max);
        let floors = [&self.a, &self.b].map(|m| (m, strongest(m) - AUDIBLE_RANGE_DB));
        let heard =
            |band: usize| floors.iter().any(|(m, floor)| m.third_octave_db[band].1.is_some_and(|db| db > *floor));
        let bands = self.matched_third_octave_db.iter().enumerate().filter(|(band, _)| heard(*band));
        let differing = bands.filter_map(|(_, (hz, db))| db.map(|db| (*hz, db)));
        let (hz, db) = differing.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
        let place = if hz >= 1000.0 { format!("{} kHz", hz / 1000.0) } else { format!("{hz} Hz") };
        let text = format!("has {:.1} dB {} around {place}", db.abs(), if db > 0.0 { "more" } else { "less" });
        Some((db.abs() / TONE_DB, text))
    }

    fn dynamics_remark(&self) -> Option<Remark> {
        let db = self.difference.plr_db?;
        let text =
            format!("is {:.1} dB {} (peak to loudness)", db.abs(), if db > 0.0 { "more open" } else { "denser" });
        Some((db.abs() / DYNAMICS_DB, text))
    }

    fn range_remark(&self) -> Option<Remark> {
        let lu = self.difference.loudness_range_lu?;
        let text = format!("has {:.1} LU {} loudness range", lu.abs(), if lu > 0.0 { "more" } else { "less" });
        Some((lu.abs() / RANGE_LU, text))
    }

    fn width_remark(&self) -> Option<Remark> {
        let db = self.width_difference_db?;
        let text = format!("is {:.1} dB {} (side to mid)", db.abs(), if db > 0.0 { "wider" } else { "narrower" });
        Some((db.abs() / WIDTH_DB, text))
    }
}

/// `one`, `one and two`, `one, two and three`.
fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests;
