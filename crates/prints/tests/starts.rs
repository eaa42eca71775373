//! The starting points on the demo song: what `starts/measured.toml` says of each must be what is measured.
//!
//! Measured on four bars, one of the verse and three of the first chorus, of the demo song as its stems are balanced: the
//! chains, sends and returns of its buses are taken out, so that each starting point meets the same plain mix.
//! With `FAIRPRINT_WRITE_STARTS` set, the sentences are written instead of checked.

use std::collections::{BTreeMap, HashMap};
use std::fmt::Write as _;
use std::sync::Arc;

use engine::{Facts, Fault, Playback, Sources};
use prints::starts::{Heard, Listen, hear, places};
use sheet::{Edit, Sheet, Step};
use units::Frame;

const BARS: [u32; 2] = [13, 17];
const MEASURED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../sheet/starts/measured.toml");
const HEAD: &str = "\
# What each starting point does to the demo song, on bars 13 to 16 of it without the chains and returns of its buses.
# Written by `sh scripts/starts`, never by hand.
";

fn secs(bar: u32) -> f64 {
    demo::secs_from_beats(demo::beat_of_bar(bar))
}

/// The stems between two bars.
struct Excerpt(HashMap<String, Arc<[Frame]>>);

impl Excerpt {
    fn new() -> Self {
        let frame = |bar| units::frames_from_secs(secs(bar), f64::from(demo::RATE_HZ)) as usize;
        let [from, to] = BARS.map(frame);
        let file = |name: &str| format!("stems/{name}.wav");
        let stems = demo::stems(demo::RATE_HZ);
        Self(stems.map(|stem| (file(stem.name), stem.frames[from..to].into())).collect())
    }
}

impl Facts for Excerpt {
    fn frames(&self, file: &str) -> Result<u64, Fault> {
        Ok(self.0[file].len() as u64)
    }

    fn audio(&self, file: &str) -> Result<Arc<[Vec<f64>]>, Fault> {
        Err(Fault::input("no-responses", file, format!("{file} is not here."), String::new()))
    }
}

impl Sources for Excerpt {
    fn open(&self, file: &str) -> Result<Box<dyn Playback>, Fault> {
        Ok(Box::new(Playing(self.0[file].clone(), 0)))
    }
}

struct Playing(Arc<[Frame]>, usize);

impl Playback for Playing {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        let length = out.len().min(self.0.len() - self.1);
        out[..length].copy_from_slice(&self.0[self.1..self.1 + length]);
        self.1 += length;
        Ok(length)
    }
}

fn read(text: &str) -> Sheet {
    let (sheet, problems) = sheet::read(text, &engine::specs());
    sheet.unwrap_or_else(|| panic!("{problems:#?}\n{text}"))
}

/// The demo's sheet without the chains, sends and rides of its buses, without its returns, with its plain print.
fn plain_text() -> String {
    let sheet = read(demo::SHEET);
    let mut text = demo::SHEET.to_owned();
    let mut remove = |path: &[&str]| {
        let path = path.iter().map(|step| Step::from(*step)).collect();
        text = Edit::Remove { path }.apply(&text).unwrap_or_else(|problem| panic!("{problem:?}"));
    };
    let fed = |name: &str| sheet.nodes.iter().any(|node| node.sends.iter().any(|send| send.to == *name));
    for node in &sheet.nodes {
        let kind = if node.is_stem() { "stem" } else { "bus" };
        if fed(&node.name) || node.name == "space" {
            remove(&["bus", &node.name]);
            continue;
        }
        let parts = [("chain", !node.is_stem() && !node.chain.is_empty()), ("sends", !node.sends.is_empty())];
        for (key, _) in parts.iter().filter(|(_, there)| *there) {
            remove(&[kind, &node.name, key]);
        }
    }
    sheet.prints.iter().filter(|print| print.loudness.is_some()).for_each(|print| remove(&["print", &print.name]));
    text
}

/// The sheet with its rides as they are from the first bar of the excerpt on.
fn excerpted(text: &str) -> Sheet {
    let mut sheet = read(text);
    for point in sheet.nodes.iter_mut().flat_map(|node| &mut node.rides).flat_map(|ride| &mut ride.points) {
        point.0 -= secs(BARS[0]);
    }
    sheet
}

fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

#[test]
fn what_is_said_of_each_is_what_is_measured() {
    let (song, plain) = (Excerpt::new(), plain_text());
    let (sheet, before) = (read(&plain), excerpted(&plain));
    let mut without: BTreeMap<Listen, Heard> = BTreeMap::new();
    let mut text = HEAD.to_owned();
    for start in sheet::starts(&engine::specs()) {
        let after = start.into_text(&plain, &sheet, None, &engine::specs()).unwrap();
        let after = excerpted(&after);
        let [there, with] = places(&start, &start.at, &after);
        let ear = |sheet: &Sheet, listen: &Listen| {
            hear(sheet, listen, &song, threads()).unwrap_or_else(|fault| panic!("{}: {fault:?}", start.name))
        };
        let dry = without.entry(there.clone()).or_insert_with(|| ear(&before, &there));
        let effect = dry.effect_of(&ear(&after, &with));
        writeln!(text, "{:?} = {:?}", start.name, effect.sentence(&there)).unwrap();
    }
    if std::env::var_os("FAIRPRINT_WRITE_STARTS").is_some() {
        std::fs::write(MEASURED, text).unwrap();
        return;
    }
    let stored = std::fs::read_to_string(MEASURED).unwrap();
    assert!(stored == text, "run `sh scripts/starts` and look at what it changes; measured now:\n{text}");
}
