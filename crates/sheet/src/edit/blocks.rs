//! Tables under headers: a stem, a bus, a print.
//!
//! A block is a header with the comment lines directly above it and everything below it, up to the next block.

use std::ops::Range;

use units::Problem;

use super::locate::{comments_above, line_start, newline};
use super::{Plain, Splice, plain, refused};
use crate::keys;
use crate::tree::{Style, Table, Tree, Written};

/// Every header of a text and the depth of the table under it, in order.
fn headers(text: &str, root: &Written) -> Vec<usize> {
    fn gather(text: &str, item: &Written, found: &mut Vec<usize>) {
        match &item.value {
            Tree::Table(table) => {
                if table.style == Style::Header && text[item.span.clone()].starts_with('[') {
                    found.push(item.span.start);
                }
                gather_entries(text, table, found);
            }
            Tree::List(items, Style::Header) => items.iter().for_each(|item| gather(text, item, found)),
            _ => {}
        }
    }
    fn gather_entries(text: &str, table: &Table, found: &mut Vec<usize>) {
        table.entries.iter().for_each(|entry| gather(text, &entry.item, found));
    }
    let mut found = Vec::new();
    gather(text, root, &mut found);
    found.sort_unstable();
    found
}

/// The block of a table under a header, with the blocks of the tables inside it.
fn block(text: &str, root: &Written, item: &Written) -> Range<usize> {
    let inside = headers(text, item);
    let next = headers(text, root).into_iter().find(|start| *start > item.span.start && !inside.contains(start));
    start_of(text, item.span.start)..next.map_or(text.len(), |next| start_of(text, next))
}

/// Where the block of a header starts: at the comments directly above it.
fn start_of(text: &str, header: usize) -> usize {
    comments_above(text, line_start(text, header), 0)
}

/// The first entry of a list that is not there yet, behind the lists that come before it by custom.
pub(super) fn first(text: &str, root: &Written, key: &str, entries: &[(String, Plain)]) -> Splice {
    let order: Vec<&str> = keys::SHEET.keys.iter().map(|key| key.name).collect();
    let rank = |key: &str| order.iter().position(|known| *known == key).unwrap_or(order.len());
    let table = root.table().map_or(&[][..], |table| &table.entries);
    let before = table.iter().filter(|entry| rank(&entry.key) <= rank(key));
    let last = before.filter_map(|entry| match &entry.item.value {
        Tree::List(items, Style::Header) => items.last(),
        Tree::Table(inner) if inner.style == Style::Header => Some(&entry.item),
        _ => None,
    });
    let at = last.map(|item| block(text, root, item).end).max().unwrap_or(text.len());
    written(text, at, &format!("[[{}]]", plain::key(key)), entries)
}

/// Another entry of a list.
pub(super) fn insert(text: &str, root: &Written, items: &[Written], at: usize, entries: &[(String, Plain)]) -> Splice {
    let header = items.first().map_or("", |item| &text[item.span.clone()]);
    let position = match items.get(at) {
        Some(next) => start_of(text, next.span.start),
        None => items.last().map_or(text.len(), |last| block(text, root, last).end),
    };
    written(text, position, header, entries)
}

/// A block, with a blank line between it and its neighbours.
fn written(text: &str, at: usize, header: &str, entries: &[(String, Plain)]) -> Splice {
    let newline = newline(text);
    let lines = entries.iter().map(|(name, value)| format!("{} = {value}{newline}", plain::key(name)));
    let block = format!("{header}{newline}{}", lines.collect::<String>());
    if at < text.len() {
        return Splice::insert(at, format!("{block}{newline}"));
    }
    let break_line = if text.is_empty() || text.ends_with('\n') { "" } else { newline };
    Splice::insert(at, format!("{break_line}{newline}{block}"))
}

/// Takes a block out.
pub(super) fn remove(text: &str, root: &Written, item: &Written) -> Result<Vec<Splice>, Box<Problem>> {
    if !matches!(item.value, Tree::Table(_)) {
        return Err(refused("sheet", "This is a list of tables with headers.", "Remove its entries one by one."));
    }
    let mut range = block(text, root, item);
    if range.end == text.len() {
        // The blank line ahead of the last block goes with it.
        let above = &text[..range.start];
        let blank = above.strip_suffix('\n').map(|above| above.strip_suffix('\r').unwrap_or(above));
        if let Some(above) = blank.filter(|above| above.ends_with('\n')) {
            range.start = above.len();
        }
    }
    Ok(vec![Splice::new(range, "")])
}

/// Moves a block to another index of its list.
pub(super) fn shift(
    text: &str,
    root: &Written,
    items: &[Written],
    from: usize,
    to: usize,
) -> Result<Vec<Splice>, Box<Problem>> {
    if from == to {
        return Ok(Vec::new());
    }
    let moved = block(text, root, &items[from]);
    let neighbour = block(text, root, &items[to]);
    let at = if to < from { neighbour.start } else { neighbour.end };
    let newline = newline(text);
    let piece = text[moved.clone()].trim_end();
    let put = if at == text.len() {
        let break_line = if text.ends_with('\n') { "" } else { newline };
        Splice::insert(at, format!("{break_line}{newline}{piece}{newline}"))
    } else {
        Splice::insert(at, format!("{piece}{newline}{newline}"))
    };
    let mut splices = remove(text, root, &items[from])?;
    splices.push(put);
    Ok(splices)
}
