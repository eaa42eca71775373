//! Reading on when part of a text is not TOML.
//!
//! A header starts a block, and a block can be parsed by itself: so a missing bracket in one bus does not hide what is
//! wrong with the next. Blocks that do not parse are blanked; places in the rest stay what they are.

use std::ops::Range;

use toml_edit::TomlError;

use crate::tree::{self, Table};

/// A fault of the TOML itself.
pub(super) struct SyntaxFault {
    pub span: Range<usize>,
    pub message: String,
}

impl SyntaxFault {
    fn new(error: &TomlError, offset: usize) -> Self {
        let span = error.span().unwrap_or(0..0);
        let message = error.message().lines().collect::<Vec<_>>().join("; ");
        Self { span: span.start + offset..span.end + offset, message }
    }
}

/// The tree of what could be parsed, if anything, and what could not.
pub(super) fn parse(text: &str) -> (Option<Table>, Vec<SyntaxFault>) {
    let error = match tree::parse(text) {
        Ok(table) => return (Some(table), Vec::new()),
        Err(error) => error,
    };
    let mut faults = Vec::new();
    let mut rest = text.as_bytes().to_vec();
    for block in blocks(text) {
        if let Err(error) = tree::parse(&text[block.clone()]) {
            faults.push(SyntaxFault::new(&error, block.start));
            rest[block].iter_mut().filter(|byte| !matches!(byte, b'\n' | b'\r')).for_each(|byte| *byte = b' ');
        }
    }
    if faults.is_empty() {
        // Each block is sound, but together they are not: a table is there twice.
        return (None, vec![SyntaxFault::new(&error, 0)]);
    }
    let table = String::from_utf8(rest).ok().and_then(|rest| tree::parse(&rest).ok());
    (table, faults)
}

/// The stretches from one line that looks like a header to the next.
fn blocks(text: &str) -> Vec<Range<usize>> {
    let mut starts = vec![0];
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        if at > 0 && is_header(line) {
            starts.push(at);
        }
        at += line.len();
    }
    let ends = starts.iter().skip(1).copied().chain([text.len()]);
    starts.iter().copied().zip(ends).map(|(from, to)| from..to).collect()
}

/// Whether a line looks like `[name]` or `[[name]]`.
fn is_header(line: &str) -> bool {
    let line = line.split('#').next().unwrap_or("").trim_end();
    let inside = line.strip_prefix('[').and_then(|line| line.strip_suffix(']'));
    let name = inside.map(|name| name.strip_prefix('[').and_then(|name| name.strip_suffix(']')).unwrap_or(name));
    name.is_some_and(|name| {
        let letter = |c: char| c.is_alphanumeric() || matches!(c, '_' | '-' | '.' | ' ');
        name.starts_with(char::is_alphabetic) && name.chars().all(letter)
    })
}
