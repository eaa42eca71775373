//! What a part adds to a song, against closed forms and against whole renders that are compared independently.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::fs;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use chance::Random;
use engine::{Folder, Plan};
use prints::fair::{Adds, Trial, Weighing, adds, compare_without};
use sheet::Sheet;

use song::{HEAD, RATE_HZ, write_stem};

mod song;

const SECS: usize = 6;

const NODES: &str = r#"
[[stem]]
name = "band"
file = "band.wav"
to = "mix"
sends = [{ to = "copy", level_db = -6.0 }, { to = "body", level_db = 0.0 }]
[[stem]]
name = "hush"
file = "band.wav"
to = "mix"
mute = true
[[bus]]
name = "copy"
to = "mix"
[[bus]]
name = "body"
to = "aside"
chain = [{ eq = { bands = [{ shape = "low shelf", hz = 250, gain_db = 6 }] } }, { width = {}, off = true }]
[[bus]]
name = "mix"
[[bus]]
name = "aside"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
[[print]]
name = "body alone"
from = "aside"
chain = [{ trim = { gain_db = -3 } }, { limiter = {} }]
loudness = { lufs = -20 }
files = [{ format = "wav", bits = 24 }]
"#;

struct Bench {
    folder: tempfile::TempDir,
    sheet: Sheet,
    sources: Arc<Folder>,
    plan: Plan,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let text = format!("{HEAD}{NODES}");
        fs::write(folder.path().join("sheet.toml"), &text).unwrap();
        write_stem(folder.path(), "band.wav", &Random(7).signal(SECS * RATE_HZ as usize, 0.05));
        let (sheet, problems) = sheet::read(&text, &engine::specs());
        let sheet = sheet.unwrap_or_else(|| panic!("{problems:#?}"));
        let sources = Arc::new(Folder::new(folder.path(), RATE_HZ));
        let mut plan = engine::compile(&sheet, sources.as_ref()).unwrap();
        let port = plan.prints[1].clone();
        plan.settle(&port, 9.0, Some(-1.0));
        Self { folder, sheet, sources, plan }
    }

    fn adds(&self, part: &str, span_s: (f64, f64)) -> Option<Adds> {
        let stop = AtomicBool::new(false);
        adds(&Weighing {
            sheet: &self.sheet,
            plan: &self.plan,
            sources: &self.sources,
            print: "for mastering",
            part,
            span_s,
            threads: 2,
            stop: &stop,
        })
        .unwrap()
    }
}

#[test]
fn a_copy_adds_what_the_sum_of_two_like_waves_does() {
    // A copy 6 dB under adds 20 log10(1 + 10^(-6/20)) = 3.529 dB (the sum of two like waves, any handbook of acoustics),
    // and changes neither bands, crest nor width.
    let adds = Bench::new().adds("copy", (1.0, 4.0)).unwrap();
    assert_eq!((adds.print.as_str(), adds.span_s), ("for mastering", (1.0, 4.0)));
    assert!((adds.whole.loudness_lu.unwrap() - 3.529).abs() < 0.01, "{adds:?}");
    let others = [adds.whole.crest_db, adds.whole.width_db].into_iter().chain(adds.whole.low_mid_high_db);
    others.for_each(|change| assert!(change.unwrap().abs() < 0.01, "{adds:?}"));
    let (bus, over) = adds.over_rest.clone().unwrap();
    assert!(bus == "mix" && (over + 6.0).abs() < 0.01, "{adds:?}");
    assert_eq!(adds.whole.sentence(), "Adds 3.5 LU.");
}

#[test]
fn it_is_what_whole_renders_differ_by() {
    let bench = Bench::new();
    let sheet = bench.folder.path().join("sheet.toml");
    let song = (0.0, SECS as f64);
    let copy = bench.adds("copy", song).unwrap();
    let body = bench.adds("body", song).unwrap();
    assert_eq!(body.print, "body alone", "the first print that it reaches");
    let eq = body.processors[0].clone().unwrap().in_print;
    for (print, without, ours) in [("for mastering", "copy", copy.whole), ("body alone", "body, equaliser", eq)] {
        let trial = Trial { sheet: &sheet, print, without, threads: 2, progress: &|_, _| () };
        let Ok(found) = compare_without(&trial) else { panic!("{without} can be left out") };
        let [with, without] = [found.comparison.a, found.comparison.b].map(|side| side.integrated_lufs.unwrap());
        let lu = ours.loudness_lu.unwrap();
        assert!((lu - (with - without)).abs() < 0.02, "{lu}, {with}, {without}");
    }
}

#[test]
fn a_processor_is_heard_in_its_place_and_in_the_print() {
    let bench = Bench::new();
    let body = bench.adds("body", (0.5, 5.5)).unwrap();
    let [Some(eq), None] = &body.processors[..] else { panic!("{body:?}") };
    // A low shelf of 6 dB at 250 Hz reaches its whole gain well below: that band rises by most of it against the rest.
    let [low, _, high] = eq.in_place.low_mid_high_db.map(Option::unwrap);
    assert!((3.0..6.0).contains(&(low - high)), "{eq:?}");
    let [low, _, high] = eq.in_print.low_mid_high_db.map(Option::unwrap);
    assert!((3.0..6.0).contains(&(low - high)), "{eq:?}");
    let print = bench.adds("body alone", (0.5, 5.5)).unwrap();
    let [Some(trim), Some(limiter)] = &print.processors[..] else { panic!("{print:?}") };
    // The chain as a whole: a trim of -3 dB and a gain of 9 dB; the limiter has nothing to hold.
    assert!((print.whole.loudness_lu.unwrap() - 6.0).abs() < 0.05, "{print:?}");
    assert!((trim.in_place.loudness_lu.unwrap() + 3.0).abs() < 1e-6, "{trim:?}");
    assert!(limiter.in_place.loudness_lu.unwrap().abs() < 0.05, "{limiter:?}");
}

#[test]
fn what_reaches_no_print_or_is_not_there_adds_nothing() {
    let bench = Bench::new();
    assert!(bench.adds("hush", (0.0, 4.0)).is_none_or(|adds| adds.whole.loudness_lu.is_none_or(|lu| lu.abs() < 1e-9)));
    assert_eq!(bench.adds("nobody", (0.0, 4.0)), None);
    let long = bench.adds("copy", (0.0, 1e9)).unwrap();
    assert_eq!(long.span_s, (0.0, 30.0));
}
