//! A table of the sheet, read by the definitions of its keys.

use std::ops::Range;

use units::{Kind, Param, Place, Value};

use super::clock::Clock;
use super::forms;
use super::report::{Fault, Report, listed};
use crate::keys::{Form, Group, Key, Takes};
use crate::model::Name;
use crate::tree::{Entry, Table, Tree, Written};

/// A table that is being read, and what to call it in problems.
#[derive(Clone)]
pub(crate) struct Fields<'a> {
    pub report: &'a Report<'a>,
    table: &'a Table,
    span: Range<usize>,
    at: String,
}

impl<'a> Fields<'a> {
    /// Opens a table of a group: reports keys that the group does not have and keys that are missing.
    pub fn open(report: &'a Report<'a>, group: &Group, written: &'a Written, at: String) -> Option<Self> {
        let Some(table) = written.table() else {
            let message = format!("Here should be a table of {}, not {}.", group.name, written.what());
            let keys = listed(group.keys.iter().map(|key| key.name));
            report.fail(&at, &written.span, Fault::new("wrong-type", message, format!("Its keys are {keys}.")));
            return None;
        };
        let fields = Self { report, table, span: written.span.clone(), at };
        fields.refuse_unknown(group.keys.iter().map(|key| key.name));
        fields.demand(group);
        Some(fields)
    }

    /// Opens a table whose keys the caller names.
    pub fn open_keys(
        report: &'a Report<'a>,
        written: &'a Written,
        at: String,
        keys: impl IntoIterator<Item = &'static str> + Clone,
    ) -> Option<Self> {
        let Some(table) = written.table() else {
            let message = format!("Here should be a table of parameters, not {}.", written.what());
            report.fail(&at, &written.span, Fault::new("wrong-type", message, "Write `{ }`, with parameters inside."));
            return None;
        };
        let fields = Self { report, table, span: written.span.clone(), at };
        fields.refuse_unknown(keys);
        Some(fields)
    }

    /// What it is called in problems.
    pub fn at(&self) -> &str {
        &self.at
    }

    /// Where it is written, as a place.
    pub fn place(&self) -> Place {
        self.report.place(&self.span)
    }

    /// The entry of a key.
    pub fn get(&self, key: &str) -> Option<&'a Entry> {
        self.table.get(key)
    }

    /// Reports a failure at an entry's value.
    pub fn fail(&self, written: &Written, fault: Fault) {
        self.report.fail(&self.at, &written.span, fault);
    }

    fn refuse_unknown(&self, keys: impl IntoIterator<Item = &'static str> + Clone) {
        for entry in &self.table.entries {
            if !keys.clone().into_iter().any(|key| key == entry.key) {
                let message = format!("`{}` is not a key of {}.", entry.key, short(&self.at));
                let remedy = self.report.suggestion(&entry.key, keys.clone());
                self.report.fail(&self.at, &entry.key_span, Fault::new("unknown-key", message, remedy));
            }
        }
    }

    fn demand(&self, group: &Group) {
        let missing = group.keys.iter().filter(|key| key.required && self.get(key.name).is_none());
        for key in missing {
            let message = format!("{} lacks `{}`.", capital(&self.at), key.name);
            let remedy = format!("Add `{} = …`: {}", key.name, lower_first(key.sentence));
            self.report.fail(&self.at, &self.span, Fault::new("missing-key", message, remedy));
        }
        let known = group.keys.iter().filter(|key| self.get(key.name).is_some()).count();
        if group.exactly_one && known != 1 {
            let keys = listed(group.keys.iter().map(|key| key.name));
            let message = format!("{} takes exactly one of {keys}.", capital(group.name));
            self.report.fail(&self.at, &self.span, Fault::new("one-of", message, "Write one of them."));
        }
    }

    /// The tables of a list of tables.
    pub fn entries(&self, key: &str, group: &Group) -> Vec<Fields<'a>> {
        let name_of = |item: &Written| item.table()?.get("name")?.item.text().map(str::to_owned);
        let title = if group.name == key && matches!(key, "sends" | "rides" | "files" | "groups" | "offsets") {
            singular(key)
        } else {
            key
        };
        let prefix = if self.at == "sheet" { String::new() } else { format!("{}, ", self.at) };
        let open = |(index, item): (usize, &'a Written)| {
            let name = name_of(item).unwrap_or_else(|| (index + 1).to_string());
            Fields::open(self.report, group, item, format!("{prefix}{title} {name}"))
        };
        self.list(key).iter().enumerate().filter_map(open).collect()
    }

    /// The items of a list, none if it is absent or not a list.
    pub fn list(&self, key: &str) -> &'a [Written] {
        let Some(entry) = self.get(key) else { return &[] };
        entry.item.list().unwrap_or_else(|| {
            let message = format!("`{key}` takes a list, not {}.", entry.item.what());
            let remedy =
                if self.at == "sheet" { format!("Write `[[{key}]]`.") } else { format!("Write `{key} = [ … ]`.") };
            self.fail(&entry.item, Fault::new("wrong-type", message, remedy));
            &[]
        })
    }

    /// A number; its default if it is absent or wrong.
    pub fn number(&self, key: &Key) -> f64 {
        match self.value(key) {
            Some(Value::Number(number)) => number,
            _ => 0.0,
        }
    }

    /// A word, by its index.
    pub fn choice(&self, key: &Key) -> usize {
        match self.value(key) {
            Some(Value::Choice(index)) => index,
            _ => 0,
        }
    }

    /// A switch.
    pub fn switch(&self, key: &Key) -> bool {
        matches!(self.value(key), Some(Value::Switch(true)))
    }

    /// A path inside the sheet's folder.
    pub fn file(&self, key: &Key) -> Option<Name> {
        let Some(Value::File(Some(path))) = self.value(key) else { return None };
        Some(Name::new(path, self.report.place(&self.get(key.name)?.item.span)))
    }

    /// One of some whole numbers.
    pub fn whole(&self, key: &Key) -> Option<u32> {
        let Takes::Whole { unit, options, default } = key.takes else { return None };
        let Some(entry) = self.get(key.name) else { return default };
        let Tree::Number(number) = entry.item.value else {
            let message = format!("`{}` takes a number, not {}.", key.name, entry.item.what());
            let remedy = format!("Write one of {}.", forms::whole_list(options, unit));
            self.fail(&entry.item, Fault::new("wrong-type", message, remedy));
            return default;
        };
        let found = options.iter().copied().find(|option| f64::from(*option) == number);
        if found.is_none() {
            let message = format!("`{}` cannot be {number}.", key.name);
            let remedy = format!("Write one of {}.", forms::whole_list(options, unit));
            self.fail(&entry.item, Fault::new("out-of-range", message, remedy));
        }
        found.or(default)
    }

    /// A text, with its place.
    pub fn text(&self, key: &Key) -> Option<Name> {
        let entry = self.get(key.name)?;
        let form = if let Takes::Text(form) = key.takes { form } else { Form::Any };
        match forms::text(key.name, form, &entry.item) {
            Ok(text) => Some(Name::new(text, self.report.place(&entry.item.span))),
            Err(fault) => {
                self.fail(&entry.item, fault);
                None
            }
        }
    }

    /// A text without its place.
    pub fn string(&self, key: &Key) -> Option<String> {
        self.text(key).map(|name| name.as_str().to_owned())
    }

    /// A time in seconds.
    pub fn time(&self, key: &Key, clock: &Clock) -> Option<f64> {
        let entry = self.get(key.name)?;
        clock.secs(&entry.item, self.report).map_err(|fault| self.fail(&entry.item, fault)).ok()
    }

    /// The value of a key that is defined like a processor's parameter.
    fn value(&self, key: &Key) -> Option<Value> {
        key.param().map(|param| self.param(&param))
    }

    /// The value of a parameter; its default if it is absent or wrong.
    pub fn param(&self, param: &Param) -> Value {
        let Some(entry) = self.get(param.name) else { return Value::default_of(param) };
        match forms::param(param, &entry.item) {
            Ok(value) => value,
            Err(fault) => {
                let fault = match (param.kind, &entry.item.value) {
                    (Kind::Choice { options, .. }, Tree::Text(word)) => {
                        Fault { remedy: self.report.suggestion(word, options.iter().copied()), ..fault }
                    }
                    _ => fault,
                };
                self.fail(&entry.item, fault);
                Value::default_of(param)
            }
        }
    }
}

/// The last part of what a table is called: whose key it is.
fn short(at: &str) -> String {
    let last = at.rsplit(", ").next().unwrap_or(at);
    if last == "sheet" { "a sheet".to_owned() } else { last.to_owned() }
}

fn singular(key: &str) -> &str {
    key.strip_suffix('s').unwrap_or(key)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}
