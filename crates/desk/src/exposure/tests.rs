//! The estimate against the tables of its sources, and what is kept of a day.

use super::*;

/// Heard at each level for so many hours, in steps of a second.
fn heard(parts: &[(f64, f64)]) -> Exposure {
    let mut exposure = Exposure::default();
    exposure.measured(80.0, -20.0);
    for (dba, hours) in parts {
        (0..(hours * 3600.0) as usize).for_each(|_| exposure.hear(Some(dba - 100.0), 1.0));
    }
    exposure
}

#[test]
fn times_are_those_of_the_table_of_niosh() {
    // DHHS 98-126, table 1-1: minutes at a level.
    for (dba, minutes) in [
        (82.0, 960.0),
        (85.0, 480.0),
        (88.0, 240.0),
        (91.0, 120.0),
        (94.0, 60.0),
        (97.0, 30.0),
        (100.0, 15.0),
        (103.0, 7.5),
        (106.0, 3.75),
    ] {
        assert!((allowed_secs(dba) / 60.0 - minutes).abs() < 1e-9, "{dba}");
    }
    // Worked after its equation: 2 h at 88, 1 h at 94 and 5 h at 80 dBA are 50 + 100 + 19.69 %.
    let dose = heard(&[(88.0, 2.0), (94.0, 1.0), (80.0, 5.0)]).had.dose;
    assert!((100.0 * dose - 169.69).abs() < 0.01, "{dose}");
}

#[test]
fn eight_hours_and_a_week_are_those_of_the_directive_and_of_h_870() {
    // L_EX,8h = L + 10 lg(T / 8 h): 4 h at 88 dB(A) are 84.99.
    let day = heard(&[(88.0, 4.0)]).level_over_day_dba().expect("it sounded");
    assert!((day - 84.99).abs() < 0.005, "{day}");
    // H.870, hours a week: 80 dBA 40, 83 dBA 20.05, 89 dBA 5.04, 95 dBA 1.26.
    for (dba, hours) in [(80.0, 40.0), (83.0, 20.05), (89.0, 5.04), (95.0, 1.26)] {
        let week = heard(&[(dba, hours)]).week();
        assert!((week - 1.0).abs() < 0.005, "{dba}: {week}");
    }
}

#[test]
fn nothing_is_said_before_somebody_has_measured() {
    let mut exposure = Exposure::default();
    exposure.hear(Some(-14.0), 3600.0);
    assert_eq!((exposure.sentence(), exposure.had.dose), (None, 0.0));
    let said = heard(&[(79.0, 1.2)]).sentence().expect("somebody has");
    assert!(
        said.starts_with(
            "At your ears it is about 79 dBA now. Today, in 1 h 12 min with this song, you have heard 4% of a day’s dose"
        ),
        "{said}"
    );
    assert!(heard(&[(94.0, 1.0)]).sentence().expect("somebody has").ends_with("stop for today."));
    exposure.measured(500.0, -20.0);
    exposure.hear(Some(-20.0), 1.0);
    assert!(exposure.sentence().expect("somebody has").contains("120 dBA"));
}

#[test]
fn a_reading_counts_for_what_plays_and_only_then() {
    let mut room = Room::default();
    assert_eq!(room.measure(Some(80.0)).expect_err("nothing plays").code, "nothing-plays");
    let playing = Now { playing: true, played: (Some(-31.0), Some(-32.0)), ..Now::default() };
    assert!(!room.hear(&playing), "nobody has measured");
    room.measure(Some(78.0)).expect("it plays");
    let due = (0..80).filter(|_| room.hear(&playing)).count();
    assert_eq!(due, 2, "every two seconds");
    assert!(!room.hear(&Now { playing: false, ..playing }), "a rest is no exposure");
    let said = room.exposure().sentence().expect("somebody has");
    assert!(said.starts_with("At your ears it is about 79 dBA now."), "{said}");
    room.measure(None).expect("the reading is forgotten, not what was heard");
    let said = room.exposure().sentence().expect("something was heard");
    assert!(said.starts_with("Today, in less than a minute") && said.ends_with("goes on adding."), "{said}");
}

#[test]
fn what_was_heard_is_there_again_on_the_same_day_and_not_on_the_next() {
    let folder = tempfile::tempdir().expect("a folder");
    let sheet = folder.path().join("sheet.toml");
    let day = |date: &str| Room::of(&sheet, date.to_owned());
    let mut room = day("2026-11-27");
    assert!(room.due("2026-11-27".to_owned()).is_none(), "nothing was heard");
    let playing = Now { playing: true, played: (Some(-31.0), Some(-32.0)), ..Now::default() };
    room.hear(&playing);
    room.measure(Some(94.0)).expect("it plays");
    for _ in 0..36_010 {
        room.hear(&playing);
    }
    let kept = room.due("2026-11-27".to_owned()).expect("half an hour was heard");
    kept.keep(&sheet).expect("it can be written");
    assert!(room.due("2026-11-27".to_owned()).is_none(), "it is kept already");
    let said = day("2026-11-27").exposure().sentence().expect("something was heard");
    assert!(said.starts_with("Today, in 30 min with this song, you have heard 63% of a day’s dose"), "{said}");
    assert_eq!(day("2026-11-28").exposure().sentence(), None);
    // Midnight passes while it plays: what comes counts for the new day.
    assert!(room.due("2026-11-28".to_owned()).is_none());
    room.hear(&playing);
    assert!(room.due("2026-11-28".to_owned()).is_some_and(|day| day.had.secs < 1.0));
    for broken in [
        "",
        "{}",
        r#"{ "fairprint_exposure": 2, "day": "2026-11-27", "secs": 1, "dose": 1, "energy": 1 }"#,
        r#"{ "fairprint_exposure": 1, "day": "2026-11-27", "secs": -1, "dose": 1, "energy": 1 }"#,
    ] {
        std::fs::write(sheet.with_extension("exposure.json"), broken).expect("written");
        assert_eq!(day("2026-11-27").exposure().sentence(), None, "{broken}");
    }
}
