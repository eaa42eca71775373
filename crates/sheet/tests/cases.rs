//! Small sheets with the expected problems written inside: below the line that a problem is about stands a comment
//! with carets under the excerpt, the code, and a part of what the person reads.
//!
//! ```toml
//! leve_db = 3
//! #^^^^^^ unknown-key: Did you mean `level_db`?
//! ```
//!
//! A `#` directly before the carets counts as the first of them, so that column 1 can be marked.

mod fixture;

use std::fmt;
use std::fs;
use std::path::Path;

use units::Problem;

#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Expected {
    line: usize,
    column: usize,
    length: usize,
    code: String,
    text: String,
}

impl fmt::Display for Expected {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}+{} {}: {}", self.line, self.column, self.length, self.code, self.text)
    }
}

fn expectations(text: &str) -> Vec<Expected> {
    let mut subject = 0;
    let mut found = Vec::new();
    for (index, line) in text.lines().enumerate() {
        match expectation(line) {
            Some((column, length, code, text)) => {
                found.push(Expected { line: subject, column, length, code: code.to_owned(), text: text.to_owned() });
            }
            None => subject = index + 1,
        }
    }
    found
}

fn expectation(line: &str) -> Option<(usize, usize, &str, &str)> {
    let comment = line.find('#').filter(|at| line[..*at].trim().is_empty())?;
    let carets = line[comment + 1..].trim_start().trim_start_matches('^');
    let (code, text) = carets.strip_prefix(' ')?.split_once(": ").unwrap_or((carets.trim(), ""));
    let first = line.find('^')?;
    let length = line[first..].len() - line[first..].trim_start_matches('^').len();
    let adjoining = first == comment + 1;
    Some((first + usize::from(!adjoining), length + usize::from(adjoining), code, text))
}

fn reported(text: &str, problem: &Problem) -> Expected {
    let place = problem.place.expect("every problem of a sheet has a place");
    let excerpt = text[place.from..place.to].lines().next().unwrap_or("");
    Expected {
        line: place.line,
        column: place.column,
        length: excerpt.chars().count().max(1),
        code: problem.code.to_owned(),
        text: format!("{} {}", problem.message, problem.remedy),
    }
}

fn check(path: &Path) -> Vec<String> {
    let text = fs::read_to_string(path).expect("the case can be read");
    let (sheet, problems) = sheet::read(&text, fixture::CATALOGUE);
    let mut found: Vec<Expected> = problems.iter().map(|problem| reported(&text, problem)).collect();
    let mut faults = Vec::new();
    if !found.is_sorted_by_key(|problem| (problem.line, problem.column)) {
        faults.push("problems are not in the order of the text".to_owned());
    }
    for expected in expectations(&text) {
        let place = (expected.line, expected.column, expected.length);
        let matches = |f: &Expected| {
            (f.line, f.column, f.length) == place && f.code == expected.code && f.text.contains(&expected.text)
        };
        match found.iter().position(matches) {
            Some(index) => {
                found.remove(index);
            }
            None => faults.push(format!("expected  {expected}")),
        }
    }
    faults.extend(found.iter().map(|problem| format!("reported  {problem}")));
    if sheet.is_none() && problems.is_empty() {
        faults.push("a sheet is withheld without a word".to_owned());
    }
    faults.into_iter().map(|fault| format!("{}  {fault}", path.display())).collect()
}

#[test]
fn every_case_gives_the_problems_written_in_it() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases");
    let mut paths: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    assert!(paths.len() >= 40, "only {} cases", paths.len());
    let faults: Vec<String> = paths.iter().flat_map(|path| check(path)).collect();
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}
