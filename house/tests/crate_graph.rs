//! Crates import upwards only: every edge of the crate graph stands in the table of `docs/architecture.md`.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use cargo_metadata::{DependencyKind, MetadataCommand};

/// Crate, and what it may import, by the table.
fn table() -> BTreeMap<String, BTreeSet<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/architecture.md");
    let text = fs::read_to_string(path).expect("readable");
    let mut table = BTreeMap::new();
    for row in text.lines().filter(|line| line.starts_with("| `")) {
        let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
        let [name, _, imports] = cells[..] else { continue };
        let above: BTreeSet<String> = table.keys().cloned().collect();
        let named = |imports: &str| {
            imports.split(',').map(|word| word.trim().to_owned()).filter(|word| !word.is_empty()).collect()
        };
        table.insert(name.trim_matches('`').to_owned(), if imports == "all above" { above } else { named(imports) });
    }
    table
}

#[test]
fn every_import_between_our_crates_is_allowed() {
    let metadata = MetadataCommand::new().no_deps().exec().expect("the workspace can be read");
    let ours: BTreeSet<String> = metadata.packages.iter().map(|package| package.name.to_string()).collect();
    let table = table();
    assert_eq!(ours, table.keys().cloned().collect(), "the table and the workspace name the same crates");
    for package in &metadata.packages {
        let imports = package.dependencies.iter().filter(|import| import.kind == DependencyKind::Normal);
        for import in imports.filter(|import| ours.contains(&import.name)) {
            let allowed = table[package.name.as_str()].contains(&import.name);
            assert!(allowed, "{} must not import {}", package.name, import.name);
        }
    }
}

#[test]
fn the_table_allows_no_circle() {
    // Whoever may import another stands below it.
    let table = table();
    for (name, imports) in &table {
        for import in imports {
            assert!(!table[import].contains(name), "{name} and {import} may import each other");
        }
    }
}
