//! A file of notes, as anyone may send one: taken whole, added to itself without a change, and written down again; or
//! refused.

#![no_main]

mod place;

use std::path::PathBuf;
use std::sync::LazyLock;

use listening::notes;

static PATH: LazyLock<PathBuf> = LazyLock::new(|| place::of("notes.json"));

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    std::fs::write(&*PATH, bytes).expect("a place to write");
    let Ok(sent) = notes::read(&PATH) else { return };
    let mut collected = notes::Notes::of("");
    notes::add(&mut collected, sent.clone());
    let once = collected.clone();
    let again = notes::add(&mut collected, sent);
    assert_eq!((again.new, &collected), (0, &once));
    let text = serde_json::to_vec(&collected).expect("it is written down");
    let back: notes::Notes = serde_json::from_slice(&text).expect("it is read again");
    assert_eq!(back, collected);
});
