//! What the documents show of sheets can be written: every fragment is read by the program's own definitions.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::fs;
use std::path::{Path, PathBuf};

use units::{Problem, Severity};

/// What a fragment lacks: the rest of its sheet.
const REST: [&str; 8] = [
    "unknown-name",
    "no-prints",
    "no-stems",
    "no-files",
    "silent-print",
    "not-a-bus",
    "no-stems-in-it",
    "unknown-target",
];

/// The blocks of a document that are sheets.
fn fragments(text: &str) -> Vec<String> {
    text.split("```toml\n").skip(1).map(|rest| rest.split("```").next().unwrap().to_owned()).collect()
}

fn documents() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let folders = ["docs", "docs/guide"].map(|folder| root.join(folder));
    let in_folders = folders.iter().flat_map(|folder| fs::read_dir(folder).unwrap()).map(|entry| entry.unwrap().path());
    in_folders.chain([root.join("README.md")]).filter(|path| path.extension().is_some_and(|end| end == "md")).collect()
}

/// What is wrong with an album, or with a sheet of which this is a part.
fn problems_of(fragment: &str) -> Vec<Problem> {
    if fragment.starts_with("fairprint_album") {
        return sheet::read_album(fragment).1;
    }
    let head = "fairprint = 1\n[song]\ntitle = \"Lantern Weather\"\nartist = \"The Tin Orchard\"\nrate_hz = 48000\n";
    sheet::read(&format!("{head}{fragment}"), &engine::specs()).1
}

#[test]
fn every_fragment_of_a_sheet_can_be_written() {
    let (mut seen, mut wrong) = (0, Vec::new());
    for path in documents() {
        for fragment in fragments(&fs::read_to_string(&path).unwrap()) {
            let problems = problems_of(&fragment);
            let faults = problems.iter().filter(|p| p.severity == Severity::Fail && !REST.contains(&p.code));
            wrong.extend(faults.map(|problem| format!("{}: {} in\n{fragment}", path.display(), problem.message)));
            seen += 1;
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(seen > 15, "fragments were found: {seen}");
}
