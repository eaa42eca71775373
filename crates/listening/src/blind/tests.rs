//! Blind tests against the published list of least right answers, by closed form, and against SciPy.

use super::*;

/// Least right answers for significance at 0.05, 0.01 and 0.001, one-sided, p = 1/2: the list printed in textbooks of
/// sensory testing for paired comparison and duo-trio tests (for instance Meilgaard, Civille and Carr, "Sensory Evaluation
/// Techniques", table T10, as far as it is remembered); 0 where no count reaches it.
const LEAST: &[(usize, [usize; 3])] = &[
    (5, [5, 0, 0]),
    (7, [7, 7, 0]),
    (8, [7, 8, 0]),
    (10, [9, 10, 10]),
    (12, [10, 11, 12]),
    (16, [12, 14, 15]),
    (20, [15, 16, 18]),
    (25, [18, 19, 21]),
    (30, [20, 22, 24]),
    (50, [32, 34, 37]),
    (100, [59, 63, 66]),
];

fn test(right: usize, wrong: usize, planned: usize) -> BlindTest {
    let round = |answer| Round { x: Side::A, answer };
    let rounds = [vec![round(Side::A); right], vec![round(Side::B); wrong]].concat();
    BlindTest {
        a: "for mastering".to_owned(),
        b: "for approval".to_owned(),
        passage_secs: [8.0, 20.0],
        turned_down_db: [0.0, -5.8],
        planned,
        rounds,
        written: "2026-11-27T16:20:00Z".to_owned(),
    }
}

#[test]
fn least_right_answers_are_those_of_the_published_list() {
    for (rounds, listed) in LEAST {
        for (level, least) in [0.05, 0.01, 0.001].into_iter().zip(listed) {
            let found = (0..=*rounds).find(|right| tail(*rounds, *right, 0.5) < level).unwrap_or(0);
            assert_eq!(found, *least, "{rounds} rounds at {level}");
        }
        assert_eq!(least_right(*rounds).unwrap_or(0), listed[0]);
    }
    let [fewest, _] = ROUNDS;
    assert!(least_right(fewest).is_some() && least_right(fewest - 1).is_none());
}

#[test]
fn verdicts_are_exact_binomials() {
    // 12 of 16: (1820 + 560 + 120 + 16 + 1) / 65536, by hand.
    let heard = test(12, 4, 16).verdict().expect("it is whole");
    assert!((heard.probability - 2517.0 / 65536.0).abs() < 1e-14 && heard.heard, "{heard:?}");
    // 11 of 16: 4368 more; 0.1051.
    let not = test(11, 5, 16).verdict().expect("it is whole");
    assert!((not.probability - 6885.0 / 65536.0).abs() < 1e-14 && !not.heard, "{not:?}");
    // A test that was left says nothing, however good it looked.
    assert_eq!(test(12, 0, 16).verdict(), None);
    assert_eq!(test(12, 0, 16).sentence(), "Left after 12 of 16 rounds: nothing follows from it.");
}

#[test]
fn it_says_in_words_what_it_found() {
    let said = test(13, 3, 16).sentence();
    assert_eq!(said, "Right in 13 of 16 rounds; guessing does as well in 1.1 of 100 tests. The difference was heard.");
    let said = test(8, 8, 16).sentence();
    // The power of 16 rounds where the true rate is 0.7 is 0.450.
    assert!(said.contains("60 of 100 tests") && said.ends_with("is missed by 55 of 100 such tests."), "{said}");
    assert!(test(25, 0, 25).sentence().contains("fewer than 0.1 of 100"));
}

#[test]
fn probabilities_and_power_agree_with_scipy() {
    let Ok(python) = std::env::var("FAIRPRINT_PYTHON") else {
        println!("FAIRPRINT_PYTHON is not set: SciPy is not asked.");
        return;
    };
    let script = "from scipy.stats import binomtest, binom\n\
        for n in (5, 8, 10, 16, 25, 40):\n\
        \x20   least = next(k for k in range(n + 1) if binom.sf(k - 1, n, 0.5) < 0.05)\n\
        \x20   for k in range(n + 1):\n\
        \x20       p = binomtest(k, n, 0.5, alternative='greater').pvalue\n\
        \x20       print(n, k, repr(float(p)), repr(float(1 - binom.sf(least - 1, n, 0.7))))";
    let out = std::process::Command::new(python).args(["-c", script]).output().expect("it runs");
    let text = String::from_utf8(out.stdout).expect("text");
    let mut lines = 0;
    for line in text.lines() {
        let words: Vec<f64> = line.split(' ').map(|word| word.parse().expect("a number")).collect();
        let (rounds, right) = (words[0] as usize, words[1] as usize);
        let found = test(right, rounds - right, rounds).verdict().expect("it is whole");
        assert!(
            (found.probability - words[2]).abs() < 1e-12 && (found.missed - words[3]).abs() < 1e-9,
            "{line}: {found:?}"
        );
        lines += 1;
    }
    assert_eq!(lines, 6 + 9 + 11 + 17 + 26 + 41, "{}", String::from_utf8_lossy(&out.stderr));
}

#[test]
fn tests_are_kept_beside_the_sheet_one_after_the_other() {
    let folder = tempfile::tempdir().expect("a folder");
    let sheet = folder.path().join("sheet.toml");
    assert!(load(&sheet).expect("none is there").tests.is_empty());
    keep(&sheet, &test(12, 4, 16)).expect("it can be written");
    keep(&sheet, &test(3, 1, 16)).expect("it can be written");
    let found = load(&sheet).expect("it is there");
    assert_eq!(found.tests, [test(12, 4, 16), test(3, 1, 16)]);
    std::fs::write(path_of(&sheet), "{ \"fairprint_blind\": 2, \"tests\": [] }").expect("written");
    assert!(keep(&sheet, &test(1, 1, 16)).is_err(), "what is not understood is not written over");
    assert!(std::fs::read_to_string(path_of(&sheet)).expect("it is there").contains('2'));
}
