//! What the search for an ending has found: gain and ceiling, and what the codecs made of them.

use serde::{Deserialize, Serialize};

use crate::record::{SolvedRecord, Survived};
use crate::solve;

/// What was found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Answer {
    gain_db: Exact,
    ceiling_dbtp: Option<Exact>,
    /// Codec, encoder and true peak behind it.
    survived: Vec<(String, String, Exact)>,
    tries: usize,
    reached_lufs: Option<Exact>,
}

/// A number by its bits: in decimals it may come back as its neighbour.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Exact(u64);

impl From<f64> for Exact {
    fn from(number: f64) -> Self {
        Self(number.to_bits())
    }
}

impl Exact {
    fn number(self) -> f64 {
        f64::from_bits(self.0)
    }
}

impl Answer {
    /// Gain and ceiling, what the codecs made of the print with them, renders that it took, and the loudness it has.
    pub fn new(
        gain_db: f64,
        ceiling_dbtp: Option<f64>,
        survived: Vec<Survived>,
        tries: usize,
        reached_lufs: Option<f64>,
    ) -> Self {
        let trip = |trip: Survived| (trip.codec, trip.encoder, trip.decoded_dbtp.into());
        Self {
            gain_db: gain_db.into(),
            ceiling_dbtp: ceiling_dbtp.map(Exact::from),
            survived: survived.into_iter().map(trip).collect(),
            tries,
            reached_lufs: reached_lufs.map(Exact::from),
        }
    }

    /// Gain ahead of the limiter.
    pub fn gain_db(&self) -> f64 {
        self.gain_db.number()
    }

    /// Ceiling of the limiter.
    pub fn ceiling_dbtp(&self) -> Option<f64> {
        self.ceiling_dbtp.map(Exact::number)
    }

    /// Loudness with them; none for silence.
    pub fn reached(&self) -> Option<f64> {
        self.reached_lufs.map(Exact::number)
    }

    /// The highest true peak behind any codec.
    pub fn worst_dbtp(&self) -> f64 {
        self.survived.iter().map(|(_, _, peak)| peak.number()).fold(f64::NEG_INFINITY, f64::max)
    }

    /// The ceiling to try next, if one was wanted and a codec broke it.
    pub fn next_ceiling(&self, wanted_dbtp: Option<f64>) -> Option<f64> {
        let (wanted, now) = wanted_dbtp.zip(self.ceiling_dbtp())?;
        solve::next_ceiling(wanted, now, self.worst_dbtp())
    }

    /// The answer for the report.
    pub fn record(self, target_lufs: Option<f64>, target: String) -> SolvedRecord {
        let (gain_db, ceiling_dbtp) = (self.gain_db(), self.ceiling_dbtp());
        let trip =
            |(codec, encoder, peak): (String, String, Exact)| Survived { codec, encoder, decoded_dbtp: peak.number() };
        let survived = self.survived.into_iter().map(trip).collect();
        SolvedRecord { target_lufs, target, gain_db, ceiling_dbtp, survived, tries: self.tries }
    }
}
