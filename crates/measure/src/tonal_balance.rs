//! Where a programme stands in a set of recordings: tone by third octave, and dynamics.
//!
//! Third-octave levels are compared at matched loudness: each is taken over the integrated loudness (ITU-R BS.1770) of its
//! own recording. The band of the set is what lies between its least and its most; its middle is the median. A programme
//! outside is not wrong: this says where it stands, and nothing here changes it.

use serde::{Deserialize, Serialize};

use crate::compare::Heard;
use crate::compare::regions::regions;
use crate::compare::sentence::{TONE_DB, is_heard, listed};

/// How far outside the set a figure must lie to be worth a word: loudness, dynamics and width. Common practice, no source.
const LOUDNESS_LU: f64 = 0.3;
const FIGURE_DB: f64 = 0.7;
/// Places of the spectrum in a sentence.
const MOST_PLACES: usize = 3;

/// A figure of a programme among those of a set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Standing {
    /// Of the programme.
    pub here: Option<f64>,
    /// Least, median and most of the set, of the recordings that have the figure.
    pub set: Option<[f64; 3]>,
    /// How far it lies above the most (positive) or below the least (negative); 0 within.
    pub outside: Option<f64>,
}

impl Standing {
    /// A figure among others.
    #[must_use]
    pub fn of(here: Option<f64>, set: impl IntoIterator<Item = Option<f64>>) -> Self {
        let mut values: Vec<f64> = set.into_iter().flatten().collect();
        values.sort_by(f64::total_cmp);
        let middle = values.len() / 2;
        let set = (!values.is_empty()).then(|| {
            let median = f64::midpoint(values[middle], values[(values.len() - 1) / 2]);
            [values[0], median, values[values.len() - 1]]
        });
        let outside = here.zip(set).map(|(here, [least, _, most])| (here - most).max(0.0) + (here - least).min(0.0));
        Self { here, set, outside }
    }
}

/// A programme among a set of recordings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TonalBalance {
    /// Third-octave levels over integrated loudness, with their nominal centres.
    pub third_octave_db: Vec<(f64, Standing)>,
    /// Integrated loudness as it stands.
    pub integrated_lufs: Standing,
    /// Loudness range.
    pub loudness_range_lu: Standing,
    /// True peak less integrated loudness.
    pub plr_db: Standing,
    /// Median peak to short-term loudness.
    pub psr_db: Standing,
    /// Median crest of three seconds.
    pub crest_db: Standing,
    /// Sharpness of attacks.
    pub onset_sharpness_db: Standing,
    /// Side over mid.
    pub width_db: Standing,
    /// Where it lies outside the set, in one sentence.
    pub statement: String,
}

/// Where a programme stands in a set.
#[must_use]
pub fn tonal_balance(here: &Heard, set: &[Heard]) -> TonalBalance {
    let standing = |of: &dyn Fn(&Heard) -> Option<f64>| Standing::of(of(here), set.iter().map(of));
    let bands = here.measured.measures.third_octave_db.iter().enumerate();
    let mut balance = TonalBalance {
        third_octave_db: bands.map(|(band, (hz, _))| (*hz, standing(&|heard| over_loudness_db(heard, band)))).collect(),
        integrated_lufs: standing(&|heard| heard.measured.measures.integrated_lufs),
        loudness_range_lu: standing(&|heard| heard.measured.measures.loudness_range_lu),
        plr_db: standing(&|heard| heard.measured.measures.plr_db),
        psr_db: standing(&|heard| heard.course.median_psr_db()),
        crest_db: standing(&|heard| heard.course.median_crest_db()),
        onset_sharpness_db: standing(&|heard| heard.course.onset_sharpness_db()),
        width_db: standing(&|heard| heard.measured.stereo.width_db),
        statement: String::new(),
    };
    balance.statement = balance.sentence(set.len());
    balance
}

/// Level of a band over the recording's loudness; none where it is too soft to be heard.
fn over_loudness_db(heard: &Heard, band: usize) -> Option<f64> {
    let measures = &heard.measured.measures;
    let db = measures.third_octave_db.get(band)?.1.filter(|_| is_heard(measures, band))?;
    Some(db - measures.integrated_lufs?)
}

impl TonalBalance {
    fn sentence(&self, count: usize) -> String {
        let (Some(_), Some(set)) = (self.integrated_lufs.here, self.integrated_lufs.set) else {
            return "It or the set is silent or too short to compare.".to_owned();
        };
        let [one, whole, beyond] = if count == 1 {
            ["the reference", "with the reference", "against it"]
        } else {
            ["any of them", "within the set", "it goes beyond all of them"]
        };
        let remarks = self.remarks();
        let loudness = match self.integrated_lufs.outside {
            Some(lu) if lu >= LOUDNESS_LU => format!("It is {lu:.1} LU louder than {one}"),
            Some(lu) if lu <= -LOUDNESS_LU => format!("It is {:.1} LU quieter than {one}", -lu),
            _ if count == 1 => "It is as loud as the reference".to_owned(),
            _ => format!("Its loudness lies within the set ({:.1} to {:.1} LUFS)", set[0], set[2]),
        };
        if remarks.is_empty() {
            return format!("{loudness}; at matched loudness it stands {whole} in tone, density and width.");
        }
        format!("{loudness}; at matched loudness {beyond}: {}.", listed(&remarks))
    }

    /// What lies outside the set, in words.
    fn remarks(&self) -> Vec<String> {
        let bands: Vec<_> = self.third_octave_db.iter().map(|(hz, standing)| (*hz, standing.outside)).collect();
        let places = regions(&bands, TONE_DB, MOST_PLACES);
        let tone = places.iter().map(|place| {
            format!("{:.1} dB {} {}", place.db.abs(), if place.db > 0.0 { "more" } else { "less" }, place.place())
        });
        let figure = |standing: &Standing, [more, less]: [&str; 2]| {
            let outside = standing.outside.filter(|outside| outside.abs() >= FIGURE_DB)?;
            Some(format!("{:.1} dB {}", outside.abs(), if outside > 0.0 { more } else { less }))
        };
        let density = ["more open (peak to loudness, median)", "denser (peak to loudness, median)"];
        let width = ["wider (side to mid)", "narrower (side to mid)"];
        tone.chain(figure(&self.psr_db, density)).chain(figure(&self.width_db, width)).collect()
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use units::Frame;

    use super::*;
    use crate::compare::Ear;
    use crate::spectrum::{THIRD_OCTAVES_HZ, exact_centre_hz};

    const RATE_HZ: f64 = 48_000.0;

    /// Tones at the exact centres of 100 Hz, 1 kHz and 8 kHz, of these levels in dB.
    fn recording(levels_db: [f64; 3], gain_db: f64) -> Heard {
        let centre = |nominal: f64| exact_centre_hz(THIRD_OCTAVES_HZ.iter().position(|hz| *hz == nominal).unwrap());
        let tones = [100.0, 1000.0, 8000.0].map(centre);
        let frame = |n: usize| -> Frame {
            let time = n as f64 / RATE_HZ;
            let tone = |(hz, db): (&f64, f64)| 0.05 * units::gain_from_db(db + gain_db) * libm::sin(TAU * hz * time);
            [tones.iter().zip(levels_db).map(tone).sum(); 2]
        };
        let mut ear = Ear::new(RATE_HZ);
        ear.push(&(0..5 * 48_000).map(frame).collect::<Vec<_>>());
        ear.finish()
    }

    #[test]
    fn the_band_of_a_set_is_what_lies_between_its_edges() {
        // By hand: least, median and most of 2, -1, 4 are -1, 2, 4; of four the median lies between the middle two.
        let standing = Standing::of(Some(5.5), [Some(2.0), None, Some(-1.0), Some(4.0)]);
        assert_eq!((standing.set, standing.outside), (Some([-1.0, 2.0, 4.0]), Some(1.5)));
        assert_eq!(Standing::of(Some(-3.0), [-1.0, 1.0, 2.0, 8.0].map(Some)).set, Some([-1.0, 1.5, 8.0]));
        assert_eq!(Standing::of(Some(-3.0), [Some(-1.0), Some(1.0)]).outside, Some(-2.0));
        assert_eq!(Standing::of(Some(0.5), [Some(-1.0), Some(1.0)]).outside, Some(0.0));
        assert_eq!(Standing::of(Some(0.5), [None]), Standing { here: Some(0.5), set: None, outside: None });
    }

    #[test]
    fn edges_are_those_of_the_recordings_at_matched_loudness() {
        // The recordings' own gains differ by 18 dB; at matched loudness only their tone does. Levels over loudness by hand
        // from the filter of BS.1770-5, Annex 1, which weighs the three tones by -1.133, 0.698 and 4.039 dB (its
        // coefficients in SciPy's `freqz`).
        let levels = [[0.0, 0.0, -6.0], [3.0, 0.0, -6.0], [-2.0, 0.0, -6.0]];
        let set: Vec<Heard> =
            levels.into_iter().zip([-9.0, 0.0, 9.0]).map(|(tone, gain)| recording(tone, gain)).collect();
        let balance = tonal_balance(&recording([6.0, 0.0, -6.0], 3.0), &set);
        let table = [
            (100.0, -3.2013, [-7.9309, -6.4376, -4.5670], 1.3657),
            (1000.0, -9.2013, [-7.5670, -6.4376, -5.9309], -1.6343),
            (8000.0, -15.2013, [-13.5670, -12.4376, -11.9309], -1.6343),
        ];
        for (hz, here, edges, outside) in table {
            let found = balance.third_octave_db.iter().find(|(centre, _)| *centre == hz).unwrap().1;
            let near = |value: f64, expected: f64| (value - expected).abs() < 0.02;
            assert!(near(found.here.unwrap(), here) && near(found.outside.unwrap(), outside), "{hz}: {found:?}");
            assert!(
                found.set.unwrap().into_iter().zip(edges).all(|(edge, by_hand)| near(edge, by_hand)),
                "{hz}: {found:?}"
            );
        }
        assert_eq!(balance.integrated_lufs.outside, Some(0.0), "{:?}", balance.integrated_lufs);
        assert!(balance.statement.contains("it goes beyond all of them: 1.5 dB more at"), "{}", balance.statement);
    }

    #[test]
    fn one_of_the_set_stands_within_it() {
        let set = [recording([0.0; 3], 0.0), recording([4.0, 0.0, 2.0], -3.0)];
        let balance = tonal_balance(&set[0].clone(), &set);
        assert!(balance.third_octave_db.iter().all(|(_, standing)| standing.outside.is_none_or(|db| db == 0.0)));
        assert!(
            balance.statement.ends_with("it stands within the set in tone, density and width."),
            "{}",
            balance.statement
        );
        let silence = Ear::new(RATE_HZ).finish();
        assert!(tonal_balance(&silence, &set).statement.contains("silent"));
        let louder = tonal_balance(&recording([0.0; 3], 6.0), &set[..1]);
        let expected = "It is 6.0 LU louder than the reference; at matched loudness it stands with the reference";
        assert!(louder.statement.starts_with(expected), "{}", louder.statement);
    }
}
