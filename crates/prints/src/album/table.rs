//! The table of a record: what stands beside what, and which song falls out of the row.

use measure::Standing;
use serde::Serialize;
use units::{Problem, Severity, db_from_power, gain_from_db};

use crate::history::PastMeasures;

/// A song on the record.
#[derive(Debug, Serialize)]
pub struct Row {
    /// Its place, from 1.
    pub number: usize,
    /// Its title.
    pub title: String,
    /// The revision that was taken.
    pub revision: String,
    /// Its length.
    pub secs: f64,
    /// Name of its file in the revision.
    pub file: String,
    /// What stands beside those of the other songs.
    pub figures: Figures,
    /// Whether its set may go out.
    pub finished: bool,
    #[serde(skip)]
    pub(super) rate_hz: u32,
    #[serde(skip)]
    pub(super) format: String,
    #[serde(skip)]
    pub(super) artist: String,
}

/// Loudness, dynamics, tone and space of a song.
#[derive(Clone, Debug, Serialize)]
pub struct Figures {
    /// Integrated loudness.
    pub integrated_lufs: Option<f64>,
    /// Loudness range.
    pub loudness_range_lu: Option<f64>,
    /// True peak.
    pub true_peak_dbtp: Option<f64>,
    /// True peak less integrated loudness.
    pub plr_db: Option<f64>,
    /// Level below 250 Hz against that from 250 Hz to 4 kHz.
    pub low_db: Option<f64>,
    /// Level above 4 kHz against that from 250 Hz to 4 kHz.
    pub high_db: Option<f64>,
    /// Correlation of left and right.
    pub correlation: Option<f64>,
}

/// Edges of the three ranges of tone; common practice, no source.
const TONE_EDGES_HZ: [f64; 2] = [250.0, 4000.0];

impl Figures {
    /// From what was measured of a file.
    pub(super) fn of(measures: &PastMeasures) -> Self {
        let power_of = |db: f64| {
            let gain = gain_from_db(db);
            gain * gain
        };
        let power = |from: f64, to: f64| -> f64 {
            let within = measures.third_octave_db.iter().filter(|(hz, _)| (from..to).contains(hz));
            within.filter_map(|(_, db)| db.map(power_of)).sum()
        };
        let [low, high] = TONE_EDGES_HZ;
        let middle = power(low, high);
        let against = |part: f64| (part > 0.0 && middle > 0.0).then(|| db_from_power(part / middle));
        Self {
            integrated_lufs: measures.integrated_lufs,
            loudness_range_lu: measures.loudness_range_lu,
            true_peak_dbtp: measures.true_peak_dbtp,
            plr_db: measures.plr_db,
            low_db: against(power(0.0, low)),
            high_db: against(power(high, f64::INFINITY)),
            correlation: measures.correlation,
        }
    }

    /// What a list of songs tells of them.
    pub(super) fn in_words(&self) -> String {
        let figure = |value: Option<f64>, unit: &str| value.map(|value| format!("{value:.1} {unit}"));
        let figures = [
            figure(self.integrated_lufs, "LUFS"),
            figure(self.loudness_range_lu, "LU range"),
            figure(self.true_peak_dbtp, "dBTP"),
        ];
        figures.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

/// A quantity, how far a song may lie from the middle of the others before it is worth a word, and the words for more
/// and less of it. Common practice, no source.
struct Quantity {
    of: fn(&Figures) -> Option<f64>,
    far: f64,
    places: usize,
    more: &'static str,
    less: &'static str,
}

const QUANTITIES: [Quantity; 6] = [
    Quantity { of: |f| f.integrated_lufs, far: 1.5, places: 1, more: "LU louder", less: "LU softer" },
    Quantity {
        of: |f| f.loudness_range_lu,
        far: 4.0,
        places: 1,
        more: "LU wider in range",
        less: "LU narrower in range",
    },
    Quantity {
        of: |f| f.plr_db,
        far: 3.0,
        places: 1,
        more: "dB more between loudness and peaks",
        less: "dB less between loudness and peaks",
    },
    Quantity {
        of: |f| f.low_db,
        far: 3.0,
        places: 1,
        more: "dB heavier below 250 Hz",
        less: "dB lighter below 250 Hz",
    },
    Quantity { of: |f| f.high_db, far: 3.0, places: 1, more: "dB brighter above 4 kHz", less: "dB darker above 4 kHz" },
    Quantity {
        of: |f| f.correlation,
        far: 0.3,
        places: 2,
        more: "in correlation nearer to mono",
        less: "in correlation wider",
    },
];

/// Songs of which a quantity lies far from the median of all others. Of two songs neither is the odd one.
pub(super) fn outliers(songs: &[Row]) -> Vec<Problem> {
    let mut found = Vec::new();
    if songs.len() < 3 {
        return found;
    }
    for (index, row) in songs.iter().enumerate() {
        let others = || songs.iter().enumerate().filter(move |(other, _)| *other != index).map(|(_, row)| &row.figures);
        let words: Vec<String> = QUANTITIES
            .iter()
            .filter_map(|quantity| {
                let standing = Standing::of((quantity.of)(&row.figures), others().map(quantity.of));
                let away = standing.here? - standing.set?[1];
                let words = if away > 0.0 { quantity.more } else { quantity.less };
                (away.abs() > quantity.far).then(|| format!("{:.*} {words}", quantity.places, away.abs()))
            })
            .collect();
        if !words.is_empty() {
            let message = format!("Against the middle of the other songs it is {}.", words.join(", "));
            let remedy = "Listen to it between its neighbours; a song may stand apart on purpose.".to_owned();
            found.push(Problem::new(Severity::Note, "stands-apart", &row.title, message, remedy));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(number: usize, lufs: f64, low_db: f64) -> Row {
        let figures = Figures {
            integrated_lufs: Some(lufs),
            loudness_range_lu: Some(6.0),
            true_peak_dbtp: Some(-1.0),
            plr_db: Some(9.0),
            low_db: Some(low_db),
            high_db: None,
            correlation: Some(0.7),
        };
        Row {
            number,
            title: format!("song {number}"),
            revision: "r001".to_owned(),
            secs: 200.0,
            file: String::new(),
            figures,
            finished: true,
            rate_hz: 48_000,
            format: String::new(),
            artist: String::new(),
        }
    }

    #[test]
    fn the_odd_song_is_named_and_the_others_are_not() {
        let songs = [row(1, -10.0, 2.0), row(2, -10.4, 1.0), row(3, -12.6, 5.5), row(4, -9.8, 1.5)];
        let found = outliers(&songs);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].at, "song 3");
        assert!(found[0].message.contains("2.6 LU softer") && found[0].message.contains("4.0 dB heavier"), "{found:?}");
        assert!(outliers(&songs[1..3]).is_empty(), "of two, neither is the odd one");
    }

    #[test]
    fn tone_is_power_in_three_ranges() {
        // Two bands of 0 dB below 250 Hz are 3.01 dB over one of 0 dB in the middle; nothing is above.
        let third_octave_db = vec![(100.0, Some(0.0)), (200.0, Some(0.0)), (1000.0, Some(0.0)), (8000.0, None)];
        let figures = Figures::of(&PastMeasures { third_octave_db, ..PastMeasures::default() });
        assert!((figures.low_db.expect("there is low") - 3.0103).abs() < 1e-4);
        assert_eq!(figures.high_db, None);
    }
}
