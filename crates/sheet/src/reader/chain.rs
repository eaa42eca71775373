//! Chains of processors.

use units::{At, Param, Rows, Settings, Spec};

use super::Reader;
use super::fields::Fields;
use super::report::{Fault, Report};
use crate::keys::{self, Takes};
use crate::model::Link;
use crate::tree::{Entry, Written};

/// The processors of a chain, and whether all of its entries could be read.
pub(super) fn read_chain(reader: &Reader<'_>, owner: &Fields<'_>, key: &str) -> (Vec<Link>, bool) {
    let items = owner.list(key);
    let links = items.iter().enumerate().filter_map(|(index, item)| {
        let at = format!("{}, {key} {}", owner.at(), index + 1);
        read_link(reader, item, at)
    });
    let links: Vec<Link> = links.collect();
    let whole = links.len() == items.len();
    (links, whole)
}

fn read_link(reader: &Reader<'_>, item: &Written, at: String) -> Option<Link> {
    let report = reader.report;
    let Some(table) = item.table() else {
        let message = format!("Here should be a processor, not {}.", item.what());
        report.fail(&at, &item.span, Fault::new("wrong-type", message, "Write `{ NAME = { … } }`."));
        return None;
    };
    let mut found: Option<(&'static Spec, &Entry)> = None;
    for entry in table.entries.iter().filter(|entry| entry.key != keys::OFF.name) {
        let spec = reader.catalogue.iter().find(|spec| spec.name == entry.key);
        match (spec, found) {
            (None, _) => {
                let message = format!("There is no processor `{}`.", entry.key);
                let words = reader.catalogue.iter().map(|spec| spec.name).chain([keys::OFF.name]);
                let remedy = report.suggestion(&entry.key, words);
                report.fail(&at, &entry.key_span, Fault::new("unknown-processor", message, remedy));
                return None;
            }
            (Some(_), Some((first, _))) => {
                let message = format!("`{}` stands in one entry with `{}`.", entry.key, first.name);
                report.fail(&at, &entry.key_span, Fault::new("one-of", message, "Give each its own `{ }`, in order."));
                return None;
            }
            (Some(spec), None) => found = Some((spec, entry)),
        }
    }
    let Some((spec, entry)) = found else {
        report.fail(
            &at,
            &item.span,
            Fault::new("missing-key", "This entry names no processor.", "Write `{ NAME = { … } }`."),
        );
        return None;
    };
    let at = format!("{at}, {}", spec.name);
    let own = Fields::open_keys(report, &entry.item, at.clone(), known_keys(spec))?;
    let around = Fields::open_keys(report, item, at, [spec.name, keys::OFF.name])?;
    Some(Link {
        settings: read_settings(spec, reader.console.as_ref(), &own),
        off: around.switch(&keys::OFF),
        key: spec.outside_key.then(|| reader.names.resolve(&own, &keys::OUTSIDE_KEY)).flatten(),
        place: report.place(&entry.key_span),
    })
}

/// What may stand in a processor's table.
fn known_keys(spec: &'static Spec) -> impl Iterator<Item = &'static str> + Clone {
    let params = spec.params.iter().map(|param| param.name);
    params.chain(spec.rows.map(|rows| rows.name)).chain(spec.outside_key.then_some(keys::OUTSIDE_KEY.name))
}

/// The console colour of the whole song.
pub(super) fn read_console(report: &Report<'_>, catalogue: &[&'static Spec], sheet: &Fields<'_>) -> Option<Link> {
    let Takes::Processor(name) = keys::CONSOLE.takes else { return None };
    let entry = sheet.get(keys::CONSOLE.name)?;
    let spec = catalogue.iter().find(|spec| spec.name == name)?;
    let own = Fields::open_keys(report, &entry.item, keys::CONSOLE.name.to_owned(), known_keys(spec))?;
    let settings = read_settings(spec, None, &own);
    Some(Link { settings, off: false, key: None, place: report.place(&entry.key_span) })
}

/// What a processor's table says; where it is silent, the song's settings for that processor, or else the defaults.
fn read_settings(spec: &'static Spec, of_song: Option<&Link>, own: &Fields<'_>) -> Settings {
    let of_song = of_song.map(|link| &link.settings).filter(|settings| settings.spec().name == spec.name);
    let mut settings = of_song.cloned().unwrap_or_else(|| Settings::defaults(spec));
    set_all(&mut settings, None, spec.params, own);
    if let Some(rows) = spec.rows {
        read_rows(&mut settings, &rows, own);
    }
    settings
}

fn read_rows(settings: &mut Settings, rows: &Rows, own: &Fields<'_>) {
    let items = own.list(rows.name);
    if items.len() > rows.most {
        let message = format!("{} {} are too many.", items.len(), rows.name);
        own.fail(&items[rows.most], Fault::new("too-many", message, format!("Write at most {}.", rows.most)));
    }
    for (index, item) in items.iter().enumerate().take(rows.most) {
        let at = format!("{}, {} {}", own.at(), rows.singular, index + 1);
        let names = rows.params.iter().map(|param| param.name);
        let row = settings.add_row();
        if let Some(fields) = Fields::open_keys(own.report, item, at, names) {
            set_all(settings, Some(row), rows.params, &fields);
        }
    }
}

fn set_all(settings: &mut Settings, row: Option<usize>, params: &'static [Param], fields: &Fields<'_>) {
    for (index, param) in params.iter().enumerate() {
        if fields.get(param.name).is_some() {
            settings.set(At { row, param: index }, fields.param(param));
        }
    }
}
