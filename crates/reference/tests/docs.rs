//! The reference in `docs/reference` is what the definitions and the processors give now, byte for byte.

use std::fs;
use std::path::Path;

/// What the command line writes beside them, and holds fresh itself.
const BESIDE: &[&str] = &["commands.md"];

/// Most bytes of a figure.
const MOST_BYTES: usize = 15_000;

#[test]
fn the_reference_is_fresh_and_whole() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/reference");
    let files = reference::files();
    let stale: Vec<&str> = files
        .iter()
        .filter(|file| fs::read_to_string(folder.join(&file.name)).ok().as_ref() != Some(&file.text))
        .map(|file| file.name.as_str())
        .collect();
    assert!(stale.is_empty(), "run `sh scripts/reference` and look at what it changes: {stale:?}");
    let left = fs::read_dir(&folder).expect("the folder is there").count();
    assert_eq!(left, files.len() + BESIDE.len(), "docs/reference holds a file that nothing makes");
    for file in files.iter().filter(|file| file.name.ends_with(".svg")) {
        assert!(file.text.len() <= MOST_BYTES, "{} has {} bytes", file.name, file.text.len());
        assert!(!file.text.contains("NaN") && !file.text.contains("inf"), "{}", file.name);
    }
}

#[test]
fn every_processor_has_a_page_with_a_source_and_a_caution() {
    for entry in dsp::CATALOGUE {
        assert!(entry.spec.source.ends_with('.') && entry.spec.caution.ends_with('.'), "{}", entry.spec.name);
    }
}
