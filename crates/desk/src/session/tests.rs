//! Edits, undoing, saving, what is heard.

use sheet::Step;

use super::*;
use crate::testing::Song;

fn path(steps: &[&str]) -> Vec<Step> {
    steps.iter().map(|step| Step::from(*step)).collect()
}

fn level(session: &mut Session, db: f64, goes_on: bool) {
    let edit = Edit::Set { path: path(&["stem", "a", "level_db"]), value: db.into() };
    session.edit(&[edit], &format!("level of a to {db} dB"), goes_on).expect("it can be set");
}

#[test]
fn edits_keep_comments_and_are_taken_back_one_by_one() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let before = session.text.clone();
    level(&mut session, -8.0, false);
    level(&mut session, -9.0, true);
    level(&mut session, -10.0, true);
    level(&mut session, -3.0, false);
    assert!(session.text.contains("level_db = -3 # felt, not heard") && session.text.contains("# The lantern hums."));
    assert_eq!(session.view().song.undo.as_deref(), Some("level of a to -3 dB"));
    assert!(session.undo().expect("it compiles"));
    assert_eq!(session.sheet.nodes[0].level_db, -10.0);
    assert!(session.undo().expect("it compiles"));
    assert_eq!(session.text, before);
    assert!(!session.undo().expect("nothing is left"));
    assert!(session.redo().expect("it compiles") && session.redo().expect("it compiles"));
    assert_eq!((session.sheet.nodes[0].level_db, session.redo().expect("nothing is left")), (-3.0, false));
}

#[test]
fn what_does_not_compile_changes_nothing_and_says_why() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let before = session.text.clone();
    let loops = Edit::Set { path: path(&["stem", "a", "to"]), value: "nowhere".into() };
    let good = Edit::Set { path: path(&["stem", "b", "level_db"]), value: (-1.0).into() };
    let refused = session.edit(&[good, loops], "both or none", false).expect_err("there is no such bus");
    assert!(refused.message.contains("nowhere"), "{refused:?}");
    assert_eq!((&session.text, session.view().song.undo), (&before, None));
}

#[test]
fn saving_keeps_the_file_that_was_there() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let before = session.text.clone();
    level(&mut session, -8.0, false);
    session.keep_unsaved();
    assert!(Session::open(&song.sheet()).expect("it opens").view().song.unsaved_before);
    session.save().expect("it can be written");
    assert_eq!(fs::read_to_string(song.sheet()).expect("it is there"), session.text);
    assert_eq!(fs::read_to_string(beside(&song.sheet(), "before")).expect("it is there"), before);
    assert!(!session.is_unsaved() && !Session::open(&song.sheet()).expect("it opens").view().song.unsaved_before);
}

#[test]
fn what_was_undone_is_not_kept() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let is_kept = || Session::open(&song.sheet()).expect("it opens").view().song.unsaved_before;
    level(&mut session, -8.0, false);
    session.keep_unsaved();
    assert!(is_kept());
    session.undo().expect("it compiles");
    session.keep_unsaved();
    assert!(!is_kept() && !session.is_unsaved());
    session.redo().expect("it compiles");
    session.keep_unsaved();
    assert!(is_kept(), "and is kept again once it is there again");
    // What an earlier session left is another matter.
    let mut next = Session::open(&song.sheet()).expect("it opens");
    next.keep_unsaved();
    assert!(is_kept() && next.view().song.unsaved_before);
}

#[test]
fn what_a_killed_session_did_not_save_can_be_taken_up_after_other_changes_too() {
    let song = Song::new();
    let mut killed = Session::open(&song.sheet()).expect("it opens");
    level(&mut killed, -8.0, false);
    killed.keep_unsaved();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    level(&mut session, -9.0, false);
    session.keep_unsaved();
    assert!(session.view().song.unsaved_before);
    session.recover().expect("it is still there");
    assert_eq!(session.sheet.nodes[0].level_db, -8.0);
    assert!(session.undo().expect("it compiles") && session.sheet.nodes[0].level_db == -9.0);
}

#[test]
fn what_was_changed_elsewhere_a_moment_ago_is_not_written_over_unasked() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    level(&mut session, -8.0, false);
    let outside = session.saved.replace("level_db = -6", "level_db = -7");
    fs::write(song.sheet(), &outside).expect("it can be written");
    // Nothing has looked at the file since.
    assert_eq!(session.save().expect_err("it was changed").code, "changed-outside");
    assert_eq!(fs::read_to_string(song.sheet()).expect("it is there"), outside);
    assert!(session.view().song.changed_outside);
    session.save().expect("it was asked for twice");
    assert_eq!(fs::read_to_string(beside(&song.sheet(), "before")).expect("it is there"), outside);
}

#[test]
fn the_file_is_followed_unless_changes_here_would_be_lost() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let outside = session.text.replace("level_db = -6", "level_db = -7");
    fs::write(song.sheet(), &outside).expect("it can be written");
    assert!(session.look_outside() && session.sheet.nodes[0].level_db == -7.0);
    level(&mut session, -8.0, false);
    fs::write(song.sheet(), outside.replace("-7", "-5")).expect("it can be written");
    assert!(session.look_outside() && session.view().song.changed_outside);
    assert_eq!(session.sheet.nodes[0].level_db, -8.0);
    session.reload().expect("it reads");
    assert!(session.sheet.nodes[0].level_db == -5.0 && !session.view().song.changed_outside);
}

#[test]
fn programmes_are_matched_to_the_quietest_and_an_absurd_wish_is_put_right() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let (sheet, sources) = session.for_survey();
    let stop = std::sync::atomic::AtomicBool::new(false);
    let course = prints::survey::Course { threads: 2, stop: &stop, progress: &|_| () };
    let plan = engine::compile(&sheet, sources.as_ref()).expect("it compiles");
    let found = prints::survey::survey(&sheet, &plan, (session.folder(), &sources), &course).expect("it can be heard");
    let lufs: Vec<f64> = found.programmes.iter().filter_map(|programme| programme.integrated_lufs).collect();
    assert!((lufs[1] - lufs[2]).abs() < 0.05, "the approval print is as loud as the rough mix: {lufs:?}");
    session.surveyed(found);
    let quietest = lufs.iter().copied().fold(f64::INFINITY, f64::min);
    for (output, name) in ["for mastering", "for approval", "rough mix"].into_iter().enumerate() {
        session.hear(Hearing { programme: name.to_owned(), ..session.hearing.clone() });
        let voice = session.voice();
        assert_eq!(voice.output, output);
        assert!((voice.matched_db - (quietest - lufs[output])).abs() < 1e-9 && voice.matched_db <= 0.0);
    }
    let absurd = Hearing {
        programme: "none such".to_owned(),
        matched: false,
        through: Through::Mono,
        span_s: Some((4.0, 1e9)),
        monitor_db: f64::NAN,
    };
    session.hear(absurd);
    let heard = &session.hearing;
    assert_eq!((heard.programme.as_str(), heard.monitor_db, session.voice().matched_db), ("rough mix", -60.0, 0.0));
    assert!(heard.span_s.is_some_and(|(_, to)| to < 10.0));
}

#[test]
fn what_the_last_print_run_found_stands_behind_what_the_sheet_says_itself() {
    let song = Song::new();
    let revision = prints::revisions_of(&song.sheet(), None).join("r004");
    fs::create_dir_all(&revision).expect("a folder");
    let report = r#"{ "engine": "", "label": null, "date": "", "title": "Lantern Weather", "artist": "", "rate_hz": 48000, "frames": 1,
        "sections": [], "prints": [], "findings": [{ "severity": "fail", "code": "over-ceiling", "where": "for approval, MP3",
        "message": "Too high.", "remedy": "Turn it down.", "at_ms": 2345 }] }"#;
    fs::write(revision.join("report.json"), report).expect("it can be written");
    let found = Session::open(&song.sheet()).expect("it opens").view().findings;
    let last = found.last().expect("a finding");
    assert_eq!((last.code.as_str(), last.at_s, last.revision.as_deref()), ("over-ceiling", Some(2.345), Some("r004")));
    assert!(found[..found.len() - 1].iter().all(|finding| finding.revision.is_none()));
}
