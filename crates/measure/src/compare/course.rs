//! What two programmes do over time: crest, peak to loudness, and how sharp their attacks are.
//!
//! Both are heard in step: where one lies behind the other, from the frame on at which both sound. Crest and PSR are those
//! of the last three seconds, once a second. Their medians leave out moments that lie 20 LU or more under the loudest: an
//! end that fades has a crest too, but nobody judges it. Attacks are those of [`crate::envelope`].

use serde::{Deserialize, Serialize};
use units::Frame;

use crate::blend::{Part, PartMeter};
use crate::envelope;
use crate::loudness::LoudnessPoint;

/// Moments so far under the loudest do not count in medians. EBU Tech 3342 gates the loudness range there.
const QUIET_LU: f64 = 20.0;
/// Points of the loudness history from one moment to the next: a second.
const POINTS_A_MOMENT: usize = 10;

/// One moment, of A and of B.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Moment {
    /// End of the three seconds that are meant, in A's time.
    pub secs: f64,
    /// Short-term loudness as it stands.
    pub short_term_lufs: [Option<f64>; 2],
    /// Largest sample over the RMS of the stronger channel.
    pub crest_db: [Option<f64>; 2],
    /// Largest sample over short-term loudness.
    pub psr_db: [Option<f64>; 2],
}

/// Dynamics of A and of B.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct OverTime {
    /// Median crest of the moments.
    pub median_crest_db: [Option<f64>; 2],
    /// Median PSR of the moments.
    pub median_psr_db: [Option<f64>; 2],
    /// Sharpness of attacks: at A's notes if both are the same programme, otherwise at each one's own.
    pub onset_sharpness_db: [Option<f64>; 2],
    /// What B's attacks are sharper than A's: note by note if both are the same programme.
    pub onset_difference_db: Option<f64>,
    /// Once a second, as far as both go.
    pub moments: Vec<Moment>,
}

/// Streaming meter of one programme's course.
#[derive(Clone)]
pub struct CourseMeter(PartMeter);

/// One programme over time.
#[derive(Clone, Debug)]
pub struct Course {
    part: Part,
    points: Vec<Point>,
}

#[derive(Clone, Copy, Debug)]
struct Point {
    loudness: LoudnessPoint,
    crest_db: Option<f64>,
    psr_db: Option<f64>,
}

impl CourseMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self(PartMeter::new(rate_hz))
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, frames: &[Frame]) {
        self.0.push(frames);
    }

    /// The course once all frames are in.
    #[must_use]
    pub fn finish(self) -> Course {
        let part = self.0.finish();
        let history = part.loudness.history();
        let (crests, psrs) = (part.level.crest_over_time_db(&history), part.level.psr_db(&history));
        let points = history.into_iter().zip(crests).zip(psrs);
        let points = points.map(|((loudness, crest_db), psr_db)| Point { loudness, crest_db, psr_db });
        // The first that fills three seconds, and from there on one a second.
        let first = points.clone().position(|point| point.psr_db.is_some()).unwrap_or(0);
        let points = points.skip(first).step_by(POINTS_A_MOMENT).collect();
        Course { part, points }
    }
}

impl Course {
    /// A programme in memory.
    #[must_use]
    pub fn of(frames: &[Frame], rate_hz: f64) -> Self {
        let mut meter = CourseMeter::new(rate_hz);
        meter.push(frames);
        meter.finish()
    }

    /// Median crest of its louder moments.
    #[must_use]
    pub fn median_crest_db(&self) -> Option<f64> {
        self.median(|point| point.crest_db)
    }

    /// Median PSR of its louder moments.
    #[must_use]
    pub fn median_psr_db(&self) -> Option<f64> {
        self.median(|point| point.psr_db)
    }

    /// Sharpness of its attacks.
    #[must_use]
    pub fn onset_sharpness_db(&self) -> Option<f64> {
        envelope::sharpness_db(&self.part.envelope, &self.part.envelope)
    }

    fn median(&self, of: impl Fn(&Point) -> Option<f64>) -> Option<f64> {
        let floor = self.part.loudness.max_short_term_lufs()? - QUIET_LU;
        let loud = self.points.iter().filter(|point| point.loudness.short_term_lufs.is_some_and(|lufs| lufs > floor));
        let mut values: Vec<f64> = loud.filter_map(of).collect();
        values.sort_by(f64::total_cmp);
        let middle = values.len() / 2;
        (!values.is_empty()).then(|| f64::midpoint(values[middle], values[(values.len() - 1) / 2]))
    }
}

impl OverTime {
    /// Two courses side by side. `related` if they are of the same programme, heard in step from `from_secs` of A on.
    pub(super) fn of(a: &Course, b: &Course, related: bool, from_secs: f64) -> Self {
        let moment = |(a, b): (&Point, &Point)| Moment {
            secs: from_secs + a.loudness.secs,
            short_term_lufs: [a, b].map(|point| point.loudness.short_term_lufs),
            crest_db: [a, b].map(|point| point.crest_db),
            psr_db: [a, b].map(|point| point.psr_db),
        };
        let of_b =
            if related { envelope::sharpness_db(&b.part.envelope, &a.part.envelope) } else { b.onset_sharpness_db() };
        let onset_sharpness_db = [a.onset_sharpness_db(), of_b];
        let own = || onset_sharpness_db[1].zip(onset_sharpness_db[0]).map(|(b, a)| b - a);
        let note_by_note = || envelope::sharpness_change_db(&a.part.envelope, &b.part.envelope);
        Self {
            median_crest_db: [a, b].map(Course::median_crest_db),
            median_psr_db: [a, b].map(Course::median_psr_db),
            onset_sharpness_db,
            onset_difference_db: if related { note_by_note() } else { own() },
            moments: a.points.iter().zip(&b.points).map(moment).collect(),
        }
    }
}
