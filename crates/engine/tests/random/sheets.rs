//! Random sheets that are valid: written down as a person would, from the catalogue, so that a processor that joins it
//! is met here without a further line.

use std::fmt::Write as _;

use chance::Random;
use dsp::CATALOGUE;
use units::{Kind, Param, Spec, Unit};

use crate::songs::{Songs, noise};

/// Sample rate of every sheet here.
pub const RATE_HZ: usize = 48_000;

/// The recordings that sheets name; the last two are hostile.
pub const FILES: [&str; 5] = ["soft.wav", "loud.wav", "clicks.wav", "silence.wav", "no numbers.wav"];

/// The recordings, of so many frames.
pub fn songs(frames: usize) -> Songs {
    let scaled = |gain: f64, seed| noise(frames, seed).iter().map(|frame| frame.map(|x| gain * x)).collect::<Vec<_>>();
    let clicks = (0..frames).map(|n| if n % 997 == 0 { [1.0, -1.0] } else { [0.0; 2] }).collect();
    let mut no_numbers = scaled(0.5, 3);
    for (place, value) in [(2, f64::NAN), (3, f64::INFINITY), (5, 1e-310), (7, 1e30)] {
        no_numbers[frames / place] = [value, -value];
    }
    Songs::default()
        .with("soft.wav", scaled(0.05, 1))
        .with("loud.wav", scaled(4.0, 2))
        .with("clicks.wav", clicks)
        .with("silence.wav", vec![[0.0; 2]; frames])
        .with("no numbers.wav", no_numbers)
        .with("response.wav", scaled(0.1, 4)[..2000.min(frames)].to_vec())
}

fn value(random: &mut Random, param: &Param) -> String {
    match param.kind {
        Kind::Number { unit, low, high, .. } => format!("{:?}", random.number(unit, low, high)),
        Kind::Choice { options, .. } => format!("\"{}\"", options[random.below(options.len())]),
        Kind::Switch { .. } => (random.bits() & 1 == 0).to_string(),
        Kind::File => "\"response.wav\"".to_owned(),
    }
}

/// Parameters as `name = value`; those that stay at their default are left out, files never.
fn params(random: &mut Random, params: &[Param]) -> Vec<String> {
    let mut given = Vec::new();
    for param in params {
        if param.kind == Kind::File || random.one_in(3) {
            given.push(format!("{} = {}", param.name, value(random, param)));
        }
    }
    given
}

/// One processor as a link of a chain. It may listen to one of the buses named.
pub fn link(random: &mut Random, spec: &Spec, keys: &[String]) -> String {
    let mut given = params(random, spec.params);
    if let Some(rows) = spec.rows {
        let count = 1 + random.below(rows.most.min(3));
        let rows_given: Vec<String> =
            (0..count).map(|_| format!("{{ {} }}", params(random, rows.params).join(", "))).collect();
        given.push(format!("{} = [{}]", rows.name, rows_given.join(", ")));
    }
    if spec.outside_key && !keys.is_empty() && random.one_in(3) {
        given.push(format!("key = \"{}\"", keys[random.below(keys.len())]));
    }
    let off = if random.one_in(12) { ", off = true" } else { "" };
    format!("{{ {} = {{ {} }}{off} }}", spec.name, given.join(", "))
}

pub fn chain(random: &mut Random, most: usize, keys: &[String]) -> String {
    let mut links = Vec::new();
    for _ in 0..random.below(most + 1) {
        let entry = &CATALOGUE[random.below(CATALOGUE.len())];
        links.push(link(random, entry.spec, keys));
    }
    format!("chain = [{}]\n", links.join(", "))
}

/// A sheet: a few stems, buses each into a later one, sends, rides, and a print behind a limiter at `ceiling_dbtp`.
pub fn sheet(random: &mut Random, ceiling_dbtp: f64) -> String {
    let mut text = crate::HEAD.to_owned();
    let buses: Vec<String> = (0..random.below(4)).map(|n| format!("bus {n}")).chain(["mix".to_owned()]).collect();
    for n in 0..1 + random.below(4) {
        let file = FILES[random.below(FILES.len())];
        let _ = write!(text, "[[stem]]\nname = \"stem {n}\"\nfile = \"{file}\"\n");
        let to = random.below(buses.len());
        node(random, &mut text, &buses, to, &[]);
    }
    for (index, bus) in buses.iter().enumerate() {
        let _ = write!(text, "[[bus]]\nname = \"{bus}\"\n");
        // Only what comes earlier may be listened to, so that no key closes a loop.
        if index + 1 < buses.len() {
            let to = index + 1 + random.below(buses.len() - index - 1);
            node(random, &mut text, &buses, to, &buses[..index]);
        } else {
            text.push_str(&chain(random, 2, &buses[..index]));
        }
    }
    let limiter = CATALOGUE.iter().find(|entry| entry.spec.name == "limiter").expect("a limiter").spec;
    let mut given = params(random, limiter.params);
    given.retain(|line| !line.starts_with("ceiling_dbtp"));
    given.push(format!("ceiling_dbtp = {ceiling_dbtp:?}"));
    let limiter = format!("{{ limiter = {{ {} }} }}", given.join(", "));
    let before = chain(random, 1, &[]);
    let links = before.trim_start_matches("chain = [").trim_end_matches("]\n");
    let comma = if links.is_empty() { "" } else { ", " };
    let _ = write!(
        text,
        "[[print]]\nname = \"for approval\"\nfrom = \"mix\"\nchain = [{links}{comma}{limiter}]\nfiles = [{{ format = \"wav\" }}]\n"
    );
    text
}

/// What a stem and a bus have alike. `to` is its bus by number; sends go to that one or later ones.
fn node(random: &mut Random, text: &mut String, buses: &[String], to: usize, keys: &[String]) {
    let _ = writeln!(text, "to = \"{}\"", buses[to]);
    for (name, low, high) in
        [("trim_db", -60.0, 24.0), ("level_db", -120.0, 24.0), ("pan_percent", -100.0, 100.0), ("delay_ms", 0.0, 100.0)]
    {
        if random.one_in(4) {
            let _ = writeln!(text, "{name} = {:?}", random.number(Unit::Plain, low, high));
        }
    }
    if random.one_in(6) {
        text.push_str("polarity = \"inverted\"\n");
    }
    text.push_str(&chain(random, 2, keys));
    if to + 1 < buses.len() && random.one_in(2) {
        let send = to + 1 + random.below(buses.len() - to - 1);
        let tap = ["pre", "post"][random.below(2)];
        let level_db = random.number(Unit::Plain, -60.0, 6.0);
        let _ = writeln!(text, "sends = [{{ to = \"{}\", tap = \"{tap}\", level_db = {level_db:?} }}]", buses[send]);
    }
    if random.one_in(3) {
        let times = [0.0, 0.2 * random.share(), 0.3, 0.3 + random.share()];
        let points: Vec<String> =
            times.iter().map(|time| format!("[{time:?}, {:?}]", random.number(Unit::Plain, -60.0, 6.0))).collect();
        let _ = writeln!(text, "rides = [{{ what = \"level_db\", points = [{}] }}]", points.join(", "));
    }
}
