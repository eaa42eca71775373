//! Tests of the starter sheet.

use units::{Param, Spec, Unit};

use super::*;
use crate::{Loudness, read};

const CEILING: Param = Param::number("ceiling_dbtp", Unit::Decibel, [-12.0, 0.0], -1.0, "Peaks stay below.");
const CLIP: Param = Param::number("clip_percent", Unit::Percent, [0.0, 100.0], 0.0, "What a clipper takes.");
static LIMITER: Spec = Spec {
    name: "limiter",
    title: "limiter",
    summary: "For tests.",
    source: "",
    caution: "",
    sentence: "",
    params: &[CEILING, CLIP],
    rows: None,
    outside_key: false,
};

fn group(bus: &str, voice: bool, stems: &[&str]) -> StarterGroup {
    let stems = stems.iter().enumerate();
    let stems = stems.map(|(index, name)| ((*name).to_owned(), format!("stems/{bus}/{index}.wav"))).collect();
    StarterGroup { bus: bus.to_owned(), voice, stems }
}

fn song() -> StarterSong {
    StarterSong {
        title: "Lantern \"Weather\"\n".to_owned(),
        artist: "The Tin Orchard".to_owned(),
        rate_hz: 96_000,
        tempo_bpm: None,
        rough_mix: Some("rough mix.wav".to_owned()),
    }
}

fn routes(text: &str) -> Vec<String> {
    let (sheet, problems) = read(text, &[&LIMITER]);
    assert_eq!(problems, [], "\n{text}");
    let sheet = sheet.expect("a sheet without problems is handed on");
    sheet.nodes.iter().map(|node| format!("{} > {}", node.name, node.to.as_deref().unwrap_or("prints"))).collect()
}

#[test]
fn a_starter_reads_back_without_a_word() {
    let groups = [
        group("drums", false, &["kick", "snare", "drums"]),
        group("bass", false, &["bass"]),
        group("lead", true, &["lead"]),
    ];
    let text = starter(&song(), &groups);
    assert_eq!(
        routes(&text),
        [
            "kick > drums",
            "snare > drums",
            "drums stem > drums",
            "bass > band",
            "lead > voice",
            "drums > band",
            "band > main",
            "voice > main",
            "main > mix",
            "mix > prints",
        ]
    );
    let sheet = read(&text, &[&LIMITER]).0.expect("it reads");
    assert_eq!((sheet.song.title.as_str(), sheet.song.rate_hz), ("Lantern \"Weather\"", 96_000));
    assert_eq!(sheet.prints[0].loudness, None);
    assert!(sheet.prints[0].chain.is_empty(), "the print for mastering is not limited");
    assert_eq!(sheet.prints[1].loudness, Some(Loudness::Match("rough mix".into())));
    assert_eq!(sheet.prints[1].chain[0].settings.number(&CEILING), -1.0);
}

#[test]
fn a_starter_without_a_rough_mix_aims_at_the_usual_loudness() {
    let text = starter(&StarterSong { rough_mix: None, ..song() }, &[group("drums", false, &["kick"])]);
    assert_eq!(routes(&text), ["kick > band", "band > main", "main > mix", "mix > prints"]);
    let sheet = read(&text, &[&LIMITER]).0.expect("it reads");
    assert_eq!(sheet.prints[1].loudness, Some(Loudness::Lufs(-14.0)));
}

#[test]
fn names_that_clash_are_told_apart() {
    let groups = [
        group("voice", true, &["voice", "voice", " double\t"]),
        group("mix", false, &["mix", "mix 2", "a"]),
        group("band", false, &["x", ""]),
        group("", true, &["y", "z"]),
        group("empty", false, &[]),
    ];
    let text = starter(&StarterSong::default(), &groups);
    let nodes = routes(&text);
    let unique: HashSet<&String> = nodes.iter().collect();
    assert_eq!(unique.len(), nodes.len());
    assert!(
        nodes.contains(&"voice stem > voice".to_owned()) && nodes.contains(&"voice stem 2 > voice".to_owned()),
        "{nodes:?}"
    );
}

#[test]
fn a_path_that_no_sheet_can_name_is_left_out_aloud() {
    let mut groups = [group("drums", false, &["kick", "snare"])];
    groups[0].stems[1].1 = "stems\\snare.wav\n".to_owned();
    let text = starter(&song(), &groups);
    assert_eq!(routes(&text).len(), 5);
    assert!(text.contains("# Left out"), "{text}");
}
