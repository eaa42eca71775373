//! The names that a sheet gives, and the look-up of those it refers to.

use std::collections::HashMap;

use super::fields::Fields;
use super::report::{Fault, Report};
use crate::keys::{Key, Named, Takes};
use crate::model::Name;
use crate::tree::Written;

/// Every name of the sheet that others may use.
pub(crate) struct Names {
    /// Stems and buses; whether it is a bus.
    nodes: HashMap<String, bool>,
    /// The names of buses, of stems and buses, and of references, each in the order of the alphabet.
    buses: Vec<String>,
    all: Vec<String>,
    references: Vec<String>,
    prints: Vec<String>,
}

impl Names {
    /// Gathers the names and reports those given twice.
    pub fn gather(sheet: &Fields<'_>) -> Self {
        let (stems, buses) = (given(sheet, "stem"), given(sheet, "bus"));
        let nodes = stems.iter().map(|name| (name, "stem")).chain(buses.iter().map(|name| (name, "bus")));
        refuse_twice(sheet.report, nodes);
        for key in ["reference", "section"] {
            refuse_twice(sheet.report, given(sheet, key).iter().map(|name| (name, key)));
        }
        // All that `--only` may name.
        let printed = ["print", "alternate", "stem_print"].map(|key| (key, given(sheet, key)));
        refuse_twice(sheet.report, printed.iter().flat_map(|(key, names)| names.iter().map(|name| (name, *key))));
        let sorted = |lists: &[&[(String, &Written)]]| {
            let mut names: Vec<String> =
                lists.iter().flat_map(|list| list.iter().map(|(name, _)| name.clone())).collect();
            names.sort_unstable();
            names
        };
        let stem_names = stems.iter().map(|(name, _)| (name.clone(), false));
        Self {
            nodes: stem_names.chain(buses.iter().map(|(name, _)| (name.clone(), true))).collect(),
            buses: sorted(&[&buses]),
            all: sorted(&[&stems, &buses]),
            references: sorted(&[&given(sheet, "reference")]),
            prints: sorted(&[&printed[0].1]),
        }
    }

    /// The name that a key refers to; reported if there is no such thing.
    pub fn resolve(&self, fields: &Fields<'_>, key: &Key) -> Option<Name> {
        let Takes::NameOf(named) = key.takes else { return None };
        self.resolve_item(fields, key, named, &fields.get(key.name)?.item)
    }

    /// The names that a key refers to; reported if there is no such thing, or if one stands there twice.
    pub fn resolve_list(&self, fields: &Fields<'_>, key: &Key) -> Vec<Name> {
        let Takes::NamesOf(named) = key.takes else { return Vec::new() };
        let items = fields.list(key.name);
        let mut names: Vec<Name> = Vec::new();
        for name in items.iter().filter_map(|item| self.resolve_item(fields, key, named, item)) {
            if names.contains(&name) {
                let fault = Fault::new("named-twice", format!("`{name}` stands here already."), "Name it once.");
                fields.report.fail_at(fields.at(), name.place(), fault);
            } else {
                names.push(name);
            }
        }
        if let (true, Some(entry)) = (items.is_empty(), fields.get(key.name))
            && entry.item.list().is_some()
        {
            let message = format!("`{}` names nothing.", key.name);
            fields.fail(&entry.item, Fault::new("empty", message, "Name a stem or bus, or leave the key out."));
        }
        names
    }

    fn resolve_item(&self, fields: &Fields<'_>, key: &Key, named: Named, item: &Written) -> Option<Name> {
        let Some(text) = item.text() else {
            let message = format!("`{}` takes a name, not {}.", key.name, item.what());
            fields.fail(item, Fault::new("wrong-type", message, "Write a name in quotes."));
            return None;
        };
        match self.fault(named, text, fields.report) {
            None => Some(Name::new(text, fields.report.place(&item.span))),
            Some(fault) => {
                fields.fail(item, fault);
                None
            }
        }
    }

    fn fault(&self, named: Named, text: &str, report: &Report<'_>) -> Option<Fault> {
        let known = match named {
            Named::Bus if self.nodes.get(text) == Some(&false) => {
                let message = format!("`{text}` is a stem, and stems have no input.");
                return Some(Fault::new("not-a-bus", message, "Name a bus."));
            }
            Named::Bus | Named::Node => self.nodes.contains_key(text),
            Named::Reference => self.references.binary_search_by(|name| name.as_str().cmp(text)).is_ok(),
            Named::Print => self.prints.binary_search_by(|name| name.as_str().cmp(text)).is_ok(),
        };
        if known {
            return None;
        }
        let (kind, words) = match named {
            Named::Bus => ("bus", &self.buses),
            Named::Node => ("stem or bus", &self.all),
            Named::Reference => ("reference", &self.references),
            Named::Print => ("print", &self.prints),
        };
        let message = format!("There is no {kind} `{text}`.");
        Some(Fault::new("unknown-name", message, report.suggestion(text, words.iter().map(String::as_str))))
    }
}

/// The names under a key, as they are written.
fn given<'a>(sheet: &Fields<'a>, key: &str) -> Vec<(String, &'a Written)> {
    let items = sheet.get(key).and_then(|entry| entry.item.list()).unwrap_or(&[]);
    let name = |item: &'a Written| {
        let written = &item.table()?.get("name")?.item;
        Some((written.text()?.to_owned(), written))
    };
    items.iter().filter_map(name).collect()
}

fn refuse_twice<'n>(report: &Report<'_>, names: impl Iterator<Item = (&'n (String, &'n Written), &'n str)>) {
    let mut first: HashMap<&str, (usize, &str)> = HashMap::new();
    let mut names: Vec<_> = names.collect();
    names.sort_by_key(|((_, written), _)| written.span.start);
    for ((name, written), kind) in names {
        let line = report.place(&written.span).line;
        if let Some((first_line, first_kind)) = first.get(name.as_str()) {
            let message = format!("`{name}` is already the name of the {first_kind} in line {first_line}.");
            let fault = Fault::new("duplicate-name", message, "Give each its own name.");
            report.fail(&format!("{kind} {name}"), &written.span, fault);
        } else {
            first.insert(name, (line, kind));
        }
    }
}
