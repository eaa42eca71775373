//! A fair comparison of two programmes: aligned, matched in loudness, and said in one sentence.
//!
//! Louder is heard as better, so a comparison is fair only at equal loudness: `gain_db` brings B to A's integrated
//! loudness, exactly (from the meter's energies, gates included). What is said of tone is said at that gain. A file of one
//! channel is heard as it is played: in both.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};
use units::Frame;

use crate::align::{Alignment, Polarity, align};
use crate::null::{Null, null};
use crate::stereo::StereoImage;
use crate::summary::{Measured, Measures, Meter, measure};

mod course;
pub(crate) mod regions;
pub(crate) mod sentence;

pub use course::{Course, CourseMeter, Moment, OverTime};
pub(crate) use regions::Region;

/// How far apart two programmes may start.
pub const MOST_DELAY_SECS: f64 = 10.0;
/// Below this correlation two programmes are taken as unrelated: no delay, polarity or null depth is reported. Common
/// practice, no source.
const LEAST_CORRELATION: f64 = 0.3;
/// A band whose side lies under its mid by more than this is mono to the ear.
const MONO_DB: f64 = -20.0;

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
    /// The same by third octave.
    pub width_third_octave_db: Vec<BandWidth>,
    /// Crest, peak to loudness and attacks.
    pub over_time: OverTime,
    /// What differs, the largest first, in one sentence.
    pub statement: String,
}

/// Side over mid in one band. None where a programme is silent there, has no side, or has no mid.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BandWidth {
    /// Nominal centre.
    pub hz: f64,
    /// Of A.
    pub a_db: Option<f64>,
    /// Of B.
    pub b_db: Option<f64>,
    /// B less A: positive is wider.
    pub difference_db: Option<f64>,
}

/// One programme as comparisons hear it.
#[derive(Clone, Debug)]
pub struct Heard {
    /// Its figures.
    pub measured: Measured,
    /// What it does over time.
    pub course: Course,
}

impl BandWidth {
    /// The difference where it can be heard: not where the side lies under the mid by more than 20 dB in both programmes.
    /// Common practice, no source.
    #[must_use]
    pub fn audible_difference_db(&self) -> Option<f64> {
        let wide = [self.a_db, self.b_db].into_iter().flatten().any(|db| db > MONO_DB);
        self.difference_db.filter(|_| wide)
    }
}

/// Streaming meter of all that comparisons ask of one programme.
#[derive(Clone)]
pub struct Ear {
    meter: Meter,
    course: CourseMeter,
}

impl Ear {
    /// An ear at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self { meter: Meter::new(rate_hz), course: CourseMeter::new(rate_hz) }
    }

    /// Takes in the next frames.
    pub fn push(&mut self, frames: &[Frame]) {
        self.meter.push(frames);
        self.course.push(&finite(frames));
    }

    /// What was heard once all frames are in.
    #[must_use]
    pub fn finish(self) -> Heard {
        Heard { measured: self.meter.finish(), course: self.course.finish() }
    }
}

/// How the two lie against each other, if they are of the same programme.
#[derive(Clone, Debug)]
struct Related {
    fit: Alignment,
    null: Null,
    /// Where in A, in seconds, both start to sound.
    from_secs: f64,
}

/// Compares two programmes of one sample rate. Takes both in memory, since delays of up to [`MOST_DELAY_SECS`] are sought.
#[must_use]
pub fn compare(a: &[Frame], b: &[Frame], rate_hz: f64) -> Comparison {
    let measured = [measure(a, rate_hz), measure(b, rate_hz)];
    let (a, b) = (&*finite(a), &*finite(b));
    let fit = align(a, b, (MOST_DELAY_SECS * rate_hz) as usize).filter(|fit| fit.correlation >= LEAST_CORRELATION);
    let delay = fit.map_or(0, |fit| fit.delay_samples.round() as i64);
    let [from_a, from_b] = [-delay, delay].map(|from| from.max(0) as usize);
    let (heard_a, heard_b) = (a.get(from_a..).unwrap_or_default(), b.get(from_b..).unwrap_or_default());
    let related = fit.map(|fit| Related { fit, null: null(a, b, &fit, rate_hz), from_secs: from_a as f64 / rate_hz });
    let [a, b] = [heard_a, heard_b].map(|frames| Course::of(frames, rate_hz));
    let [of_a, of_b] = measured;
    comparison(&Heard { measured: of_a, course: a }, &Heard { measured: of_b, course: b }, related)
}

/// Compares two recordings that have nothing to do with each other, from what was heard of each.
#[must_use]
pub fn beside(a: &Heard, b: &Heard) -> Comparison {
    comparison(a, b, None)
}

fn comparison(a: &Heard, b: &Heard, related: Option<Related>) -> Comparison {
    let over_time =
        OverTime::of(&a.course, &b.course, related.is_some(), related.as_ref().map_or(0.0, |both| both.from_secs));
    let (a, b) = (&a.measured, &b.measured);
    let gain_db = a.measures.integrated_lufs.and_then(|target| b.loudness.gain_db_for(target));
    let difference = a.measures.difference_to(&b.measures);
    let matched = |(hz, db): &(f64, Option<f64>)| (*hz, db.zip(gain_db).map(|(db, gain)| db + gain));
    let matched_third_octave_db = difference.third_octave_db.iter().map(matched).collect();
    let fit = related.as_ref().map(|both| both.fit);
    let nulled = related.map(|both| both.null);
    let mut comparison = Comparison {
        delay_samples: fit.map(|fit| fit.delay_samples),
        gain_db,
        polarity: fit.map(|fit| fit.polarity),
        null_depth_db: nulled.as_ref().and_then(|null| null.depth_db),
        a: a.measures.clone(),
        b: b.measures.clone(),
        difference,
        null_third_octave_db: nulled.map_or_else(Vec::new, |null| null.third_octave_db),
        matched_third_octave_db,
        width_difference_db: less(b.stereo.width_db, a.stereo.width_db),
        width_third_octave_db: widths(a, b),
        over_time,
        statement: String::new(),
    };
    comparison.statement = comparison.sentence();
    comparison
}

fn widths(a: &Measured, b: &Measured) -> Vec<BandWidth> {
    let images = a.spectrum.third_octave_images().into_iter().zip(b.spectrum.third_octave_images());
    let band = |((hz, a), (_, b)): ((f64, Option<StereoImage>), (f64, Option<StereoImage>))| {
        let [a_db, b_db] = [a, b].map(|image| image.and_then(|image| image.width_db));
        BandWidth { hz, a_db, b_db, difference_db: less(b_db, a_db) }
    };
    images.map(band).collect()
}

/// One figure less another; none where either is none.
fn less(b: Option<f64>, a: Option<f64>) -> Option<f64> {
    b.zip(a).map(|(b, a)| b - a)
}

/// The frames with silence in place of what is no number, as the meters take them.
fn finite(frames: &[Frame]) -> Cow<'_, [Frame]> {
    if frames.iter().flatten().all(|x| x.is_finite()) {
        return Cow::Borrowed(frames);
    }
    Cow::Owned(frames.iter().map(|x| x.map(|x| if x.is_finite() { x } else { 0.0 })).collect())
}

impl Measures {
    /// Each figure of another programme less this one's; none where either has none.
    #[must_use]
    pub fn difference_to(&self, other: &Self) -> Self {
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

#[cfg(test)]
mod heard_tests;
#[cfg(test)]
mod tests;
