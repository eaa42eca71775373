//! A message of the desk's page: understood or not; what it would change in a sheet gives a text that reads as TOML, or a
//! reason why not.

#![no_main]

use std::sync::LazyLock;

use desk::protocol::Asked;

/// A sheet that has one of everything that is changed by hand.
const SHEET: &str = include_str!("../../crates/sheet/tests/cases/whole.toml");

static SPECS: LazyLock<Vec<&'static units::Spec>> = LazyLock::new(engine::specs);

libfuzzer_sys::fuzz_target!(|text: &str| {
    let Ok(Asked::Edit { edits, .. }) = serde_json::from_str::<Asked>(text) else { return };
    let mut sheet = SHEET.to_owned();
    for edit in &edits {
        let Ok(after) = edit.apply(&sheet) else { return };
        let (_, problems) = sheet::read(&after, &SPECS);
        assert_ne!(problems.first().map(|problem| problem.code), Some("syntax"), "{after}");
        sheet = after;
    }
});
