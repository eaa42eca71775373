//! Tests of edits.

use super::*;

fn path(steps: &[&str]) -> Vec<Step> {
    steps.iter().map(|step| step.parse().map_or_else(|_| Step::from(*step), Step::Index)).collect()
}

fn edited(text: &str, edit: &Edit) -> String {
    edit.apply(text).unwrap_or_else(|problem| panic!("{problem:?} for {edit:?}"))
}

const SHEET: &str = r#"# The song.
fairprint = 1

[song]
title = "Lantern Weather" # working title
rate_hz = 48000
tempo_bpm   =  92 # felt

# ---- sources ----

# close one
[[stem]]
name = "kick"
file = "kick.wav"
to = "band"

[[stem]]
name = "snare"
file = "snare.wav"   # the good one
to = "band"

[[bus]]
name = "band"
to = "mix"
sends = [{ to = "crush", level_db = -3 }, { to = "room" }]

[[bus]]
name = "crush"
to = "mix"
level_db = -11 # felt, not heard
chain = [
  # grip
  { compressor = { ratio = 8, attack_ms = 0.4 } }, # fast
  { eq = { bands = [
    { hz = 75, gain_db = 3 },
    { hz = 200, gain_db = -4 } # mud
  ] } },
  # glue
  { tape = { } } # last
]
rides = [{ what = "level_db", points = [["0:41.2", -11], ["0:41.7", -8]] }]

[[bus]]
name = "room"
to = "mix"
chain = [{ compressor = { key = "kick", ratio = 4 } }]

[[bus]]
name = "mix"
rides = [
  { what = "pan_percent", points = [[0, 0]] },
]

# for the mastering engineer
[[print]]
name = "for mastering"
from = "mix"
files = [ { format = "wav" } ]
"#;

/// The lines that differ: `-` gone, `+` new.
fn difference(before: &str, after: &str) -> Vec<String> {
    let (mut old, mut new): (Vec<&str>, Vec<&str>) = (before.lines().collect(), after.lines().collect());
    while old.first().is_some_and(|line| Some(line) == new.first()) {
        old.remove(0);
        new.remove(0);
    }
    while old.last().is_some_and(|line| Some(line) == new.last()) {
        old.pop();
        new.pop();
    }
    old.iter().map(|line| format!("-{line}")).chain(new.iter().map(|line| format!("+{line}"))).collect()
}

fn expect(edit: &Edit, lines: &[&str]) -> String {
    let after = edited(SHEET, edit);
    assert_eq!(difference(SHEET, &after), lines, "{edit:?}");
    after
}

fn set(steps: &[&str], value: impl Into<Plain>) -> Edit {
    Edit::Set { path: path(steps), value: value.into() }
}

fn insert(steps: &[&str], at: usize, value: impl Into<Plain>) -> Edit {
    Edit::Insert { path: path(steps), at, value: value.into() }
}

fn remove(steps: &[&str]) -> Edit {
    Edit::Remove { path: path(steps) }
}

fn back(after: &str, edit: &Edit) {
    assert_eq!(edited(after, edit), SHEET, "{edit:?}");
}

#[test]
fn values_change_in_place_and_change_back() {
    let after = expect(
        &set(&["bus", "crush", "level_db"], -8.5),
        &["-level_db = -11 # felt, not heard", "+level_db = -8.5 # felt, not heard"],
    );
    back(&after, &set(&["bus", "crush", "level_db"], -11.0));
    let after = expect(&set(&["song", "tempo_bpm"], 93.0), &["-tempo_bpm   =  92 # felt", "+tempo_bpm   =  93 # felt"]);
    back(&after, &set(&["song", "tempo_bpm"], 92.0));
    let after = expect(
        &set(&["bus", "crush", "chain", "1", "eq", "bands", "1", "hz"], 220.0),
        &["-    { hz = 200, gain_db = -4 } # mud", "+    { hz = 220, gain_db = -4 } # mud"],
    );
    back(&after, &set(&["bus", "crush", "chain", "1", "eq", "bands", "1", "hz"], 200.0));
    let after = expect(
        &set(&["bus", "crush", "rides", "level_db", "points", "1", "1"], -9.0),
        &[
            r#"-rides = [{ what = "level_db", points = [["0:41.2", -11], ["0:41.7", -8]] }]"#,
            r#"+rides = [{ what = "level_db", points = [["0:41.2", -11], ["0:41.7", -9]] }]"#,
        ],
    );
    back(&after, &set(&["bus", "crush", "rides", "0", "points", "1", "1"], -8.0));
}

#[test]
fn keys_come_and_go() {
    let key = ["bus", "band", "sends", "room", "level_db"];
    let after = expect(
        &set(&key, -6.0),
        &[
            r#"-sends = [{ to = "crush", level_db = -3 }, { to = "room" }]"#,
            r#"+sends = [{ to = "crush", level_db = -3 }, { to = "room", level_db = -6 }]"#,
        ],
    );
    back(&after, &remove(&key));
    let after = expect(&set(&["stem", "snare", "mute"], true), &["+mute = true"]);
    back(&after, &remove(&["stem", "snare", "mute"]));
    let after = expect(
        &set(&["bus", "crush", "chain", "2", "tape", "ips"], 15.0),
        &["-  { tape = { } } # last", "+  { tape = { ips = 15 } } # last"],
    );
    assert_eq!(edited(&after, &remove(&["bus", "crush", "chain", "2", "tape", "ips"])), SHEET.replace("{ }", "{}"));
    let after = expect(
        &set(&["bus", "crush", "chain", "0", "off"], true),
        &[
            "-  { compressor = { ratio = 8, attack_ms = 0.4 } }, # fast",
            "+  { compressor = { ratio = 8, attack_ms = 0.4 }, off = true }, # fast",
        ],
    );
    back(&after, &remove(&["bus", "crush", "chain", "0", "off"]));
    expect(
        &remove(&["bus", "crush", "chain", "0", "compressor", "ratio"]),
        &[
            "-  { compressor = { ratio = 8, attack_ms = 0.4 } }, # fast",
            "+  { compressor = { attack_ms = 0.4 } }, # fast",
        ],
    );
    expect(&remove(&["song", "title"]), &[r#"-title = "Lantern Weather" # working title"#]);
}

#[test]
fn list_entries_come_and_go() {
    let tape = || Plain::table([("tape", Plain::table([("ips", 15.0.into())]))]);
    let chain = ["bus", "crush", "chain"];
    let after = expect(&insert(&chain, 0, tape()), &["+  { tape = { ips = 15 } },"]);
    back(&after, &remove(&["bus", "crush", "chain", "0"]));
    let after = expect(&insert(&chain, 2, tape()), &["+  { tape = { ips = 15 } },"]);
    back(&after, &remove(&["bus", "crush", "chain", "2"]));
    let after = expect(
        &insert(&chain, 3, tape()),
        &["-  { tape = { } } # last", "+  { tape = { } }, # last", "+  { tape = { ips = 15 } }"],
    );
    back(&after, &remove(&["bus", "crush", "chain", "3"]));
    expect(
        &remove(&["bus", "crush", "chain", "0"]),
        &["-  # grip", "-  { compressor = { ratio = 8, attack_ms = 0.4 } }, # fast"],
    );
    expect(
        &remove(&["bus", "crush", "chain", "2"]),
        &["-  ] } },", "-  # glue", "-  { tape = { } } # last", "+  ] } }"],
    );
    let bands = ["bus", "crush", "chain", "1", "eq", "bands"];
    let after = expect(
        &insert(&bands, 2, Plain::table([("hz", 9000.0.into())])),
        &["-    { hz = 200, gain_db = -4 } # mud", "+    { hz = 200, gain_db = -4 }, # mud", "+    { hz = 9000 }"],
    );
    back(&after, &remove(&["bus", "crush", "chain", "1", "eq", "bands", "2"]));
    let sends = ["bus", "band", "sends"];
    for at in 0..=2 {
        let after = edited(SHEET, &insert(&sends, at, Plain::table([("to", "echo".into())])));
        back(&after, &remove(&["bus", "band", "sends", "echo"]));
    }
    let points = ["bus", "crush", "rides", "0", "points"];
    for at in 0..=2 {
        let after = edited(SHEET, &insert(&points, at, vec![40.0, -3.0]));
        back(&after, &remove(&["bus", "crush", "rides", "0", "points", &at.to_string()]));
    }
    let rides = ["bus", "mix", "rides"];
    for at in 0..=1 {
        let after = edited(SHEET, &insert(&rides, at, Plain::table([("what", "trim_db".into())])));
        back(&after, &remove(&["bus", "mix", "rides", "trim_db"]));
    }
    let after = expect(
        &insert(&["stem", "kick", "sends"], 0, Plain::table([("to", "crush".into())])),
        &[r#"+sends = [{ to = "crush" }]"#],
    );
    back(&after, &remove(&["stem", "kick", "sends"]));
    let last = remove(&["bus", "room", "chain", "0"]);
    expect(&last, &[r#"-chain = [{ compressor = { key = "kick", ratio = 4 } }]"#, "+chain = []"]);
}

#[test]
fn brackets_may_close_in_the_line_of_the_last_item() {
    let text = "a = [\n  1, # one\n  2]\n";
    let after = edited(text, &insert(&["a"], 2, 3.0));
    assert_eq!(after, "a = [\n  1, # one\n  2,\n  3]\n");
    assert_eq!(edited(&after, &remove(&["a", "2"])), text);
    assert_eq!(edited(text, &remove(&["a", "1"])), "a = [\n  1 # one\n  ]\n");
    let text = "a = [1, 2,\n  3 ]\n";
    assert_eq!(edited(text, &remove(&["a", "2"])), "a = [1, 2 ]\n");
}

#[test]
fn commas_in_comments_are_no_commas() {
    let text = "a = [\n  1, # one, uno\n  2 # two, due\n]\n";
    let after = edited(text, &insert(&["a"], 2, 3.0));
    assert_eq!(after, "a = [\n  1, # one, uno\n  2, # two, due\n  3\n]\n");
    assert_eq!(edited(&after, &remove(&["a", "2"])), text);
}

#[test]
fn nodes_come_and_go() {
    let node = || Plain::table([("name", "echo".into()), ("to", "mix".into())]);
    let after = expect(&insert(&["bus"], 4, node()), &["+[[bus]]", r#"+name = "echo""#, r#"+to = "mix""#, "+"]);
    back(&after, &remove(&["bus", "echo"]));
    for at in 0..=3 {
        back(&edited(SHEET, &insert(&["bus"], at, node())), &remove(&["bus", "echo"]));
    }
    for at in 0..=2 {
        back(&edited(SHEET, &insert(&["stem"], at, node())), &remove(&["stem", "echo"]));
    }
    for at in 0..=1 {
        back(&edited(SHEET, &insert(&["print"], at, node())), &remove(&["print", "echo"]));
    }
    for key in ["reference", "section", "accept"] {
        let after = edited(SHEET, &insert(&[key], 0, node()));
        back(&after, &remove(&[key, "0"]));
    }
    expect(
        &remove(&["stem", "kick"]),
        &["-# close one", "-[[stem]]", r#"-name = "kick""#, r#"-file = "kick.wav""#, r#"-to = "band""#, "-"],
    );
    let without = edited(SHEET, &remove(&["print", "for mastering"]));
    assert!(without.ends_with("  { what = \"pan_percent\", points = [[0, 0]] },\n]\n"), "{without}");
}

#[test]
fn entries_move() {
    let shift = |steps: &[&str], to| Edit::Move { path: path(steps), to };
    let after = edited(SHEET, &shift(&["bus", "crush"], 0));
    assert!(after.find("\"crush\"\nto").unwrap() < after.find("name = \"band\"").unwrap(), "{after}");
    back(&after, &shift(&["bus", "crush"], 1));
    for to in 0..4 {
        back(&edited(SHEET, &shift(&["bus", "room"], to)), &shift(&["bus", "room"], 2));
    }
    let after = expect(
        &shift(&["bus", "band", "sends", "room"], 0),
        &[
            r#"-sends = [{ to = "crush", level_db = -3 }, { to = "room" }]"#,
            r#"+sends = [{ to = "room" }, { to = "crush", level_db = -3 }]"#,
        ],
    );
    back(&after, &shift(&["bus", "band", "sends", "room"], 1));
    let lines = "a = [\n  1, # one\n  # of\n  2,\n  3,\n]\n";
    let after = edited(lines, &shift(&["a", "0"], 2));
    assert_eq!(after, "a = [\n  # of\n  2,\n  3,\n  1, # one\n]\n");
    assert_eq!(edited(&after, &shift(&["a", "2"], 0)), lines);
}

#[test]
fn a_new_name_is_new_everywhere() {
    let rename = |from: &str, to: &str| Edit::Rename { from: from.to_owned(), to: to.to_owned() };
    let text = SHEET.replace("what = \"pan_percent\"", "what = \"send kick.level_db\"");
    let after = edited(&text, &rename("kick", "kick drum"));
    assert_eq!(after.matches("\"kick\"").count() + after.matches("send kick.").count(), 0);
    assert_eq!(after.matches("kick drum").count(), 3);
    assert_eq!(edited(&after, &rename("kick drum", "kick")), text);
    let after = edited(SHEET, &rename("mix", "sum \"a\""));
    assert!(!after.contains("\"mix\""), "{after}");
    assert_eq!(edited(&after, &rename("sum \"a\"", "mix")), SHEET);
    assert!(rename("kick", "mix").apply(SHEET).is_err());
    assert!(rename("kik", "kick drum").apply(SHEET).is_err());
}

#[test]
fn other_ways_of_writing_are_edited_too() {
    let dotted = "[[bus]]\nname = \"a\"\n[[bus.chain]]\ncompressor.ratio = 4 # four\n[[bus.sends]]\nto = \"b\"\n[[bus]]\nname = \"b\"\n";
    let after = edited(dotted, &set(&["bus", "a", "chain", "0", "compressor", "attack_ms"], 3.0));
    assert_eq!(after, dotted.replace("# four\n", "# four\ncompressor.attack_ms = 3\n"));
    assert_eq!(edited(&after, &remove(&["bus", "a", "chain", "0", "compressor", "attack_ms"])), dotted);
    let after = edited(dotted, &insert(&["bus", "a", "sends"], 1, Plain::table([("to", "c".into())])));
    assert_eq!(after, dotted.replace("\"b\"\n[[bus]]", "\"b\"\n[[bus.sends]]\nto = \"c\"\n\n[[bus]]"));
    assert_eq!(edited(dotted, &remove(&["bus", "a"])), "[[bus]]\nname = \"b\"\n");
    let braces = "a = { b.c = 1, b.d = 2 }\n";
    assert_eq!(edited(braces, &remove(&["a", "b", "d"])), "a = { b.c = 1 }\n");
    assert_eq!(edited(braces, &remove(&["a", "b", "c"])), "a = { b.d = 2 }\n");
    assert_eq!(edited(braces, &set(&["a", "b", "e"], 3.0)), "a = { b.c = 1, b.d = 2, b.e = 3 }\n");
    let windows = SHEET.replace('\n', "\r\n");
    for edit in [set(&["stem", "snare", "mute"], true), insert(&["bus", "crush", "chain"], 3, true)] {
        assert_eq!(edited(&windows, &edit), edited(SHEET, &edit).replace('\n', "\r\n"));
    }
}

#[test]
fn what_cannot_be_edited_is_refused_with_a_reason() {
    for edit in [
        set(&["bus", "crsh", "level_db"], 0.0),
        set(&["bus", "crush"], 0.0),
        set(&[], 0.0),
        remove(&["bus", "crush", "pan_percent"]),
        remove(&["bus"]),
        remove(&["bus", "crush", "chain", "7"]),
        insert(&["bus", "crush", "chain"], 9, true),
        insert(&["bus"], 0, true),
        insert(&["bus", "mix", "chain"], 2, true),
        insert(&["song", "title"], 0, true),
        Edit::Move { path: path(&["bus", "mix"]), to: 9 },
    ] {
        let problem = edit.apply(SHEET).expect_err("there is nothing to edit");
        assert!(!problem.message.is_empty() && !problem.remedy.is_empty());
    }
    assert!(set(&["a"], 0.0).apply("a = ").is_err());
}

#[test]
fn edits_come_as_json_in_the_order_in_which_they_were_written() {
    let json = r#"{ "edit": "insert", "path": ["bus", "mix", "chain"], "at": 0,
                    "value": { "eq": { "of": "mid", "bands": [{ "shape": "bell", "hz": 75, "gain_db": 3.5 }] }, "off": true } }"#;
    let edit: Edit = serde_json::from_str(json).unwrap();
    expect(
        &edit,
        &[r#"+chain = [{ eq = { of = "mid", bands = [{ shape = "bell", hz = 75, gain_db = 3.5 }] }, off = true }]"#],
    );
    let again: Edit = serde_json::from_str(&serde_json::to_string(&edit).unwrap()).unwrap();
    assert_eq!(again, edit);
}
