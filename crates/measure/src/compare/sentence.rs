//! What differs between two programmes, in one sentence.

use super::regions::regions;
use super::{BandWidth, Comparison};
use crate::equal_loudness::contour_db;
use crate::null::PERFECT_DB;
use crate::summary::Measures;

/// A null deeper than this is no audible difference: below the last bit of 16-bit audio.
const ALIKE_DB: f64 = -96.0;
/// Third-octave bands so far below the programme's strongest are not spoken of. Common practice, no source.
const AUDIBLE_RANGE_DB: f64 = 50.0;
/// Sound pressure level that a programme is taken to be heard at: common practice, no source (79 to 85 dB are set in rooms).
const LISTENING_DB_SPL: f64 = 80.0;
/// Loudness level of the threshold of hearing: that of 1 kHz in ISO 226:2003, Table 1, so that the contour meets the table's
/// thresholds.
const THRESHOLD_PHON: f64 = 2.4;
/// Highest band that is spoken of: ISO 226 ends at 12.5 kHz, and few hear an octave more. Common practice, no source.
const HIGHEST_HZ: f64 = 16_000.0;
/// Differences that are worth a word. Common practice, no source; loudness near the 1 LU that AES TD1008 calls just
/// noticeable.
const LOUDNESS_LU: f64 = 0.3;
pub(crate) const TONE_DB: f64 = 1.0;
const DYNAMICS_DB: f64 = 0.7;
const RANGE_LU: f64 = 1.0;
const WIDTH_DB: f64 = 1.0;
const BAND_WIDTH_DB: f64 = 2.0;
const ONSET_DB: f64 = 1.0;
/// Remarks in a sentence, and places of the spectrum among them.
const MOST_REMARKS: usize = 4;
const MOST_PLACES: usize = 2;

/// A difference in words, and how much of a difference it is: 1 is just worth a word.
type Remark = (f64, String);

impl Comparison {
    /// Whether B holds A's samples, at the same place and level.
    #[must_use]
    pub fn is_the_same(&self) -> bool {
        let unmoved = self.delay_samples == Some(0.0) && self.gain_db == Some(0.0);
        unmoved && self.null_depth_db.is_some_and(|depth| depth <= PERFECT_DB)
    }

    pub(super) fn sentence(&self) -> String {
        match (self.a.integrated_lufs, self.b.integrated_lufs) {
            (None, None) => return "Both are silent or too short to compare.".to_owned(),
            (None, _) => return "A is silent or too short to compare.".to_owned(),
            (_, None) => return "B is silent or too short to compare.".to_owned(),
            _ => {}
        }
        let loudness = self.loudness_remark();
        let mut remarks: Vec<Remark> = self.tone_remarks();
        let others = [self.dynamics_remark(), self.range_remark(), self.width_remark(), self.onset_remark()];
        remarks.extend(others.into_iter().flatten().filter(|(weight, _)| *weight >= 1.0));
        remarks.sort_by(|a, b| b.0.total_cmp(&a.0));
        let remarks: Vec<String> = remarks.into_iter().take(MOST_REMARKS).map(|(_, text)| text).collect();
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

    /// Whether a band is heard in either programme.
    fn is_heard(&self, band: usize) -> bool {
        is_heard(&self.a, band) || is_heard(&self.b, band)
    }

    /// The places that differ most, of the bands that are heard.
    fn tone_remarks(&self) -> Vec<Remark> {
        let bands = self.matched_third_octave_db.iter().enumerate();
        let bands: Vec<_> = bands.map(|(band, (hz, db))| (*hz, db.filter(|_| self.is_heard(band)))).collect();
        let remark = |place: super::Region| {
            let more = if place.db > 0.0 { "more" } else { "less" };
            (place.db.abs() / TONE_DB, format!("has {:.1} dB {more} {}", place.db.abs(), place.place()))
        };
        regions(&bands, TONE_DB, MOST_PLACES).into_iter().map(remark).collect()
    }

    /// Peak to loudness: of the moments, or of the whole where it is too short for those.
    fn dynamics_remark(&self) -> Option<Remark> {
        let [a, b] = self.over_time.median_psr_db;
        let (db, what) = match b.zip(a) {
            Some((b, a)) => (b - a, "peak to loudness, median"),
            None => (self.difference.plr_db?, "peak to loudness"),
        };
        Some((db.abs() / DYNAMICS_DB, format!("is {:.1} dB {} ({what})", db.abs(), openness(db))))
    }

    fn range_remark(&self) -> Option<Remark> {
        let lu = self.difference.loudness_range_lu?;
        let text = format!("has {:.1} LU {} loudness range", lu.abs(), if lu > 0.0 { "more" } else { "less" });
        Some((lu.abs() / RANGE_LU, text))
    }

    /// Width of the whole, or of the place where it differs most if the whole does not tell.
    fn width_remark(&self) -> Option<Remark> {
        let words = |db: f64| format!("is {:.1} dB {}", db.abs(), if db > 0.0 { "wider" } else { "narrower" });
        let whole = self.width_difference_db.filter(|db| db.abs() >= WIDTH_DB);
        if let Some(db) = whole {
            return Some((db.abs() / WIDTH_DB, format!("{} (side to mid)", words(db))));
        }
        let bands = self.width_third_octave_db.iter().enumerate();
        let difference = |(index, band): (usize, &BandWidth)| {
            (band.hz, band.audible_difference_db().filter(|_| self.is_heard(index)))
        };
        let bands: Vec<_> = bands.map(difference).collect();
        let place = regions(&bands, BAND_WIDTH_DB, 1).into_iter().next()?;
        Some((place.db.abs() / BAND_WIDTH_DB, format!("{} {} (side to mid)", words(place.db), place.place())))
    }

    fn onset_remark(&self) -> Option<Remark> {
        let db = self.over_time.onset_difference_db?;
        let text = format!("has {:.1} dB {} onsets", db.abs(), if db > 0.0 { "sharper" } else { "softer" });
        Some((db.abs() / ONSET_DB, text))
    }
}

/// Whether a third octave is heard: over the threshold of hearing with the programme's loudness at
/// [`LISTENING_DB_SPL`], and not too far under the strongest band.
pub(crate) fn is_heard(measures: &Measures, band: usize) -> bool {
    let bands = &measures.third_octave_db;
    let Some((hz, db)) = bands.get(band).and_then(|(hz, db)| Some((*hz, (*db)?))) else { return false };
    let Some(lufs) = measures.integrated_lufs else { return false };
    let strongest = bands.iter().filter_map(|(_, db)| *db).fold(f64::MIN, f64::max);
    let over_threshold = db - lufs + LISTENING_DB_SPL > contour_db(THRESHOLD_PHON, hz);
    over_threshold && db > strongest - AUDIBLE_RANGE_DB && hz <= HIGHEST_HZ
}

fn openness(db: f64) -> &'static str {
    if db > 0.0 { "more open" } else { "denser" }
}

/// `one`, `one and two`, `one, two and three`.
pub(crate) fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
