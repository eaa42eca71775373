//! From a path to the place in the text.

use std::ops::Range;

use units::Problem;

use super::{Splice, Step, brackets, plain, refused};
use crate::tree::{Entry, Style, Table, Tree, Written};

/// What a path leads to.
pub(super) struct Spot<'a> {
    /// The thing itself; none if its table lacks the key.
    pub item: Option<&'a Written>,
    /// What holds it.
    pub owner: Owner<'a>,
    /// The nearest table around it that is not written with dots, and the dotted keys from there.
    around: (&'a Written, Vec<&'a str>),
}

/// What holds a thing.
#[derive(Clone, Copy)]
pub(super) enum Owner<'a> {
    /// A table, by a key.
    Table(&'a Table, &'a str),
    /// A list, by an index.
    List(&'a Written, usize),
}

/// A path in words.
pub(super) fn title(path: &[Step]) -> String {
    path.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
}

pub(super) fn nothing(path: &[Step]) -> Box<Problem> {
    refused(&title(path), "There is nothing at this path.", "Read the sheet again: it may have changed.")
}

/// The spot of a path. All of its steps but the last must exist.
pub(super) fn spot<'a>(root: &'a Written, path: &'a [Step]) -> Result<Spot<'a>, Box<Problem>> {
    let Some((last, before)) = path.split_last() else { return Err(nothing(path)) };
    let mut holder = root;
    let mut around = (root, Vec::new());
    for step in before {
        if let (Some(table), Step::Key(key)) = (holder.table(), step) {
            holder = &table.get(key).ok_or_else(|| nothing(path))?.item;
            around.1.push(key.as_str());
        } else {
            let index = index_of(holder, step).ok_or_else(|| nothing(path))?;
            holder = &holder.list().unwrap_or(&[])[index];
        }
        if holder.table().is_none_or(|table| table.style != Style::Dotted) {
            around = (holder, Vec::new());
        }
    }
    if let (Some(table), Step::Key(key)) = (holder.table(), last) {
        return Ok(Spot { item: table.get(key).map(|entry| &entry.item), owner: Owner::Table(table, key), around });
    }
    let index = index_of(holder, last).ok_or_else(|| nothing(path))?;
    Ok(Spot { item: holder.list().map(|items| &items[index]), owner: Owner::List(holder, index), around })
}

/// The index that a step means in a list.
fn index_of(list: &Written, step: &Step) -> Option<usize> {
    let items = list.list()?;
    let named = |item: &Written, name: &str| {
        let Some(table) = item.table() else { return false };
        ["name", "to", "what"]
            .iter()
            .find_map(|key| table.get(key))
            .is_some_and(|entry| entry.item.text() == Some(name))
    };
    match step {
        Step::Index(index) => (*index < items.len()).then_some(*index),
        Step::Key(name) => items.iter().position(|item| named(item, name)),
    }
}

impl Spot<'_> {
    /// Writes a key that is not there yet at the end of its table.
    pub fn write_key(&self, text: &str, value: &str) -> Result<Splice, Box<Problem>> {
        let Owner::Table(table, name) = self.owner else { return Err(nothing(&[])) };
        let (around, dotted) = &self.around;
        let dots = dotted.iter().map(|key| plain::key(key) + ".").collect::<String>();
        let line = format!("{dots}{} = {value}", plain::key(name));
        let Some(holder) = around.table() else { return Err(nothing(&[])) };
        if holder.style == Style::Inline {
            let items = brackets::items(text, around);
            // Behind the last of the same dotted table, or the last of all.
            let at = table.entries.iter().map(|entry| end_of(&entry.item)).max();
            let at = items.iter().position(|item| Some(item.end) == at).map_or(items.len(), |index| index + 1);
            let mut splices = brackets::insert(text, &around.span, &items, at, &line);
            return if splices.len() == 1 { Ok(splices.remove(0)) } else { Ok(joined(text, splices)) };
        }
        if !around.span.is_empty() && !text[around.span.clone()].starts_with('[') {
            return Err(refused(name, "Its table has no header of its own.", "Edit the text by hand."));
        }
        let own = |entry: &&Entry| !is_headed(&entry.item);
        let last = table.entries.iter().chain(&holder.entries).filter(own);
        let last = last.max_by_key(|entry| end_of(&entry.item));
        let newline = newline(text);
        match last {
            Some(entry) => {
                let indent = indent_of(text, entry.key_span.start);
                let end = line_end(text, end_of(&entry.item));
                Ok(Splice::insert(end, format!("{newline}{indent}{line}")))
            }
            None if around.span.is_empty() => Ok(Splice::insert(0, format!("{line}{newline}"))),
            None => Ok(Splice::insert(line_end(text, around.span.end), format!("{newline}{line}"))),
        }
    }

    /// Takes a key out of its table, with its line.
    pub fn remove_key(&self, text: &str) -> Result<Vec<Splice>, Box<Problem>> {
        let Owner::Table(table, name) = self.owner else { return Err(nothing(&[])) };
        let Some(entry) = table.get(name) else { return Err(nothing(&[])) };
        if is_headed(&entry.item) {
            return Err(refused(name, "This stands under headers of its own.", "Remove its entries one by one."));
        }
        let (around, _) = &self.around;
        if around.table().is_some_and(|table| table.style == Style::Inline) {
            let items = brackets::items(text, around);
            let within = items.iter().position(|item| item.contains(&entry.key_span.start));
            return within.map(|index| brackets::remove(text, &around.span, &items, index)).ok_or_else(|| nothing(&[]));
        }
        let from = line_start(text, entry.key_span.start);
        let to = line_end(text, end_of(&entry.item));
        Ok(vec![Splice::new(from..next_line(text, to), "")])
    }
}

/// Several splices as one that spans them.
fn joined(text: &str, splices: Vec<Splice>) -> Splice {
    let from = splices.iter().map(|splice| splice.range.start).min().unwrap_or(0);
    let to = splices.iter().map(|splice| splice.range.end).max().unwrap_or(0);
    let shifted = splices.into_iter().map(|s| Splice::new(s.range.start - from..s.range.end - from, s.text)).collect();
    Splice::new(from..to, super::spliced(&text[from..to], shifted))
}

/// Whether a thing stands under headers of its own.
fn is_headed(item: &Written) -> bool {
    match &item.value {
        Tree::Table(table) => table.style == Style::Header,
        Tree::List(_, style) => *style == Style::Header,
        _ => false,
    }
}

/// The byte after a value, dotted tables included.
pub(super) fn end_of(item: &Written) -> usize {
    match &item.value {
        Tree::Table(table) if table.style == Style::Dotted => {
            table.entries.iter().map(|entry| end_of(&entry.item)).max().unwrap_or(item.span.end)
        }
        _ => item.span.end,
    }
}

/// The first byte of the line that a byte is in.
pub(super) fn line_start(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |at| at + 1)
}

/// The end of the line that a byte is in, its break left out.
pub(super) fn line_end(text: &str, at: usize) -> usize {
    let end = text[at..].find('\n').map_or(text.len(), |length| at + length);
    if text[at..end].ends_with('\r') { end - 1 } else { end }
}

/// The byte after a line's break, given the end of the line.
pub(super) fn next_line(text: &str, end: usize) -> usize {
    let rest = &text[end..];
    end + if rest.starts_with("\r\n") { 2 } else { usize::from(rest.starts_with('\n')) }
}

/// The blanks at the head of the line that a byte is in.
pub(super) fn indent_of(text: &str, at: usize) -> &str {
    let line = &text[line_start(text, at)..at];
    &line[..line.len() - line.trim_start().len()]
}

/// How this text breaks lines.
pub(super) fn newline(text: &str) -> &'static str {
    if text.contains("\r\n") { "\r\n" } else { "\n" }
}

/// The start of the comment lines that stand directly above a line, not before a byte.
pub(super) fn comments_above(text: &str, line: usize, floor: usize) -> usize {
    let mut from = line;
    while from > floor {
        let above = line_start(text, from - 1);
        if above < floor || !text[above..from].trim_start().starts_with('#') {
            break;
        }
        from = above;
    }
    from
}

/// The ranges of entries in a table in braces, keys included.
pub(super) fn entry_ranges(text: &str, table: &Table) -> Vec<Range<usize>> {
    let mut ranges = Vec::new();
    for entry in &table.entries {
        match &entry.item.value {
            Tree::Table(inner) if inner.style == Style::Dotted => ranges.extend(entry_ranges(text, inner)),
            _ => ranges.push(whole_key(text, entry.key_span.start)..entry.item.span.end),
        }
    }
    ranges.sort_by_key(|range| range.start);
    ranges
}

/// Where a key starts, the dotted keys ahead of it included.
fn whole_key(text: &str, at: usize) -> usize {
    let from = text[..at].rfind(['{', ',', '\n']).map_or(0, |before| before + 1);
    at - text[from..at].trim_start().len()
}
