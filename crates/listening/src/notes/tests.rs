//! Merging, hostile files, keeping, answers.

use super::read::parse;
use super::*;

fn note(id: &str, at_secs: f64, text: &str, written: &str) -> Note {
    Note {
        id: id.to_owned(),
        who: "Mara".to_owned(),
        revision: "r001".to_owned(),
        version: "for approval".to_owned(),
        at_secs,
        to_secs: None,
        text: text.to_owned(),
        written: written.to_owned(),
        state: State::Open,
        answer: None,
        answered: None,
    }
}

fn file(notes: &[Note]) -> Notes {
    Notes { notes: notes.to_vec(), ..Notes::of("Lantern Weather") }
}

fn bytes(notes: &Notes) -> Vec<u8> {
    serde_json::to_vec(notes).unwrap()
}

#[test]
fn files_in_any_order_and_twice_give_the_same_collection() {
    let one = file(&[
        note("a1", 40.0, "voice up", "2026-11-27T10:00:00Z"),
        note("a2", 12.0, "less hats", "2026-11-27T10:01:00Z"),
    ]);
    let two = file(&[
        note("b1", 12.5, "love this", "2026-11-27T09:00:00Z"),
        note("a1", 40.0, "voice up a little", "2026-11-27T11:00:00Z"),
    ]);
    let mut first = Notes::of("Lantern Weather");
    assert_eq!(add(&mut first, one.clone()), Added { new: 2, changed: 0, known: 0 });
    assert_eq!(add(&mut first, two.clone()), Added { new: 1, changed: 1, known: 0 });
    assert_eq!(add(&mut first, two.clone()), Added { new: 0, changed: 0, known: 2 });
    let mut second = Notes::of("Lantern Weather");
    for notes in [two.clone(), one.clone(), one, two] {
        add(&mut second, notes);
    }
    assert_eq!(first, second);
    let texts: Vec<&str> = first.notes.iter().map(|note| note.text.as_str()).collect();
    assert_eq!(texts, ["less hats", "love this", "voice up a little"], "by time, the later words of the same note");
}

#[test]
fn an_answer_is_ours_and_outlives_what_comes_later() {
    let mut notes = Notes::of("Lantern Weather");
    let sent = Note {
        state: State::Done,
        answer: Some("forged".to_owned()),
        ..note("a1", 1.0, "voice up", "2026-11-27T10:00:00Z")
    };
    add(&mut notes, file(&[sent]));
    assert_eq!((notes.notes[0].state, &notes.notes[0].answer), (State::Open, &None), "a listener cannot answer for us");
    notes.answer("a", State::Declined, " It masks the bass. ", "2026-11-27T12:00:00Z").unwrap();
    add(&mut notes, file(&[note("a1", 1.0, "voice up, please", "2026-11-27T13:00:00Z")]));
    let kept = &notes.notes[0];
    assert_eq!(
        (kept.state, kept.answer.as_deref(), kept.text.as_str()),
        (State::Declined, Some("It masks the bass."), "voice up, please")
    );
}

#[test]
fn an_answer_needs_one_note() {
    let mut notes = file(&[note("a1", 1.0, "x", ""), note("a2", 2.0, "y", "")]);
    assert_eq!(notes.answer("a", State::Done, "", "").unwrap_err().problem().code, "unknown-note");
    assert_eq!(notes.answer("", State::Done, "", "").unwrap_err().problem().code, "unknown-note");
    assert_eq!(notes.answer("zz", State::Done, "", "").unwrap_err().problem().code, "unknown-note");
    assert!(notes.answer("a2", State::Done, "", "").is_ok());
}

#[test]
fn hostile_files_are_refused_with_a_reason() {
    let with = |change: &dyn Fn(&mut Note)| {
        let mut bad = note("a1", 1.0, "x", "");
        change(&mut bad);
        bytes(&file(&[bad]))
    };
    let deep =
        [b"{\"fairprint_notes\":0,\"deep\":".to_vec(), b"[".repeat(100_000), b"]".repeat(100_000), b"}".to_vec()]
            .concat();
    let mut ballot = serde_json::json!({"fairprint_notes": 1, "ballots": [{"id": "b", "who": "", "revision": "r001", "written": "",
        "passage_secs": [0, 5], "versions": ["a", "b"], "rounds": [{"loudness": "matched", "order": ["a", "b"], "chose": "c"}]}]});
    let liar = ballot.to_string().into_bytes();
    ballot["ballots"][0]["rounds"] = serde_json::json!([]);
    ballot["ballots"][0]["trims_db"] = serde_json::json!({"a": 1e300});
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("larger than", vec![b' '; LARGEST_FILE_BYTES as usize + 1]),
        ("not a file of notes", Vec::new()),
        ("not a file of notes", b"\x00\xff\xfe".to_vec()),
        ("not a file of notes", b"{\"fairprint_notes\": 1, \"notes\": {}}".to_vec()),
        ("format 0", deep),
        ("format 2", b"{\"fairprint_notes\": 2}".to_vec()),
        ("entries", bytes(&file(&vec![note("a1", 1.0, "x", ""); MOST_ENTRIES + 1]))),
        ("longer than", with(&|n| n.text = "x".repeat(LONGEST_TEXT + 1))),
        ("longer than", with(&|n| n.who = "x".repeat(201))),
        ("its id", with(&|n| n.id = "../../etc".to_owned())),
        ("its id", with(&|n| n.id = String::new())),
        ("no span", with(&|n| n.at_secs = -1.0)),
        ("no span", with(&|n| n.to_secs = Some(0.5))),
        ("no span", with(&|n| n.at_secs = 1e12)),
        ("not a file of notes", br#"{"fairprint_notes":1,"notes":[{"id":"a","who":"","revision":"","version":"","at_secs":NaN,"text":"","written":""}]}"#.to_vec()),
        ("not a file of notes", br#"{"fairprint_notes":1,"notes":[{"id":"a","who":"","revision":"","version":"","at_secs":1e999,"text":"","written":""}]}"#.to_vec()),
        ("64 digits", br#"{"fairprint_notes":1,"approvals":[{"id":"a","who":"","revision":"","version":"","sha256":"12","written":""}]}"#.to_vec()),
        ("was not in it", liar),
        ("no level", ballot.to_string().into_bytes()),
    ];
    for (expected, bytes) in cases {
        let reason = parse(&bytes).expect_err(expected);
        assert!(reason.contains(expected), "{expected}: {reason}");
    }
}

#[test]
fn script_stays_text_and_what_steers_a_terminal_is_taken_out() {
    let sent = note("a1", 1.0, "<script>alert(1)</script>\u{1b}[2J\r\nnext\u{202e}", "");
    let read = parse(&bytes(&file(&[Note { who: "Ma\u{7}ra\n".to_owned(), ..sent }]))).unwrap();
    assert_eq!(read.notes[0].text, "<script>alert(1)</script>[2J\nnext");
    assert_eq!(read.notes[0].who, "Mara ");
}

#[test]
fn the_collection_is_written_whole_and_the_one_before_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.toml");
    assert_eq!(load(&sheet, "Lantern Weather").unwrap(), Notes::of("Lantern Weather"));
    let one = file(&[note("a1", 1.0, "x", "")]);
    save(&sheet, &one).unwrap();
    assert!(!previous_of(&sheet).exists());
    let two = file(&[note("a1", 1.0, "x", ""), note("a2", 2.0, "y", "")]);
    save(&sheet, &two).unwrap();
    save(&sheet, &two).unwrap();
    assert_eq!(load(&sheet, "").unwrap(), two);
    assert_eq!(
        parse(&std::fs::read(previous_of(&sheet)).unwrap()).unwrap(),
        one,
        "saving the same twice keeps the other"
    );
    let names: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names.len(), 2, "no part is left: {names:?}");
}

#[test]
fn of_changes_at_once_none_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.toml");
    std::thread::scope(|scope| {
        for who in 0..4 {
            let sheet = &sheet;
            scope.spawn(move || {
                for n in 0..10 {
                    let sent = file(&[note(&format!("n{who}x{n}"), 1.0, "x", "")]);
                    change(sheet, "Lantern Weather", |notes| Ok(add(notes, sent))).unwrap();
                }
            });
        }
    });
    assert_eq!(load(&sheet, "").unwrap().notes.len(), 40);
}

#[test]
fn a_collection_never_grows_past_what_is_read_again() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.toml");
    let many = |from: usize, text: &str| {
        let notes: Vec<Note> = (from..from + 900).map(|n| note(&format!("n{n}"), 1.0, text, "")).collect();
        file(&notes)
    };
    let mut collected = many(0, &"x".repeat(3000));
    save(&sheet, &collected).unwrap();
    // Each file may be taken, all together not: what is there stays, and is read.
    add(&mut collected, many(900, &"y".repeat(3000)));
    let refused = save(&sheet, &collected).unwrap_err();
    assert!(refused.problem().message.contains("larger than"), "{}", refused.problem().message);
    assert_eq!(load(&sheet, "").unwrap().notes.len(), 900);
}

#[test]
fn moments_move_with_the_start_of_the_song() {
    let mut notes = Notes::of("Lantern Weather");
    notes.starts = [("r001".to_owned(), 0.0), ("r003".to_owned(), 1.25)].into();
    assert_eq!(place(&notes, 41.2, "r001", "r003"), Some(42.45));
    assert_eq!(place(&notes, 42.45, "r003", "r001"), Some(41.2));
    assert_eq!(place(&notes, 5.0, "r002", "r003"), None, "unknown is not guessed");
    assert_eq!(place(&notes, 5.0, "r002", "r002"), Some(5.0));
}

#[test]
fn times_of_many_digits_come_back_as_they_were() {
    let times = (1..2000).map(|n| note(&format!("{n}"), f64::from(n).sqrt() * 7.3, "here", "2026-11-27T10:00:00Z"));
    let sent = file(&times.collect::<Vec<_>>());
    assert_eq!(serde_json::from_slice::<Notes>(&bytes(&sent)).unwrap(), sent);
}
