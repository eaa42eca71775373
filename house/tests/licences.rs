//! Everything we build from comes under a licence that a tool under MIT OR Apache-2.0 may be shipped with.

use cargo_metadata::MetadataCommand;

/// Licences that allow use in any program, with their notices kept.
const FREE: &[&str] = &[
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "BSL-1.0",
    "CC0-1.0",
    "Unlicense",
    "0BSD",
    "Unicode-3.0",
    // Shared file by file: we change none of theirs.
    "MPL-2.0",
];

/// Crates under licences that ask for more, with what makes them fit.
const BY_NAME: &[(&str, &str)] = &[
    ("mp3lame-encoder", "LGPL-3.0: our program is open and can be linked again with another version"),
    ("mp3lame-sys", "LGPL-3.0: the same"),
    (
        "font-awesome-as-a-crate",
        "CC-BY-4.0: signs on the buttons of the book, which is made on one's own machine and not shipped",
    ),
];

#[test]
fn every_licence_is_one_that_we_may_ship() {
    let metadata = MetadataCommand::new().exec().expect("the workspace can be read");
    let mut refused = Vec::new();
    for package in &metadata.packages {
        let licence = package.license.as_deref().unwrap_or("none stated");
        let by_name = BY_NAME.iter().any(|(name, _)| *package.name == **name);
        if !by_name && !is_free(licence) {
            refused.push(format!("{} {}: {licence}", package.name, package.version));
        }
    }
    assert!(refused.is_empty(), "licences to look at: {refused:#?}");
    assert!(metadata.packages.len() > 50, "dependencies were seen");
}

/// Whether one of the alternatives is free in all its parts.
fn is_free(licence: &str) -> bool {
    let plain = licence.replace('/', " OR ").replace(['(', ')'], "");
    plain.split(" OR ").any(|alternative| alternative.split(" AND ").all(|part| FREE.contains(&part.trim())))
}

#[test]
fn expressions_are_read_right() {
    assert!(is_free("MIT/Apache-2.0") && is_free("GPL-3.0 OR MIT") && is_free("MIT AND ISC"));
    assert!(!is_free("GPL-3.0") && !is_free("MIT AND GPL-3.0"));
}
