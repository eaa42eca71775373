//! How bad findings are, and the order of what is read.

mod fixture;

use units::{Problem, Severity};

fn read(text: &str) -> (sheet::Sheet, Vec<Problem>) {
    let (sheet, problems) = sheet::read(text, fixture::CATALOGUE);
    (sheet.expect("it can be played"), problems)
}

fn severities(text: &str) -> Vec<(&'static str, Severity)> {
    read(text).1.iter().map(|problem| (problem.code, problem.severity)).collect()
}

#[test]
fn what_gives_no_sound_fails_what_looks_odd_warns_what_is_accepted_is_noted() {
    assert_eq!(
        severities(include_str!("cases/goes_nowhere.toml")),
        [("nowhere", Severity::Fail), ("unheard", Severity::Warn), ("nowhere", Severity::Fail),]
    );
    assert_eq!(
        severities(include_str!("cases/print_of_nothing.toml")),
        [("no-input", Severity::Warn), ("no-files", Severity::Warn), ("silent-print", Severity::Fail),]
    );
    assert_eq!(severities(include_str!("cases/muted_and_accepted.toml")), [("muted", Severity::Note)]);
    assert_eq!(severities(include_str!("cases/bypassed.toml")), [("bypassed", Severity::Note)]);
}

#[test]
fn an_acceptance_covers_its_code_and_place_alone() {
    let accepted = include_str!("cases/muted_and_accepted.toml");
    for other in [accepted.replace("\"stem snare\"", "\"stem kick\""), accepted.replace("\"muted\"", "\"unheard\"")] {
        assert_eq!(severities(&other), [("muted", Severity::Warn)]);
    }
    let anywhere = accepted.replace("where = \"stem snare\"\n", "");
    assert_eq!(severities(&anywhere), [("muted", Severity::Note)]);
}

#[test]
fn the_console_of_the_song_ends_every_stem_and_fills_what_a_console_of_its_own_leaves_open() {
    let (sheet, _) = read(include_str!("cases/console_of_the_song.toml"));
    let amounts = |name: &str| -> Vec<(f64, f64)> {
        let (_, node) = sheet.node(name).expect("it is there");
        let consoles = sheet.processors(node).filter(|link| link.settings.spec().name == "console");
        consoles.map(|link| (link.settings.number(&fixture::AMOUNT), link.settings.number(&fixture::OFFSET))).collect()
    };
    assert_eq!(amounts("kick"), [(-50.0, 6.0)]);
    assert_eq!(amounts("voice"), [(-50.0, 0.0)]);
    assert_eq!(amounts("mix"), [], "buses have none unless they say so");
    let (_, bell) = sheet.node("bell").expect("it is there");
    assert!(sheet.processors(bell).all(|link| link.off), "a console that is off keeps the song's away");
}

#[test]
fn findings_are_told_of_a_loop_too_when_code_asks_for_them() {
    let (mut sheet, _) = read(include_str!("cases/whole.toml"));
    for node in &mut sheet.nodes {
        node.to = Some("mix".into());
    }
    let told = sheet::network_findings(&sheet).iter().any(|problem| problem.code == "no-input");
    assert!(told, "the search ends, and says what nothing goes to");
}

#[test]
fn everything_of_a_whole_sheet_arrives() {
    let (sheet, _) = read(include_str!("cases/whole.toml"));
    // 92 quarter notes a minute: 60 / 92 s each, 4 a bar.
    let bar_secs = 4.0 * 60.0 / 92.0;
    assert_eq!(sheet.song.start_secs, 3600.0);
    assert_eq!(sheet.song.date.as_deref(), Some("2026-11-25"));
    let starts: Vec<(&str, f64)> = sheet.sections.iter().map(|section| (&*section.name, section.from_secs)).collect();
    assert_eq!(starts, [("verse 1", 4.0 * bar_secs), ("chorus 1", 41.2), ("chorus 2", 41.2 + 62.0)]);
    let names: Vec<&str> = sheet.nodes.iter().map(|node| &*node.name).collect();
    assert_eq!(names, ["kick", "voice", "band", "main", "crush", "space", "mix"]);
    let (_, kick) = sheet.node("kick").expect("it is there");
    assert_eq!((kick.trim_db, kick.inverted, kick.delay_ms, kick.pan_percent), (-1.5, true, 0.25, -3.0));
    assert!(matches!(&kick.kind, sheet::NodeKind::Stem { from_secs, expect_silence: true, .. } if *from_secs == 0.5));
    let (_, band) = sheet.node("band").expect("it is there");
    assert_eq!(band.sends.iter().map(|send| send.tap).collect::<Vec<_>>(), [sheet::Tap::Post, sheet::Tap::Pre]);
    assert_eq!(band.rides[0].what, sheet::Target::SendLevel(0));
    assert_eq!(band.rides[0].points, [(41.2, 0.0), (43.2, 2.0)]);
    let (_, main) = sheet.node("main").expect("it is there");
    assert_eq!((main.chain[0].off, main.chain[1].off), (false, true));
    let gain_at = units::At { row: Some(1), param: 2 };
    assert_eq!(main.rides[0].what, sheet::Target::Processor { link: 0, at: gain_at });
    let (_, crush) = sheet.node("crush").expect("it is there");
    assert_eq!(crush.chain[0].key.as_deref(), Some("kick"));
    assert!(crush.rides[0].hold_drive);
    assert_eq!(crush.rides[1].points[1].0, 16.0 * bar_secs + 2.5 * 60.0 / 92.0);
    let formats: Vec<_> = sheet.prints.iter().flat_map(|print| &print.files).map(|file| file.format).collect();
    use sheet::{Dither, FileFormat};
    assert_eq!(
        formats,
        [
            FileFormat::Wav { bits: 32, dither: Dither::None },
            FileFormat::Wav { bits: 16, dither: Dither::Shaped },
            FileFormat::Flac { bits: 24, dither: Dither::Tpdf },
            FileFormat::Mp3 { kbps: 256 },
            FileFormat::Wav { bits: 24, dither: Dither::Tpdf },
        ]
    );
    assert_eq!(sheet.prints[0].files[1].rate_hz, Some(44_100));
    assert_eq!(sheet.prints[1].loudness, Some(sheet::Loudness::Match("rough mix".into())));
    assert_eq!(sheet.prints[2].loudness, Some(sheet::Loudness::Lufs(-9.5)));
    assert_eq!((sheet.prints[1].survive[0].codec, sheet.prints[1].survive[0].kbps), ("mp3", 192));
    assert_eq!(sheet.prints[1].chain[0].settings.values(), [units::Value::Choice(1)], "ips = 15");
}

#[test]
fn sections_are_in_order_of_time_whatever_the_order_of_the_text() {
    let text = include_str!("cases/whole.toml").replace("from = \"5|1\"", "from = \"2:00\"");
    let names: Vec<String> = read(&text).0.sections.iter().map(|section| section.name.to_string()).collect();
    assert_eq!(names, ["chorus 1", "chorus 2", "verse 1"]);
}
