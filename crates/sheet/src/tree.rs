//! The text as a tree of values with the bytes each was written in.
//!
//! TOML writes the same thing in several ways (`[[bus.sends]]` or `sends = [{ }]`); the tree has one shape for each
//! thing, so that the reader and the edits need not care.

use std::ops::Range;

use toml_edit::{Document, Item, TableLike, TomlError, Value};

/// A value, and the bytes it is written in: for a table with a header, those of the header.
#[derive(Debug)]
pub(crate) struct Written {
    pub span: Range<usize>,
    pub value: Tree,
}

/// What is written.
#[derive(Debug)]
pub(crate) enum Tree {
    Table(Table),
    List(Vec<Written>, Style),
    Text(String),
    Number(f64),
    Switch(bool),
    /// A date or time of TOML's own, as text.
    Date(String),
}

/// How a table or list is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Style {
    /// In braces or brackets.
    Inline,
    /// Under one header, or one header for each entry.
    Header,
    /// With dotted keys.
    Dotted,
}

/// A table: its entries in the order of the text.
#[derive(Debug)]
pub(crate) struct Table {
    pub style: Style,
    pub entries: Vec<Entry>,
}

/// A key and its value.
#[derive(Debug)]
pub(crate) struct Entry {
    pub key: String,
    pub key_span: Range<usize>,
    pub item: Written,
}

impl Table {
    /// The entry of a key.
    pub fn get(&self, key: &str) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.key == key)
    }
}

impl Written {
    /// The value as a table.
    pub fn table(&self) -> Option<&Table> {
        match &self.value {
            Tree::Table(table) => Some(table),
            _ => None,
        }
    }

    /// The value as a list.
    pub fn list(&self) -> Option<&[Self]> {
        match &self.value {
            Tree::List(items, _) => Some(items),
            _ => None,
        }
    }

    /// The value as text; a date of TOML's own counts as text.
    pub fn text(&self) -> Option<&str> {
        match &self.value {
            Tree::Text(text) | Tree::Date(text) => Some(text),
            _ => None,
        }
    }

    /// What kind of value it is, in words.
    pub fn what(&self) -> &'static str {
        match self.value {
            Tree::Table(_) => "a table",
            Tree::List(..) => "a list",
            Tree::Text(_) => "text",
            Tree::Number(_) => "a number",
            Tree::Switch(_) => "true or false",
            Tree::Date(_) => "a date",
        }
    }
}

/// Parses a text. The parser itself bounds how deep values nest.
pub(crate) fn parse(text: &str) -> Result<Table, TomlError> {
    let document = Document::parse(text)?;
    Ok(table(document.as_table(), Style::Header))
}

fn table(table: &dyn TableLike, style: Style) -> Table {
    let entry = |(key, item): (&str, &Item)| {
        let key_span = table.key(key).and_then(toml_edit::Key::span).unwrap_or_default();
        Some(Entry { key: key.to_owned(), item: written_item(item, &key_span)?, key_span })
    };
    Table { style, entries: table.iter().filter_map(entry).collect() }
}

fn written_item(item: &Item, key_span: &Range<usize>) -> Option<Written> {
    match item {
        Item::None => None,
        Item::Value(value) => Some(written_value(value, key_span)),
        Item::Table(inner) => {
            let style = if inner.is_dotted() { Style::Dotted } else { Style::Header };
            Some(Written {
                span: inner.span().unwrap_or_else(|| key_span.clone()),
                value: Tree::Table(table(inner, style)),
            })
        }
        Item::ArrayOfTables(tables) => {
            let one = |inner: &toml_edit::Table| Written {
                span: inner.span().unwrap_or_else(|| key_span.clone()),
                value: Tree::Table(table(inner, Style::Header)),
            };
            let items: Vec<Written> = tables.iter().map(one).collect();
            let span = items.first().map_or_else(|| key_span.clone(), |first| first.span.clone());
            Some(Written { span, value: Tree::List(items, Style::Header) })
        }
    }
}

fn written_value(value: &Value, key_span: &Range<usize>) -> Written {
    let span = value.span().unwrap_or_else(|| key_span.clone());
    let value = match value {
        Value::String(text) => Tree::Text(text.value().clone()),
        Value::Integer(number) => Tree::Number(*number.value() as f64),
        Value::Float(number) => Tree::Number(*number.value()),
        Value::Boolean(on) => Tree::Switch(*on.value()),
        Value::Datetime(date) => Tree::Date(date.value().to_string()),
        Value::Array(array) => Tree::List(array.iter().map(|item| written_value(item, &span)).collect(), Style::Inline),
        Value::InlineTable(inner) => {
            let style = if inner.is_dotted() { Style::Dotted } else { Style::Inline };
            Tree::Table(table(inner, style))
        }
    };
    Written { span, value }
}
