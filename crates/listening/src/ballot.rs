//! What a blind ballot says: counts, the exact binomial probability, and whether a preference outlives matched loudness.

use serde::Serialize;

use crate::notes::{Ballot, Loudness};

/// A preference counts if chance would give one as clear in at most so many of all ballots. Common practice, no source.
const CHANCE: f64 = 0.05;

/// The count of one kind of rounds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Count {
    /// Rounds.
    pub rounds: usize,
    /// How often each version was chosen, in the order of the ballot's versions.
    pub chosen: Vec<(String, usize)>,
    /// The version that was chosen most often; none for a tie or no round.
    pub favourite: Option<String>,
    /// Probability that a listener without a preference chooses this version at least so often: the binomial tail.
    pub probability: Option<f64>,
    /// Whether that is a preference: chance would favour any one of the versions so clearly in at most a twentieth of
    /// all ballots (the probability times the number of versions: exact for two, an upper bound for more).
    pub preferred: bool,
}

/// What a ballot says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// All versions at the same loudness.
    pub matched: Count,
    /// Each as delivered.
    pub delivered: Count,
    /// Whether a preference as delivered is there at the same loudness too; none if there was no such preference.
    pub survives_matching: Option<bool>,
}

/// Counts a ballot.
#[must_use]
pub fn verdict(ballot: &Ballot) -> Verdict {
    let (matched, delivered) = (count(ballot, Loudness::Matched), count(ballot, Loudness::Delivered));
    let survives_matching = delivered.preferred.then(|| matched.preferred && matched.favourite == delivered.favourite);
    Verdict { matched, delivered, survives_matching }
}

fn count(ballot: &Ballot, loudness: Loudness) -> Count {
    let rounds: Vec<_> = ballot.rounds.iter().filter(|round| round.loudness == loudness).collect();
    let times = |version: &String| rounds.iter().filter(|round| round.chose == *version).count();
    let chosen: Vec<(String, usize)> =
        ballot.versions.iter().map(|version| (version.clone(), times(version))).collect();
    let most = chosen.iter().map(|(_, times)| *times).max().unwrap_or(0);
    let mut best = chosen.iter().filter(|(_, times)| *times == most && most > 0);
    let favourite = best.next().filter(|_| best.next().is_none()).map(|(version, _)| version.clone());
    let probability = favourite.as_ref().map(|_| binomial_tail(rounds.len(), most, chosen.len()));
    let preferred = probability.is_some_and(|p| p * chosen.len() as f64 <= CHANCE);
    Count { rounds: rounds.len(), chosen, favourite, probability, preferred }
}

/// Probability of at least `least` hits in `rounds` choices among `of` equal things.
#[must_use]
pub fn binomial_tail(rounds: usize, least: usize, of: usize) -> f64 {
    tail(rounds, least, 1.0 / of as f64)
}

/// Probability of at least `least` hits in `rounds` tries that each hit with the probability `p`: the sum over k from
/// `least` of C(n, k) p^k (1 - p)^(n-k).
#[must_use]
pub fn tail(rounds: usize, least: usize, p: f64) -> f64 {
    let n = rounds as f64;
    let log_of_term = |k: f64| {
        let choose = libm::lgamma(n + 1.0) - libm::lgamma(k + 1.0) - libm::lgamma(n - k + 1.0);
        let missed = if n > k { (n - k) * libm::log1p(-p) } else { 0.0 };
        choose + k * libm::log(p) + missed
    };
    let tail: f64 = (least..=rounds).map(|k| libm::exp(log_of_term(k as f64))).sum();
    tail.min(1.0)
}

impl Count {
    /// In one sentence, or none without a round.
    #[must_use]
    pub fn sentence(&self, loudness: &str) -> Option<String> {
        if self.rounds == 0 {
            return None;
        }
        let times: Vec<String> = self.chosen.iter().map(|(version, times)| format!("{version} {times}")).collect();
        let chance = match (&self.favourite, self.probability) {
            (Some(favourite), Some(p)) => {
                let verdict = if self.preferred { "a preference" } else { "no clear preference" };
                format!("chance alone gives {favourite} as often with a probability of {p:.3}: {verdict}")
            }
            _ => "no preference".to_owned(),
        };
        Some(format!("{loudness}, of {} rounds: {}; {chance}.", self.rounds, times.join(", ")))
    }
}

#[cfg(test)]
mod tests;
