//! The folder of the demo song: what is in it, and that nothing is ever overwritten.

use std::fs;

use demo::{DemoReason, SHEET, write};

#[test]
fn the_folder_holds_what_the_sheet_names_and_is_never_overwritten() {
    let folder = tempfile::tempdir().expect("a folder");
    let place = folder.path().join("demo-song");
    let files = write(&place).expect("the demo song is written");
    assert_eq!(fs::read_to_string(&files.sheet).expect("the sheet"), SHEET);
    let named: Vec<&str> = SHEET.lines().filter_map(|l| l.strip_prefix("file = \"")?.strip_suffix('"')).collect();
    assert_eq!(named.len(), 1 + files.stems.len());
    for file in named {
        let (info, frames) = media::read_all(&place.join(file), None).expect("a file of the sheet");
        assert_eq!((info.rate_hz, info.channels, frames.len()), (48_000, 2, 4_507_826), "{file}");
    }
    let left: Vec<_> = fs::read_dir(&place).expect("the folder").flatten().map(|e| e.file_name()).collect();
    assert_eq!(left.len(), 3, "{left:?}");

    let before = fs::metadata(&files.rough_mix).and_then(|m| m.modified()).expect("a time");
    fs::remove_file(&files.sheet).expect("one file goes");
    let error = write(&place).expect_err("the rest is still there");
    assert!(matches!(&error.reason, DemoReason::Exists) && error.path == files.rough_mix, "{error}");
    assert!(error.remedy().contains("another folder") && !error.is_machine_fault());
    assert!(!files.sheet.exists());
    assert_eq!(fs::metadata(&files.rough_mix).and_then(|m| m.modified()).expect("a time"), before);
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let taken = folder.path().join("a file");
    fs::write(&taken, "text").expect("a file");
    let error = write(&taken).expect_err("a file is no folder");
    assert!(error.to_string().contains("a file"), "{error}");
}
