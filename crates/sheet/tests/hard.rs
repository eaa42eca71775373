//! Sheets that nobody wrote: mutated ones, huge ones, deep ones.

mod fixture;

use std::fmt::Write as _;
use std::time::Duration;

use chance::effort;
use proptest::prelude::*;
use sheet::{Edit, Plain, Step};

const WHOLE: &str = include_str!("cases/whole.toml");
const NOT_WHOLE: &str = include_str!("cases/ride_targets.toml");

/// Pieces of a text: words, numbers, marks.
fn tokens(text: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let is_word = |c: char| c.is_alphanumeric() || c == '_';
        let end = if is_word(first) { rest.find(|c| !is_word(c)).unwrap_or(rest.len()) } else { first.len_utf8() };
        tokens.push(&rest[..end]);
        rest = &rest[end..];
    }
    tokens
}

/// Reads a text and holds what must be true of every reading.
fn read(text: &str) {
    let (sheet, problems) = sheet::read(text, fixture::CATALOGUE);
    assert!(sheet.is_some() || !problems.is_empty(), "withheld without a word:\n{text}");
    for problem in &problems {
        let place = problem.place.expect("every problem has a place");
        assert!(place.from <= place.to && place.to <= text.len() && text.is_char_boundary(place.from), "{problem:?}");
        assert!(!problem.message.is_empty() && !problem.remedy.is_empty(), "{problem:?}");
        let line = text.split('\n').nth(place.line - 1).expect("the line is there");
        assert!(place.column <= line.chars().count() + 1, "{problem:?}");
    }
}

#[derive(Clone, Debug)]
enum Mutation {
    Delete(usize),
    Double(usize),
    Swap(usize, usize),
    Replace(usize, String),
}

fn mutation() -> impl Strategy<Value = Mutation> {
    let word = prop_oneof![
        Just("\"".to_owned()),
        Just("[".to_owned()),
        Just("]".to_owned()),
        Just("{".to_owned()),
        Just("=".to_owned()),
        Just("\n".to_owned()),
        Just("#".to_owned()),
        Just("nan".to_owned()),
        Just("-1e308".to_owned()),
        Just("99999999999999999999".to_owned()),
        Just("'..'".to_owned()),
        Just("send".to_owned()),
        Just("é|\u{1F3B5}".to_owned()),
        "\\PC{0,8}",
    ];
    prop_oneof![
        any::<usize>().prop_map(Mutation::Delete),
        any::<usize>().prop_map(Mutation::Double),
        any::<(usize, usize)>().prop_map(|(a, b)| Mutation::Swap(a, b)),
        (any::<usize>(), word).prop_map(|(at, word)| Mutation::Replace(at, word)),
    ]
}

fn mutated(text: &str, mutations: Vec<Mutation>) -> String {
    let mut tokens: Vec<String> = tokens(text).into_iter().map(str::to_owned).collect();
    for mutation in mutations {
        let count = tokens.len().max(1);
        match mutation {
            Mutation::Delete(at) => drop(tokens.remove(at % count)),
            Mutation::Double(at) => tokens.insert(at % count, tokens[at % count].clone()),
            Mutation::Swap(a, b) => tokens.swap(a % count, b % count),
            Mutation::Replace(at, word) => tokens[at % count] = word,
        }
    }
    tokens.concat()
}

/// Cases of each test: a few, or as many as the environment asks for (`sh bench/soak`).
fn cases() -> u32 {
    std::env::var("FAIRPRINT_MUTATIONS").ok().and_then(|count| count.parse().ok()).unwrap_or(1500)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn mutated_sheets_are_read_or_refused_with_places(
        mutations in proptest::collection::vec(mutation(), 1..6),
        whole in any::<bool>(),
    ) {
        read(&mutated(if whole { WHOLE } else { NOT_WHOLE }, mutations));
    }

    #[test]
    fn changed_bytes_are_read_or_refused_with_places(
        changes in proptest::collection::vec((any::<usize>(), any::<u8>()), 1..8),
    ) {
        let mut bytes = WHOLE.as_bytes().to_vec();
        for (at, byte) in changes {
            let at = at % bytes.len();
            bytes[at] = byte;
        }
        read(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn edits_of_mutated_sheets_give_toml_or_a_reason(
        mutations in proptest::collection::vec(mutation(), 0..3),
        which in 0_usize..8,
        at in 0_usize..4,
    ) {
        let text = mutated(WHOLE, mutations);
        let path = |steps: &[&str]| steps.iter().map(|step| Step::from(*step)).collect::<Vec<_>>();
        let value = Plain::table([("to", "mix".into())]);
        let edit = match which {
            0 => Edit::Set { path: path(&["bus", "crush", "level_db"]), value: Plain::Number(-3.25) },
            1 => Edit::Insert { path: path(&["bus", "band", "sends"]), at, value },
            2 => Edit::Insert { path: path(&["bus"]), at, value },
            3 => Edit::Remove { path: path(&["bus", "crush"]) },
            4 => Edit::Remove { path: [path(&["bus", "main", "chain"]), vec![Step::from(at)]].concat() },
            5 => Edit::Move { path: path(&["stem", "kick"]), to: at },
            6 => Edit::Move { path: path(&["bus", "band", "rides", "pan_percent"]), to: at },
            _ => Edit::Rename { from: "mix".to_owned(), to: "sum".to_owned() },
        };
        if let Ok(after) = edit.apply(&text) {
            prop_assert_ne!(sheet::read(&after, fixture::CATALOGUE).1.first().map(|problem| problem.code), Some("syntax"));
        }
    }
}

fn head() -> String {
    "fairprint = 1\n[song]\ntitle = \"Lantern Weather\"\nrate_hz = 48000\n".to_owned()
}

const PRINT: &str = "[[print]]\nname = \"p\"\nfrom = \"b0\"\nfiles = [{ format = \"wav\" }]\n";

fn timed(text: &str) -> (Option<sheet::Sheet>, Vec<units::Problem>, Duration) {
    let ((sheet, problems), took) = effort::of(|| sheet::read(text, fixture::CATALOGUE));
    (sheet, problems, took)
}

/// Reading takes some tens of milliseconds; the bound, of the processor's time, only catches what grows with the square.
const BOUND: Duration = Duration::from_secs(10);

#[test]
fn ten_thousand_buses_in_a_row_are_read_in_time() {
    let mut text = head() + "[[stem]]\nname = \"s\"\nfile = \"s.wav\"\nto = \"b9999\"\n";
    for index in 0..10_000_usize {
        let _ = write!(text, "[[bus]]\nname = \"b{index}\"\n");
        if index > 0 {
            let _ = writeln!(text, "to = \"b{}\"\nchain = [{{ compressor = {{ ratio = 2 }} }}]", index - 1);
        }
    }
    let (sheet, problems, took) = timed(&(text.clone() + PRINT));
    println!("a row of 10,000 buses, {} kB: {took:?}", text.len() / 1000);
    assert_eq!(problems, []);
    assert_eq!(sheet.map(|sheet| sheet.nodes.len()), Some(10_001));
    assert!(took < BOUND, "{took:?}");

    let looped = text.replacen("name = \"b0\"\n", "name = \"b0\"\nto = \"b9999\"\n", 1);
    let (sheet, problems, took) = timed(&(looped + PRINT));
    println!("the same closed to a loop: {took:?}");
    assert!(sheet.is_none() && took < BOUND, "{took:?}");
    assert_eq!(problems.iter().map(|problem| problem.code).collect::<Vec<_>>(), ["loop"]);
    assert!(problems[0].message.len() < 300, "{}", problems[0].message);
}

#[test]
fn ten_thousand_buses_side_by_side_are_read_in_time() {
    let mut text = head() + "[[bus]]\nname = \"b0\"\n";
    for index in 1..10_000 {
        let _ =
            write!(text, "[[stem]]\nname = \"s{index}\"\nfile = \"s{index}.wav\"\nto = \"b{index}\"\nmute = true\n");
        let _ = write!(text, "[[bus]]\nname = \"b{index}\"\nto = \"b0\"\nsends = [{{ to = \"b0\" }}]\n");
    }
    let (sheet, problems, took) = timed(&(text + PRINT));
    println!("10,000 buses side by side, {} findings: {took:?}", problems.len());
    assert!(sheet.is_some() && took < BOUND, "{took:?}");
    assert_eq!(problems.len(), 2 * 9_999 + 1);
}

#[test]
fn ten_thousand_mistakes_are_told_in_time_and_in_part() {
    let mut text = head();
    for index in 0..10_000 {
        let _ = write!(text, "[[bus]]\nname = \"bus number {index}\"\nto = \"bsu number {index}\"\nlevl_db = 3\n");
    }
    let (sheet, problems, took) = timed(&text);
    println!("20,000 mistakes: {took:?}");
    assert!(sheet.is_none() && took < BOUND, "{took:?}");
    assert_eq!(problems.last().map(|problem| problem.code), Some("too-many"));
    assert!(
        problems.len() < 250 && problems[0].remedy == "Did you mean `level_db`?"
            || problems[1].remedy == "Did you mean `level_db`?"
    );
}

#[test]
fn values_nested_too_deep_are_refused() {
    for (open, close) in [("[", "]"), ("{ a = ", " }")] {
        let text = head() + "x = " + &open.repeat(20_000) + "1" + &close.repeat(20_000) + "\n";
        let (sheet, problems, took) = timed(&text);
        assert!(sheet.is_none() && problems[0].code == "syntax" && took < BOUND, "{took:?} {}", problems[0].message);
    }
}

#[test]
fn the_real_catalogue_can_be_written_down() {
    let catalogue: Vec<&units::Spec> = dsp::CATALOGUE.iter().map(|entry| entry.spec).collect();
    for spec in &catalogue {
        let text = head() + "[[bus]]\nname = \"b0\"\nchain = [{ " + spec.name + " = {} }]\n" + PRINT;
        let (sheet, problems) = sheet::read(&text, &catalogue);
        let sheet = sheet.unwrap_or_else(|| panic!("{}: {problems:?}", spec.name));
        assert_eq!(sheet.nodes[0].chain[0].settings, units::Settings::defaults(spec));
        let wrong = text.replacen("= {} }", "= { nonsense = 1 } }", 1);
        let (sheet, problems) = sheet::read(&wrong, &catalogue);
        assert!(sheet.is_none() && problems[0].code == "unknown-key", "{problems:?}");
    }
    let schema = sheet::schema(&catalogue);
    assert_eq!(schema["$defs"]["link"]["anyOf"].as_array().map(Vec::len), Some(catalogue.len()));
}
