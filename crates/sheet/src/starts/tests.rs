//! Tests of the starting points: all of them read, and all of them go into a sheet.

use units::Settings;

use super::*;

const SHEET: &str = r#"fairprint = 1          # a comment that stays
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
tempo_bpm = 92

[[stem]]
name = "bass"
file = "bass.wav"
to = "band"     # straight
[[stem]]
name = "kick"
file = "kick.wav"
to = "drums"
[[stem]]
name = "singer"
file = "singer.wav"
to = "voice"

[[bus]]
name = "drums"
to = "band"
chain = [
  { trim = { gain_db = -1 } },   # as it was
]
[[bus]]
name = "band"
to = "main"
[[bus]]
name = "voice"
to = "main"
[[bus]]
name = "main"
to = "mix"
[[bus]]
name = "mix"

# To the mastering engineer.
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
"#;

fn catalogue() -> Vec<&'static Spec> {
    dsp::CATALOGUE.iter().map(|entry| entry.spec).collect()
}

fn settings(links: &[Link]) -> Vec<&Settings> {
    links.iter().map(|link| &link.settings).collect()
}

fn sheet(text: &str) -> Sheet {
    let (sheet, problems) = reader::read(text, &catalogue());
    sheet.unwrap_or_else(|| panic!("{problems:#?}\n{text}"))
}

#[test]
fn each_is_whole_and_measured_once() {
    let all = starts(&catalogue());
    let mut names: Vec<&str> = all.iter().map(|start| start.name.as_str()).collect();
    for start in &all {
        assert!(start.measured.ends_with('.'), "{} is not measured: run scripts/starts", start.name);
        assert_eq!(start.sentences().len(), start.chain.len());
        assert!(start.fragment().lines().take_while(|line| line.starts_with('#')).all(|line| line.len() < 110));
    }
    let measured = tree::parse(MEASURED).expect("it is TOML");
    assert_eq!(measured.entries.len(), all.len(), "measured.toml names what is there and nothing else");
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), all.len(), "each has a name of its own");
}

#[test]
fn a_wrong_parameter_is_an_error_at_its_place() {
    let text = FILES[3].replace("attack_ms", "atack_ms");
    let problems = read_start(&text, &catalogue()).expect_err("a parameter that does not exist");
    assert_eq!(problems.len(), 1, "{problems:#?}");
    let place = problems[0].place.expect("it has a place");
    assert_eq!(&text[place.from..place.to], "atack_ms");
    assert!(problems[0].remedy.contains("attack_ms"), "{}", problems[0].remedy);
    let problems = read_start(&FILES[3].replace("bus = ", "print = "), &catalogue()).expect_err("a return has a bus");
    assert!(problems[0].message.contains("`bus`"), "{problems:#?}");
}

#[test]
fn a_name_that_is_nearly_right_is_answered_with_the_right_one() {
    assert_eq!(start("Crushed Copy", &catalogue()).map(|start| start.name), Ok("crushed copy".to_owned()));
    let problem = start("crushd copy", &catalogue()).expect_err("no such name");
    assert_eq!(problem.remedy, "Did you mean “crushed copy”?");
}

#[test]
fn each_goes_into_a_sheet_and_nothing_else_moves() {
    let before = sheet(SHEET);
    for start in starts(&catalogue()) {
        let text = start.into_text(SHEET, &before, None, &catalogue()).unwrap_or_else(|p| panic!("{p:#?}"));
        assert!(SHEET.lines().all(|line| text.contains(line)), "{}:\n{text}", start.name);
        let after = sheet(&text);
        let chain = match &start.spot {
            Spot::Insert => {
                let (_, node) = after.node(&start.at).expect("the node is still there");
                &node.chain[node.chain.len() - start.chain.len()..]
            }
            Spot::Return { bus, level_db } => {
                let (_, node) = after.node(bus).expect("the bus is there");
                assert_eq!((node.level_db, node.to.as_deref()), (*level_db, Some("mix")));
                let (_, feeds) = after.node(&start.at).expect("what feeds it is there");
                assert!(feeds.sends.iter().any(|send| send.to == *bus.as_str()));
                &node.chain[..]
            }
            Spot::Ending { print, .. } => {
                &after.prints.iter().find(|p| p.name == *print.as_str()).expect("the print is there").chain[..]
            }
        };
        assert_eq!(settings(chain), settings(&start.chain), "{}", start.name);
        // What the command shows is the same chain.
        assert!(start.fragment().contains(&start.chain_text));
        // A second time, and names that are taken get a number.
        sheet(&start.into_text(&text, &after, None, &catalogue()).unwrap_or_else(|p| panic!("{p:#?}")));
    }
}

#[test]
fn a_place_that_is_not_there_is_named_and_a_loop_refused() {
    let (glue, crush) = (start("gentle glue", &catalogue()), start("crushed copy", &catalogue()));
    let (glue, crush) = (glue.expect("it is there"), crush.expect("it is there"));
    let problem = glue.into_text(SHEET, &sheet(SHEET), Some("mian"), &catalogue()).expect_err("no such bus");
    assert!(problem.message.contains("mian") && problem.remedy.contains("“main”"), "{problem:#?}");
    let problem = crush.into_text(SHEET, &sheet(SHEET), Some("mix"), &catalogue()).expect_err("the mix feeds itself");
    assert_eq!(problem.code, "loop", "{problem:#?}");
    assert!(crush.into_text(SHEET, &sheet(SHEET), Some("kick"), &catalogue()).is_ok());
}
