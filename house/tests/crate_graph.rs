//! Crates import upwards only: every edge of the crate graph stands in this table, which `docs/architecture.md` explains.

use std::collections::BTreeSet;

use cargo_metadata::{DependencyKind, MetadataCommand};

/// Crate, and what it may import.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("chance", &["units"]),
    ("fourier", &[]),
    ("dsp", &["units", "fourier"]),
    ("measure", &["units", "fourier"]),
    ("media", &["units"]),
    ("demo", &["units", "dsp", "media"]),
    ("sheet", &["units"]),
    ("engine", &["units", "dsp", "sheet", "media"]),
    ("prints", &["units", "sheet", "engine", "measure", "media"]),
    ("reference", &["units", "dsp", "measure", "sheet", "prints"]),
    ("pages", &[]),
    ("listening", &["units", "sheet", "engine", "measure", "media", "prints", "pages"]),
    ("desk", &["units", "dsp", "sheet", "engine", "measure", "media", "prints", "pages", "reference", "listening"]),
    (
        "fairprint",
        &["units", "dsp", "measure", "media", "demo", "sheet", "engine", "prints", "reference", "listening", "desk"],
    ),
    ("house", &[]),
];

#[test]
fn every_import_between_our_crates_is_allowed() {
    let metadata = MetadataCommand::new().no_deps().exec().expect("the workspace can be read");
    let ours: BTreeSet<String> = metadata.packages.iter().map(|package| package.name.to_string()).collect();
    let known: BTreeSet<String> = MAY_IMPORT.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(ours, known, "the table and the workspace name the same crates");
    for package in &metadata.packages {
        let (_, allowed) = MAY_IMPORT.iter().find(|(name, _)| *package.name == **name).expect("named above");
        let imports = package.dependencies.iter().filter(|import| import.kind == DependencyKind::Normal);
        for import in imports.filter(|import| ours.contains(&import.name)) {
            assert!(allowed.contains(&import.name.as_str()), "{} must not import {}", package.name, import.name);
        }
    }
}
