//! What we build from: only the public registry, only what the lock files name, and no unsafe code but in places that say
//! why.
//!
//! `deny.toml` says the same to cargo-deny, which also knows advisories; it needs the network for those.

use std::fs;
use std::path::{Path, PathBuf};

use cargo_metadata::MetadataCommand;

/// Where unsafe code stands, and why. Both are tests: nothing that is shipped holds any of ours.
const UNSAFE: [(&str, &str); 2] = [
    ("crates/dsp/tests/contract/allocations.rs", "counts allocations: an allocator cannot be written without it"),
    ("crates/dsp/tests/contract/denormals.rs", "reads a flag of the processor that no safe call shows"),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the workspace")
}

/// Files of our own with an ending, as paths from the workspace.
fn files(ending: &str) -> Vec<PathBuf> {
    let (mut found, mut folders) = (Vec::new(), vec![root().to_owned()]);
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("readable").map(|entry| entry.expect("readable")) {
            let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
            if path.is_dir() && !name.starts_with('.') && !["target", "node_modules", "dist"].contains(&&*name) {
                folders.push(path);
            } else if name.ends_with(ending) {
                found.push(path.strip_prefix(root()).expect("below the workspace").to_owned());
            }
        }
    }
    found.sort();
    found
}

#[test]
fn unsafe_code_stands_only_where_it_is_named() {
    // The lint refuses it everywhere else; put together here, so that this file does not find itself.
    let mark = ["allow(", "unsafe_code"].concat();
    let marked = |path: &PathBuf| fs::read_to_string(root().join(path)).is_ok_and(|text| text.contains(&mark));
    let found: Vec<PathBuf> = files(".rs").into_iter().filter(marked).collect();
    let named: Vec<PathBuf> = UNSAFE.iter().map(|(path, _)| PathBuf::from(path)).collect();
    assert_eq!(found, named);
    let text = |path: &Path| fs::read_to_string(root().join(path)).expect("readable");
    assert!(text(Path::new("Cargo.toml")).contains("unsafe_code = \"deny\""));
    let metadata = MetadataCommand::new().exec().expect("the workspace can be read");
    for package in metadata.workspace_packages() {
        let manifest = fs::read_to_string(&package.manifest_path).expect("readable");
        assert!(manifest.contains("[lints]\nworkspace = true"), "{} takes the lints of all", package.name);
    }
}

#[test]
fn everything_comes_from_the_registry_and_stands_in_a_lock_file() {
    let metadata = MetadataCommand::new().other_options(["--locked".to_owned()]).exec();
    let metadata = metadata.expect("the lock file is whole");
    let foreign = |package: &&cargo_metadata::Package| package.source.as_ref().is_some_and(|s| !s.is_crates_io());
    let foreign: Vec<String> = metadata.packages.iter().filter(foreign).map(|p| p.name.to_string()).collect();
    assert!(foreign.is_empty(), "not from the registry: {foreign:?}");
    let lock = fs::read_to_string(root().join("crates/pages/web/package-lock.json")).expect("the pages' lock file");
    let lock: serde_json::Value = serde_json::from_str(&lock).expect("JSON");
    let packages = lock["packages"].as_object().expect("packages");
    let loose = packages.iter().filter(|(place, package)| {
        // One that came from elsewhere than the registry says from where.
        let held = package["integrity"].is_string() && package["resolved"].is_null();
        !place.is_empty() && !held
    });
    let loose: Vec<&String> = loose.map(|(place, _)| place).collect();
    assert!(loose.is_empty() && packages.len() > 20, "without a checksum, or from elsewhere: {loose:?}");
}

#[test]
fn the_same_licences_are_told_to_cargo_deny() {
    // One list of licences, in `licences.rs`; `deny.toml` repeats it for a tool that cannot read that.
    let ours = fs::read_to_string(root().join("house/tests/licences.rs")).expect("readable");
    let ours = ours.split("const FREE").nth(1).and_then(|rest| rest.split("];").next()).expect("the list");
    let theirs = fs::read_to_string(root().join("deny.toml")).expect("readable");
    let theirs = theirs.split("allow = [").nth(1).and_then(|rest| rest.split(']').next()).expect("the list");
    let quoted = |text: &str| -> Vec<String> { text.split('"').skip(1).step_by(2).map(str::to_owned).collect() };
    assert_eq!(quoted(ours), quoted(theirs));
}
