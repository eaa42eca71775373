//! Problems as they are found.

use std::cell::{Cell, RefCell};
use std::ops::Range;

use units::{Place, Problem, Severity};

use super::mend::SyntaxFault;
use crate::lines::Lines;
use crate::nearest::nearest;

/// Most problems that one reading reports: beyond that, the rest helps nobody.
const MOST_PROBLEMS: usize = 200;

/// What a check has to say about a value: a stable code, what is the case, what to do.
pub(crate) struct Fault {
    pub code: &'static str,
    pub message: String,
    pub remedy: String,
}

impl Fault {
    pub fn new(code: &'static str, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { code, message: message.into(), remedy: remedy.into() }
    }
}

/// Collects problems and knows the places of a text.
pub(crate) struct Report<'a> {
    lines: Lines<'a>,
    problems: RefCell<Vec<Problem>>,
    left_out: Cell<usize>,
    in_part: Cell<bool>,
}

impl<'a> Report<'a> {
    pub fn new(text: &'a str) -> Self {
        Self {
            lines: Lines::of(text),
            problems: RefCell::new(Vec::new()),
            left_out: Cell::new(0),
            in_part: Cell::new(false),
        }
    }

    /// The place of a range of bytes.
    pub fn place(&self, span: &Range<usize>) -> Place {
        self.lines.place(span)
    }

    /// Adds a failure at a range of bytes.
    pub fn fail(&self, at: &str, span: &Range<usize>, fault: Fault) {
        self.fail_at(at, self.place(span), fault);
    }

    /// Adds a failure at a place.
    pub fn fail_at(&self, at: &str, place: Place, fault: Fault) {
        self.add(Problem::new(Severity::Fail, fault.code, at, fault.message, fault.remedy).at_place(place));
    }

    /// Adds a problem.
    pub fn add(&self, problem: Problem) {
        let may_be_elsewhere = match problem.code {
            "unknown-name" | "no-tempo" => true,
            "missing-key" => problem.at == "sheet",
            _ => false,
        };
        if self.in_part.get() && may_be_elsewhere {
            return;
        }
        let mut problems = self.problems.borrow_mut();
        if problems.len() < MOST_PROBLEMS {
            problems.push(problem);
        } else {
            self.left_out.set(self.left_out.get() + 1);
        }
    }

    /// Adds a fault of the TOML itself. From then on nothing is reported that may be missing only because that part
    /// could not be read.
    pub fn syntax(&self, fault: &SyntaxFault) {
        let message = &fault.message;
        let remedy = if message.starts_with("duplicate key") {
            "Write each key once in its table."
        } else {
            "Look here, or just before, for a missing quote, bracket, comma or equals sign."
        };
        let span = self.lines.whole_word(fault.span.clone());
        self.fail("sheet", &span, Fault::new("syntax", format!("This is not TOML: {message}."), remedy));
        self.in_part.set(true);
    }

    /// "Did you mean" with the nearest of some words, or what there is to choose from.
    pub fn suggestion<'w>(&self, written: &str, words: impl IntoIterator<Item = &'w str> + Clone) -> String {
        if self.problems.borrow().len() >= MOST_PROBLEMS {
            // Nobody will read it.
            return String::new();
        }
        let count = words.clone().into_iter().count();
        match nearest(written, words.clone()) {
            Some(word) => format!("Did you mean `{word}`?"),
            None if count == 0 => "There is none to choose from.".to_owned(),
            None if count <= 16 => format!("There is {}.", listed(words)),
            None => format!("There are {count}, none of them near in spelling."),
        }
    }

    /// The problems, in the order of the text.
    pub fn into_problems(self) -> Vec<Problem> {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|problem| problem.place.map_or(usize::MAX, |place| place.from));
        let left_out = self.left_out.get();
        if left_out > 0 {
            let message = format!("{left_out} more problems are not listed.");
            problems.push(Problem::new(Severity::Fail, "too-many", "sheet", message, "Mend these first.".to_owned()));
        }
        problems
    }
}

/// Words as a list in text.
pub(crate) fn listed<'w>(words: impl IntoIterator<Item = &'w str>) -> String {
    words.into_iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", ")
}
