//! Mains hum: lines at multiples of 50 or 60 Hz that stand through the whole recording.
//!
//! Notes come and go, hum stays. So each line is read at its softest: at the tenth of the stretches in which it is
//! weakest. A line counts if it stands 12 dB out of its surroundings, read in the same way, and keeps its level there
//! within 6 dB. Mains keep their frequency within one per cent (EN 50160); the nearest notes of a keyboard at A = 440 Hz
//! are 1 Hz and more away. Limits: common practice, no source.

use serde::{Deserialize, Serialize};

use super::low_end::Stretch;

/// Frequencies of mains.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// Multiples that are looked at.
const LINES: usize = 6;
/// How far a line may lie from its multiple, in hertz for each multiple, and besides.
const DRIFT_HZ: [f64; 2] = [0.15, 0.25];
/// Surroundings of a line, in hertz from it.
const BESIDE_HZ: [f64; 2] = [1.8, 5.0];
/// Least stretches that sound, about six seconds.
const LEAST_STRETCHES: usize = 5;
/// Share of the stretches, from the softest, at which lines are read.
const SOFT_SHARE: f64 = 0.1;
/// Power of a line over its surroundings.
const STANDS_OUT: f64 = 16.0;
/// Power of a line over the bins a hertz away: a slope or a note beside it is no line.
const NARROW: f64 = 4.0;
/// Power of a line at the soft share over its least.
const STEADY: f64 = 4.0;

/// A hum.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hum {
    /// Frequency of the mains: 50 or 60.
    pub mains_hz: f64,
    /// Peak level of the sum of its lines.
    pub level_dbfs: f64,
    /// Multiples of the mains that stand out.
    pub multiples: Vec<usize>,
}

/// Power of each line, of its surroundings, and of its foot, in one stretch.
type Lines = [[[f64; 3]; LINES]; 2];

/// Streaming finder of hum.
#[derive(Clone, Default)]
pub(super) struct HumFinder {
    stretches: Vec<Lines>,
}

impl HumFinder {
    pub fn take(&mut self, stretch: &Stretch<'_>) {
        if stretch.sounds {
            let line = |mains_hz: f64| std::array::from_fn(|index| line(stretch, mains_hz, index + 1));
            self.stretches.push(MAINS_HZ.map(line));
        }
    }

    /// What hums. The mains with more lines wins.
    pub fn finish(&self) -> Option<Hum> {
        if self.stretches.len() < LEAST_STRETCHES {
            return None;
        }
        let hum = |mains: usize| {
            let standing = (0..LINES).filter_map(|index| Some((index + 1, self.standing(mains, index)?)));
            let lines: Vec<(usize, f64)> = standing.collect();
            // The mains itself, or its double, as rectifiers give it.
            lines.iter().any(|(multiple, _)| *multiple <= 2).then(|| Hum {
                mains_hz: MAINS_HZ[mains],
                level_dbfs: units::db_from_power(lines.iter().map(|(_, power)| power).sum()),
                multiples: lines.iter().map(|(multiple, _)| *multiple).collect(),
            })
        };
        let found = [hum(0), hum(1)].into_iter().flatten();
        found.max_by(|a, b| {
            (a.multiples.len(), a.level_dbfs)
                .partial_cmp(&(b.multiples.len(), b.level_dbfs))
                .unwrap_or(std::cmp::Ordering::Equal)
        })
    }

    /// Power of a line at its softest, if it stands out.
    fn standing(&self, mains: usize, index: usize) -> Option<f64> {
        let sorted = |which: usize| {
            let mut powers: Vec<f64> = self.stretches.iter().map(|lines| lines[mains][index][which]).collect();
            powers.sort_by(f64::total_cmp);
            powers
        };
        let (line, beside, foot) = (sorted(0), sorted(1), sorted(2));
        let at = (line.len() as f64 * SOFT_SHARE) as usize;
        let stands_out = line[at] > STANDS_OUT * beside[at] && line[at] > NARROW * foot[at];
        let is_hum = stands_out && line[at] < STEADY * line[0];
        is_hum.then_some(line[at])
    }
}

/// Power at a multiple of the mains, the mean around it, and the most a hertz away.
fn line(stretch: &Stretch<'_>, mains_hz: f64, multiple: usize) -> [f64; 3] {
    let hz = mains_hz * multiple as f64;
    let drift_hz = DRIFT_HZ[0] * multiple as f64 + DRIFT_HZ[1];
    let range = |from_hz: f64, to_hz: f64| &stretch.power[stretch.bin(from_hz)..=stretch.bin(to_hz)];
    let power = range(hz - drift_hz, hz + drift_hz).iter().fold(0.0f64, |most, x| most.max(*x));
    let [near, far] = BESIDE_HZ.map(|away| away + drift_hz);
    let (below, above) = (range(hz - far, hz - near), range(hz + near, hz + far));
    let beside = (below.iter().sum::<f64>() + above.iter().sum::<f64>()) / (below.len() + above.len()) as f64;
    let foot = stretch.power[stretch.bin(hz - drift_hz - 1.0)].max(stretch.power[stretch.bin(hz + drift_hz + 1.0)]);
    [power, beside, foot]
}
