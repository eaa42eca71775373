//! Lists in brackets and tables in braces: putting an item in, taking one out, moving one.
//!
//! An item that stands on lines of its own is handled as lines: with it go the comments directly above it and the one
//! behind it. Otherwise it is handled as words in a line.

use std::ops::Range;

use super::Splice;
use super::locate::{comments_above, entry_ranges, indent_of, line_end, line_start, newline, next_line};
use crate::tree::{Tree, Written};

/// The ranges of the items of a list, or of the entries of a table in braces.
pub(super) fn items(text: &str, holder: &Written) -> Vec<Range<usize>> {
    match &holder.value {
        Tree::List(items, _) => items.iter().map(|item| item.span.clone()).collect(),
        Tree::Table(table) => entry_ranges(text, table),
        _ => Vec::new(),
    }
}

/// Puts an item in at an index.
pub(super) fn insert(text: &str, holder: &Range<usize>, items: &[Range<usize>], at: usize, item: &str) -> Vec<Splice> {
    let (open, close) = (holder.start + 1, holder.end - 1);
    let brackets = Brackets { text, open, close, items };
    let newline = newline(text);
    let Some(last) = items.last() else {
        return vec![brackets.first(item)];
    };
    if at < items.len() {
        let next = &items[at];
        return match brackets.lines(at) {
            Some(lines) => {
                let indent = indent_of(text, next.start);
                vec![Splice::insert(lines.start, format!("{indent}{item},{newline}"))]
            }
            None => vec![Splice::insert(next.start, format!("{item}, "))],
        };
    }
    let comma = brackets.comma_after(items.len() - 1);
    if !brackets.starts_line(items.len() - 1) {
        return vec![Splice::insert(last.end, format!(", {item}"))];
    }
    let behind = comma.map_or(last.end, |comma| comma + 1);
    let end = line_end(text, behind);
    let end = if end > close { behind } else { end };
    let line = format!("{newline}{}{item}", indent_of(text, last.start));
    match comma {
        Some(_) => vec![Splice::insert(end, format!("{line},"))],
        None if end == last.end => vec![Splice::insert(end, format!(",{line}"))],
        None => vec![Splice::insert(last.end, ","), Splice::insert(end, line)],
    }
}

/// Takes an item out.
pub(super) fn remove(text: &str, holder: &Range<usize>, items: &[Range<usize>], index: usize) -> Vec<Splice> {
    let brackets = Brackets { text, open: holder.start + 1, close: holder.end - 1, items };
    let item = items[index].clone();
    let comma = brackets.comma_after(index);
    let comma_before = index.checked_sub(1).and_then(|before| brackets.comma_after(before));
    // The last item without a comma behind it leaves none behind the one before it.
    let spare_comma = comma_before.filter(|_| comma.is_none()).map(|at| Splice::new(at..at + 1, ""));
    if let Some(lines) = brackets.lines(index) {
        return std::iter::once(Splice::new(lines, "")).chain(spare_comma).collect();
    }
    if let Some(next) = items.get(index + 1) {
        let between = &text[item.end..next.start];
        let to = if between.contains('\n') { comma.map_or(item.end, |comma| comma + 1) } else { next.start };
        return vec![Splice::new(item.start..to, "")];
    }
    match index.checked_sub(1).map(|before| items[before].end) {
        Some(before) if !text[before..item.start].contains('#') => vec![Splice::new(before..item.end, "")],
        Some(_) => std::iter::once(Splice::new(item, "")).chain(spare_comma).collect(),
        None if text[brackets.open..brackets.close].contains(['#', '\n']) => {
            vec![Splice::new(item.start..comma.map_or(item.end, |comma| comma + 1), "")]
        }
        None => vec![Splice::new(brackets.open..brackets.close, "")],
    }
}

/// Moves an item to another index: with its lines if all items have lines of their own and a comma behind them, its
/// words alone otherwise.
pub(super) fn shift(text: &str, holder: &Range<usize>, items: &[Range<usize>], from: usize, to: usize) -> Vec<Splice> {
    let brackets = Brackets { text, open: holder.start + 1, close: holder.end - 1, items };
    let lines = |index| brackets.comma_after(index).and_then(|_| brackets.lines(index));
    let all: Option<Vec<Range<usize>>> = (0..items.len()).map(lines).collect();
    let pieces = all.unwrap_or_else(|| items.to_vec());
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    let moved = order.remove(from);
    order.insert(to, moved);
    let placed = pieces.iter().zip(order).filter(|(piece, source)| **piece != pieces[*source]);
    placed.map(|(piece, source)| Splice::new(piece.clone(), &text[pieces[source].clone()])).collect()
}

struct Brackets<'a> {
    text: &'a str,
    open: usize,
    close: usize,
    items: &'a [Range<usize>],
}

impl Brackets<'_> {
    /// The first item of empty brackets.
    fn first(&self, item: &str) -> Splice {
        let inside = &self.text[self.open..self.close];
        if inside.contains('\n') {
            let newline = newline(self.text);
            let indent = indent_of(self.text, self.open - 1);
            let indent = &indent[..indent.len() - indent.trim_start().len()];
            return Splice::insert(line_end(self.text, self.open), format!("{newline}{indent}  {item},"));
        }
        let brace = self.text[..self.open].ends_with('{');
        Splice::new(self.open..self.close, if brace { format!(" {item} ") } else { item.to_owned() })
    }

    /// The comma behind an item.
    fn comma_after(&self, index: usize) -> Option<usize> {
        let stop = self.items.get(index + 1).map_or(self.close, |next| next.start);
        let mut at = self.items[index].end;
        while at < stop {
            match self.text.as_bytes()[at] {
                b',' => return Some(at),
                b'#' => at = line_end(self.text, at),
                _ => at += 1,
            }
        }
        None
    }

    /// Whether only blanks stand ahead of an item in its line.
    fn starts_line(&self, index: usize) -> bool {
        let start = line_start(self.text, self.items[index].start);
        start >= self.open && self.text[start..self.items[index].start].trim().is_empty()
    }

    /// The lines that an item has to itself, with the comments above and behind it.
    fn lines(&self, index: usize) -> Option<Range<usize>> {
        if !self.starts_line(index) {
            return None;
        }
        let item = &self.items[index];
        let end = line_end(self.text, self.comma_after(index).map_or(item.end, |comma| comma + 1).max(item.end));
        let behind = self.text[item.end..end.min(self.close)].trim_start().trim_start_matches(',').trim_start();
        if end >= self.close || !(behind.is_empty() || behind.starts_with('#')) {
            return None;
        }
        let start = line_start(self.text, item.start);
        let floor = index.checked_sub(1).map_or(self.open, |before| self.items[before].end);
        Some(
            comments_above(self.text, start, next_line(self.text, line_end(self.text, floor)))
                ..next_line(self.text, end),
        )
    }
}
