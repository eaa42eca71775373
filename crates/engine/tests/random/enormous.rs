//! Networks of ten thousand buses, side by side and in a row, and songs of enormous length: compiled, and rendered
//! without a deep stack.

use std::fmt::Write as _;
use std::time::Duration;

use chance::effort;
use engine::{Facts, Fault, Setup, Stream};

use crate::HEAD;
use crate::songs::{Keep, Songs, noise, plan};

/// Compiling takes well under a second; the bound, of the processor's time, only catches what grows with the square.
const BOUND: Duration = Duration::from_secs(20);

const PRINT: &str = "[[print]]\nname = \"p\"\nfrom = \"b0\"\nfiles = [{ format = \"wav\" }]\n";

fn first_frames(text: &str) -> Vec<[f64; 2]> {
    let songs = Songs::default().with("a.wav", noise(64, 1));
    let mut keep = Keep::of_lanes(1);
    let ((), took) = effort::of(|| {
        let plan = plan(text, &songs);
        let setup = Setup { block_frames: 64, depth: 1, ..Setup::default() };
        let stream = Stream::open(&plan, &songs, &[plan.prints[0].step], &setup);
        stream.unwrap().run(1, vec![Box::new(&mut keep)], &|_| ()).unwrap();
    });
    assert!(took < BOUND, "{took:?}");
    keep.lanes.remove(0)
}

#[test]
fn ten_thousand_buses_in_a_row_pass_the_sound_on() {
    let mut text = format!("{HEAD}[[stem]]\nname = \"s\"\nfile = \"a.wav\"\nto = \"b9999\"\n[[bus]]\nname = \"b0\"\n");
    for index in 1..10_000 {
        let _ = write!(text, "[[bus]]\nname = \"b{index}\"\nto = \"b{}\"\n", index - 1);
    }
    assert_eq!(first_frames(&(text + PRINT)), noise(64, 1));
}

#[test]
fn ten_thousand_buses_side_by_side_are_summed() {
    let mut text =
        format!("{HEAD}[[bus]]\nname = \"b0\"\n[[stem]]\nname = \"s\"\nfile = \"a.wav\"\nto = \"b1\"\nsends = [");
    for index in 2..10_000 {
        let _ = write!(text, "{{ to = \"b{index}\" }}, ");
    }
    text.push_str("]\n");
    for index in 1..10_000 {
        let _ = write!(text, "[[bus]]\nname = \"b{index}\"\nto = \"b0\"\nlevel_db = -80\n");
    }
    let got = first_frames(&(text + PRINT));
    let worst = got.iter().zip(noise(64, 1)).map(|(a, b)| (a[0] - 0.9999 * b[0]).abs()).fold(0.0, f64::max);
    assert!(worst < 1e-9, "{worst}");
}

#[test]
fn a_chain_of_a_thousand_processors_is_rendered() {
    let links = "{ trim = { gain_db = 0 } }, ".repeat(1000);
    let text = format!(
        "{HEAD}[[stem]]\nname = \"s\"\nfile = \"a.wav\"\nto = \"b0\"\nchain = [{links}]\n[[bus]]\nname = \"b0\"\n{PRINT}"
    );
    assert_eq!(first_frames(&text), noise(64, 1));
}

/// Recordings whose headers state any length.
struct Lying(u64);

impl Facts for Lying {
    fn frames(&self, _: &str) -> Result<u64, Fault> {
        Ok(self.0)
    }

    fn audio(&self, file: &str) -> Result<dsp::Channels, Fault> {
        Err(Fault::input("cannot-read", file, "There is none.".to_owned(), "Name another.".to_owned()))
    }
}

#[test]
fn enormous_times_and_lengths_are_a_plan_or_a_problem() {
    let times = ["0", "99999:59.999", "1e9", "1e300", "4000000|1", "nan", "-5", "18446744073709551616"];
    for time in times {
        for frames in [0, 1, 1 << 36, 1 << 53, u64::MAX] {
            let text = format!(
                "{HEAD}[[stem]]\nname = \"s\"\nfile = \"a.wav\"\nto = \"b0\"\nfrom = \"{time}\"\n\
                 rides = [{{ what = \"level_db\", points = [[\"{time}\", 0]] }}]\n[[bus]]\nname = \"b0\"\n{PRINT}"
            );
            let (sheet, problems) = sheet::read(&text, &engine::specs());
            let Some(sheet) = sheet else {
                assert!(problems.iter().all(|problem| problem.place.is_some()), "{problems:#?}");
                continue;
            };
            match engine::compile(&sheet, &Lying(frames)) {
                Ok(plan) => assert!(plan.print_frames() < 1 << 60, "{time}, {frames}: {}", plan.print_frames()),
                Err(problems) => assert!(!problems.is_empty() && problems.iter().all(|p| !p.remedy.is_empty())),
            }
        }
    }
}
