//! A sheet's text, read with the real catalogue: a sheet or problems, each with a place in the text and a remedy.

#![no_main]

use std::sync::LazyLock;

static SPECS: LazyLock<Vec<&'static units::Spec>> = LazyLock::new(engine::specs);

libfuzzer_sys::fuzz_target!(|text: &str| {
    let (sheet, problems) = sheet::read(text, &SPECS);
    assert!(sheet.is_some() || !problems.is_empty());
    for problem in &problems {
        let place = problem.place.expect("a place");
        assert!(place.from <= place.to && place.to <= text.len() && text.is_char_boundary(place.from));
        assert!(!problem.message.is_empty() && !problem.remedy.is_empty());
    }
});
