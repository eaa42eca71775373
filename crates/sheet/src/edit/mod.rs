//! Edits of a sheet's text: text in, text out, and nothing else moves.
//!
//! An edit finds the bytes of the thing it is about and replaces those bytes alone, so that comments, order, spelling
//! and blank lines stay as the person wrote them. What comes out is TOML; whether it still reads as a sheet is for
//! [`crate::read`] to say.

mod blocks;
mod brackets;
mod locate;
mod plain;
mod rename;
#[cfg(test)]
mod tests;

use std::fmt;
use std::ops::Range;

use serde::{Deserialize, Serialize};
use units::{Problem, Severity};

use crate::tree::{self, Style, Tree, Written};
use locate::{Owner, Spot};
pub use plain::Plain;

/// One step of a path through the sheet: a key, the name of an entry in a list (its `name`, a send's `to`, a ride's
/// `what`), or an index from 0.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Step {
    /// Index in a list.
    Index(usize),
    /// Key of a table, or name of an entry.
    Key(String),
}

impl From<&str> for Step {
    fn from(key: &str) -> Self {
        Self::Key(key.to_owned())
    }
}

impl From<usize> for Step {
    fn from(index: usize) -> Self {
        Self::Index(index)
    }
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Index(index) => write!(f, "{}", index + 1),
            Self::Key(key) => f.write_str(key),
        }
    }
}

/// A change of a sheet's text. As JSON: `{ "edit": "set", "path": ["bus", "crush", "level_db"], "value": -8 }`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "edit", rename_all = "lowercase")]
pub enum Edit {
    /// Gives a key or a list's entry a value; a key that is not there yet is written at the end of its table.
    Set {
        /// The key or entry.
        path: Vec<Step>,
        /// The value.
        value: Plain,
    },
    /// Puts an entry into a list, which is begun if it is not there: a node, a send, a processor, a ride, a point.
    Insert {
        /// The list.
        path: Vec<Step>,
        /// The index that the entry will have.
        at: usize,
        /// The entry.
        value: Plain,
    },
    /// Takes a key out of its table, or an entry out of its list together with the comments that stand directly above
    /// it or on its line.
    Remove {
        /// The key or entry.
        path: Vec<Step>,
    },
    /// Moves an entry within its list.
    Move {
        /// The entry.
        path: Vec<Step>,
        /// The index that it will have.
        to: usize,
    },
    /// Gives a stem or bus another name, here and wherever it is referred to.
    Rename {
        /// Name now.
        from: String,
        /// Name then.
        to: String,
    },
}

/// Bytes to be replaced, and by what.
#[derive(Debug, PartialEq, Eq)]
struct Splice {
    range: Range<usize>,
    text: String,
}

impl Splice {
    fn new(range: Range<usize>, text: impl Into<String>) -> Self {
        Self { range, text: text.into() }
    }

    fn insert(at: usize, text: impl Into<String>) -> Self {
        Self::new(at..at, text)
    }
}

impl Edit {
    /// The text after the edit.
    ///
    /// # Errors
    /// If the text is not TOML, or there is nothing at the path, or the thing there cannot be edited like that.
    pub fn apply(&self, text: &str) -> Result<String, Box<Problem>> {
        let root = tree::parse(text).map_err(|error| {
            refused("sheet", &format!("This is not TOML: {}.", error.message()), "Mend the text first.")
        })?;
        let root = Written { span: 0..0, value: Tree::Table(root) };
        let splices = match self {
            Self::Set { path, value } => set(text, &root, path, value),
            Self::Insert { path, at, value } => insert(text, &root, path, *at, value),
            Self::Remove { path } => remove(text, &root, path),
            Self::Move { path, to } => shift(text, &root, path, *to),
            Self::Rename { from, to } => rename::rename(&root, from, to),
        }?;
        let after = spliced(text, splices);
        tree::parse(&after).map(|_| after).map_err(|error| {
            refused("sheet", &format!("That edit would not leave TOML: {}.", error.message()), "Edit the text by hand.")
        })
    }
}

/// Gives the key or entry at a path a value: [`Edit::Set`].
///
/// # Errors
/// As [`Edit::apply`].
pub fn set_value(text: &str, path: &[Step], value: impl Into<Plain>) -> Result<String, Box<Problem>> {
    Edit::Set { path: path.to_vec(), value: value.into() }.apply(text)
}

fn spliced(text: &str, mut splices: Vec<Splice>) -> String {
    splices.sort_by_key(|splice| splice.range.start);
    let mut after = String::with_capacity(text.len());
    let mut from = 0;
    for splice in splices {
        after.push_str(&text[from..splice.range.start]);
        after.push_str(&splice.text);
        from = splice.range.end;
    }
    after.push_str(&text[from..]);
    after
}

fn refused(at: &str, message: &str, remedy: &str) -> Box<Problem> {
    Box::new(Problem::new(Severity::Fail, "edit", at, message.to_owned(), remedy.to_owned()))
}

fn set(text: &str, root: &Written, path: &[Step], value: &Plain) -> Result<Vec<Splice>, Box<Problem>> {
    let spot = locate::spot(root, path)?;
    match spot.item {
        Some(item) if is_under_header(text, item) => {
            let remedy = "Set its keys one by one, or remove it and insert another.";
            Err(refused(&locate::title(path), "A table with a header cannot be set as a whole.", remedy))
        }
        Some(item) if matches!(&item.value, Tree::Table(table) if table.style == Style::Dotted) => {
            Err(refused(&locate::title(path), "A table written with dots cannot be set as a whole.", "Set its keys."))
        }
        Some(item) => Ok(vec![Splice::new(item.span.clone(), value.to_string())]),
        None => spot.write_key(text, &value.to_string()).map(|splice| vec![splice]),
    }
}

fn insert(text: &str, root: &Written, path: &[Step], at: usize, value: &Plain) -> Result<Vec<Splice>, Box<Problem>> {
    let spot = locate::spot(root, path)?;
    let Some(list) = spot.item else {
        if at != 0 {
            return Err(refused(&locate::title(path), "This list is not there yet.", "Insert its first entry at 0."));
        }
        return match (path, value) {
            ([Step::Key(key)], Plain::Table(entries)) => Ok(vec![blocks::first(text, root, key, entries)]),
            _ => spot.write_key(text, &Plain::List(vec![value.clone()]).to_string()).map(|splice| vec![splice]),
        };
    };
    let Tree::List(items, style) = &list.value else {
        return Err(refused(&locate::title(path), "This is not a list.", "Name a list."));
    };
    if at > items.len() {
        let remedy = format!("It is {} long.", items.len());
        return Err(refused(&locate::title(path), "The list is not that long.", &remedy));
    }
    match (style, value) {
        (Style::Header, Plain::Table(entries)) => Ok(vec![blocks::insert(text, root, items, at, entries)]),
        (Style::Header, _) => Err(refused(&locate::title(path), "An entry here is a table.", "Give its keys.")),
        _ => Ok(brackets::insert(text, &list.span, &brackets::items(text, list), at, &value.to_string())),
    }
}

fn remove(text: &str, root: &Written, path: &[Step]) -> Result<Vec<Splice>, Box<Problem>> {
    let spot = locate::spot(root, path)?;
    let Some(item) = spot.item else { return Err(locate::nothing(path)) };
    match spot.owner {
        _ if is_under_header(text, item) => blocks::remove(text, root, item),
        Owner::List(list, index) => Ok(brackets::remove(text, &list.span, &brackets::items(text, list), index)),
        Owner::Table(..) => spot.remove_key(text),
    }
}

fn shift(text: &str, root: &Written, path: &[Step], to: usize) -> Result<Vec<Splice>, Box<Problem>> {
    let Spot { item: Some(item), owner: Owner::List(list, from), .. } = locate::spot(root, path)? else {
        return Err(locate::nothing(path));
    };
    let count = list.list().map_or(0, <[Written]>::len);
    if to >= count {
        let remedy = format!("It is {count} long.");
        return Err(refused(&locate::title(path), "The list is not that long.", &remedy));
    }
    if is_under_header(text, item) {
        return blocks::shift(text, root, list.list().unwrap_or(&[]), from, to);
    }
    Ok(brackets::shift(text, &list.span, &brackets::items(text, list), from, to))
}

/// Whether a table stands under a header of its own.
fn is_under_header(text: &str, item: &Written) -> bool {
    match &item.value {
        Tree::Table(table) => table.style == Style::Header && text[item.span.clone()].starts_with('['),
        Tree::List(_, style) => *style == Style::Header,
        _ => false,
    }
}
