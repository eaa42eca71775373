//! A new name for a stem or bus, here and wherever it is referred to.

use units::Problem;

use super::{Plain, Splice, refused};
use crate::tree::{Table, Written};

pub(super) fn rename(root: &Written, from: &str, to: &str) -> Result<Vec<Splice>, Box<Problem>> {
    let mut names = Names { from, to, splices: Vec::new() };
    let list =
        |key: &str| root.table().and_then(|table| table.get(key)).and_then(|entry| entry.item.list()).unwrap_or(&[]);
    let nodes = || list("stem").iter().chain(list("bus"));
    if nodes().any(|node| node.table().and_then(|table| table.get("name")).is_some_and(|e| e.item.text() == Some(to))) {
        return Err(refused(to, "There is a stem or bus of that name.", "Take another name."));
    }
    for node in nodes().filter_map(Written::table) {
        names.replace(node, "name");
        if names.splices.is_empty() {
            continue;
        }
        break;
    }
    if names.splices.is_empty() {
        return Err(refused(
            from,
            "There is no stem or bus of that name.",
            "Read the sheet again: it may have changed.",
        ));
    }
    for node in nodes().filter_map(Written::table) {
        names.replace(node, "to");
        names.in_lists(node);
    }
    for print in list("print").iter().filter_map(Written::table) {
        names.replace(print, "from");
        names.in_lists(print);
    }
    for changed in list("alternate").iter().filter_map(Written::table) {
        names.in_list(changed, "mute");
        names.in_list(changed, "only");
        for offset in changed.get("offsets").and_then(|entry| entry.item.list()).unwrap_or(&[]) {
            offset.table().into_iter().for_each(|offset| names.replace(offset, "node"));
        }
    }
    for set in list("stem_print").iter().filter_map(Written::table) {
        for group in set.get("groups").and_then(|entry| entry.item.list()).unwrap_or(&[]) {
            group.table().into_iter().for_each(|group| names.in_list(group, "from"));
        }
    }
    Ok(names.splices)
}

struct Names<'a> {
    from: &'a str,
    to: &'a str,
    splices: Vec<Splice>,
}

impl Names<'_> {
    /// The name under a key of a table.
    fn replace(&mut self, table: &Table, key: &str) {
        if let Some(entry) = table.get(key).filter(|entry| entry.item.text() == Some(self.from)) {
            self.splices.push(Splice::new(entry.item.span.clone(), Plain::from(self.to).to_string()));
        }
    }

    /// The name in the list under a key of a table.
    fn in_list(&mut self, table: &Table, key: &str) {
        for item in table.get(key).and_then(|entry| entry.item.list()).unwrap_or(&[]) {
            if item.text() == Some(self.from) {
                self.splices.push(Splice::new(item.span.clone(), Plain::from(self.to).to_string()));
            }
        }
    }

    /// Names in the sends, the chain's keys and the rides of a table.
    fn in_lists(&mut self, table: &Table) {
        let list = |key: &str| table.get(key).and_then(|entry| entry.item.list()).unwrap_or(&[]);
        for send in list("sends").iter().filter_map(Written::table) {
            self.replace(send, "to");
        }
        for processor in list("chain").iter().filter_map(Written::table).flat_map(|link| &link.entries) {
            if let Some(parameters) = processor.item.table() {
                self.replace(parameters, "key");
            }
        }
        for ride in list("rides").iter().filter_map(Written::table) {
            let Some(what) = ride.get("what") else { continue };
            let rest = what.item.text().and_then(|text| text.strip_prefix("send ")?.strip_prefix(self.from));
            if rest == Some(".level_db") {
                let text = format!("send {}.level_db", self.to);
                self.splices.push(Splice::new(what.item.span.clone(), Plain::from(text.as_str()).to_string()));
            }
        }
    }
}
