//! Ballots against published tables and by exact fractions.

use super::*;
use crate::notes::Round;

/// One-sided probabilities of the sign test with p = 1/2, from memory, as printed to four places in tables of the binomial
/// distribution (for instance Siegel, "Nonparametric Statistics", table D): n, hits, probability.
const SIGN_TEST: &[(usize, usize, f64)] = &[
    (5, 5, 0.0312),
    (8, 7, 0.0352),
    (10, 8, 0.0547),
    (10, 9, 0.0107),
    (12, 10, 0.0193),
    (16, 12, 0.0384),
    (20, 15, 0.0207),
    (25, 18, 0.0216),
];

#[test]
fn tails_agree_with_the_table_of_the_sign_test() {
    for (rounds, hits, printed) in SIGN_TEST {
        let tail = binomial_tail(*rounds, *hits, 2);
        assert!((tail - printed).abs() <= 0.6e-4, "{hits} of {rounds}: {tail}, printed {printed}");
    }
}

#[test]
fn tails_agree_with_exact_fractions() {
    // 3 versions, 4 rounds, at least 3 hits: (4 * 2 + 1) / 81; all tails from no hit on are certain.
    assert!((binomial_tail(4, 3, 3) - 9.0 / 81.0).abs() < 1e-14);
    assert!((binomial_tail(8, 8, 2) - 1.0 / 256.0).abs() < 1e-15);
    assert!((binomial_tail(200, 0, 3) - 1.0).abs() < 1e-9);
    assert_eq!(binomial_tail(0, 0, 2), 1.0);
}

#[test]
fn tails_agree_with_scipy() {
    let Ok(python) = std::env::var("FAIRPRINT_PYTHON") else {
        println!("FAIRPRINT_PYTHON is not set: SciPy is not asked.");
        return;
    };
    let cases: Vec<(usize, usize, usize)> =
        (1..=60).flat_map(|n| [(n, n / 2, 2), (n, n, 2), (n, n / 3 + 1, 3), (n, 2 * n / 3, 4)]).collect();
    let list: Vec<String> = cases.iter().map(|(n, k, of)| format!("({n},{k},{of})")).collect();
    let script = format!(
        "from scipy.stats import binom\nfor n,k,of in [{}]: print(repr(float(binom.sf(k-1,n,1/of))))",
        list.join(",")
    );
    let out = std::process::Command::new(python).args(["-c", &script]).output().unwrap();
    let values: Vec<f64> = String::from_utf8(out.stdout).unwrap().lines().map(|line| line.parse().unwrap()).collect();
    assert_eq!(values.len(), cases.len(), "{}", String::from_utf8_lossy(&out.stderr));
    for ((n, k, of), value) in cases.iter().zip(values) {
        let tail = binomial_tail(*n, *k, *of);
        assert!((tail - value).abs() <= 1e-11 * value.max(1e-6), "{k} of {n} among {of}: {tail}, SciPy {value}");
    }
}

fn ballot(matched: [usize; 2], delivered: [usize; 2]) -> Ballot {
    let names = ["loud".to_owned(), "clean".to_owned()];
    let rounds = |loudness: Loudness, counts: [usize; 2]| {
        let of = |i: usize| Round { loudness, order: names.to_vec(), chose: names[i].clone() };
        (0..2).flat_map(move |i| vec![of(i); counts[i]]).collect::<Vec<_>>()
    };
    let mut all = rounds(Loudness::Matched, matched);
    all.extend(rounds(Loudness::Delivered, delivered));
    Ballot {
        id: "b".to_owned(),
        who: String::new(),
        revision: "r001".to_owned(),
        passage_secs: [0.0, 5.0],
        versions: names.to_vec(),
        trims_db: Default::default(),
        rounds: all,
        written: String::new(),
    }
}

#[test]
fn a_preference_for_loudness_does_not_outlive_matching() {
    let verdict = verdict(&ballot([4, 4], [8, 0]));
    assert_eq!(verdict.matched.favourite, None);
    assert!(verdict.delivered.preferred && verdict.survives_matching == Some(false), "{verdict:?}");
}

#[test]
fn a_preference_for_sound_does() {
    let verdict = verdict(&ballot([8, 0], [8, 0]));
    assert_eq!(verdict.survives_matching, Some(true));
    let other_way = super::verdict(&ballot([0, 8], [8, 0]));
    assert_eq!(other_way.survives_matching, Some(false), "the other one, once matched");
}

#[test]
fn six_of_eight_is_no_preference_and_nothing_is_claimed() {
    let verdict = verdict(&ballot([6, 2], [0, 0]));
    // Two-sided sign test, n = 8, 6 hits: 0.2891 (exactly 74/256).
    let p = verdict.matched.probability.unwrap();
    assert!((2.0 * p - 74.0 / 256.0).abs() < 1e-12 && !verdict.matched.preferred);
    assert_eq!((verdict.survives_matching, verdict.delivered.probability), (None, None));
}
