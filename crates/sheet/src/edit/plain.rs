//! A value for a sheet: what TOML and JSON have in common, tables in the order in which they were given.

use std::fmt;

use serde::de::{Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde::ser::{SerializeMap, Serializer};
use serde::{Deserialize, Serialize};

/// A value to be written into a sheet. Shown, it is TOML.
#[derive(Clone, Debug, PartialEq)]
pub enum Plain {
    /// True or false.
    Switch(bool),
    /// A number; whole ones are written without a point.
    Number(f64),
    /// Text.
    Text(String),
    /// A list.
    List(Vec<Plain>),
    /// A table.
    Table(Vec<(String, Plain)>),
}

impl From<bool> for Plain {
    fn from(on: bool) -> Self {
        Self::Switch(on)
    }
}

impl From<f64> for Plain {
    fn from(number: f64) -> Self {
        Self::Number(number)
    }
}

impl From<&str> for Plain {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl<T: Into<Plain>> From<Vec<T>> for Plain {
    fn from(items: Vec<T>) -> Self {
        Self::List(items.into_iter().map(Into::into).collect())
    }
}

impl Plain {
    /// A table of some entries.
    #[must_use]
    pub fn table<'k>(entries: impl IntoIterator<Item = (&'k str, Plain)>) -> Self {
        Self::Table(entries.into_iter().map(|(key, value)| (key.to_owned(), value)).collect())
    }
}

/// A key as TOML writes it: bare, or in quotes where it must be.
pub(super) fn key(name: &str) -> String {
    toml_edit::Key::new(name).to_string()
}

impl fmt::Display for Plain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Switch(on) => write!(f, "{on}"),
            Self::Number(number) if *number == number.trunc() && number.abs() < 1e15 => write!(f, "{}", *number as i64),
            Self::Number(number) => write!(f, "{}", toml_edit::Value::from(*number)),
            Self::Text(text) => write!(f, "{}", toml_edit::Value::from(text.as_str())),
            Self::List(items) => {
                let items: Vec<String> = items.iter().map(ToString::to_string).collect();
                write!(f, "[{}]", items.join(", "))
            }
            Self::Table(entries) if entries.is_empty() => f.write_str("{}"),
            Self::Table(entries) => {
                let entries: Vec<String> =
                    entries.iter().map(|(name, value)| format!("{} = {value}", key(name))).collect();
                write!(f, "{{ {} }}", entries.join(", "))
            }
        }
    }
}

impl Serialize for Plain {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Switch(on) => serializer.serialize_bool(*on),
            Self::Number(number) => serializer.serialize_f64(*number),
            Self::Text(text) => serializer.serialize_str(text),
            Self::List(items) => items.serialize(serializer),
            Self::Table(entries) => {
                let mut map = serializer.serialize_map(Some(entries.len()))?;
                for (key, value) in entries {
                    map.serialize_entry(key, value)?;
                }
                map.end()
            }
        }
    }
}

impl<'de> Deserialize<'de> for Plain {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(PlainVisitor)
    }
}

struct PlainVisitor;

impl<'de> Visitor<'de> for PlainVisitor {
    type Value = Plain;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("true or false, a number, text, a list or a table")
    }

    fn visit_bool<E: Error>(self, on: bool) -> Result<Plain, E> {
        Ok(Plain::Switch(on))
    }

    fn visit_f64<E: Error>(self, number: f64) -> Result<Plain, E> {
        Ok(Plain::Number(number))
    }

    fn visit_i64<E: Error>(self, number: i64) -> Result<Plain, E> {
        Ok(Plain::Number(number as f64))
    }

    fn visit_u64<E: Error>(self, number: u64) -> Result<Plain, E> {
        Ok(Plain::Number(number as f64))
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Plain, E> {
        Ok(Plain::Text(text.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Plain, A::Error> {
        let mut list = Vec::new();
        while let Some(item) = items.next_element()? {
            list.push(item);
        }
        Ok(Plain::List(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Plain, A::Error> {
        let mut table = Vec::new();
        while let Some(entry) = entries.next_entry()? {
            table.push(entry);
        }
        Ok(Plain::Table(table))
    }
}
