//! A plan that is heard while it plays: the samples of the print, from anywhere, through moves of hands.

use engine::{Live, Plan};
use units::Frame;

use crate::HEAD;
use crate::songs::{Songs, difference_db, noise, plan, render};

const BLOCK: usize = 480;

/// Two prints of different latency, a ridden bus, a return.
const NETWORK: &str = r#"
[[stem]]
name = "a"
file = "a.wav"
to = "band"
sends = [{ to = "room", tap = "post", level_db = -3 }]
rides = [{ what = "level_db", points = [[0.1, -6], [0.35, 0]] }]
[[stem]]
name = "b"
file = "b.wav"
to = "band"
[[bus]]
name = "band"
to = "mix"
level_db = -2
chain = [{ eq = { bands = [{ shape = "bell", hz = 200, gain_db = 0, q = 1 }] } }]
[[bus]]
name = "room"
to = "mix"
delay_ms = 30
chain = [{ trim = { gain_db = -1 } }]
[[bus]]
name = "mix"
"#;

const PRINTS: &str = r#"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 32 }]
[[print]]
name = "for approval"
from = "mix"
chain = [{ limiter = { ceiling_dbtp = -1 } }]
files = [{ format = "wav", bits = 32 }]
"#;

fn songs() -> Songs {
    Songs::default().with("a.wav", noise(48_000, 3)).with("b.wav", noise(40_111, 4))
}

fn text(changes: &[(&str, &str)]) -> String {
    let network = changes.iter().fold(NETWORK.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    });
    format!("{HEAD}{network}{PRINTS}")
}

fn opened(plan: &Plan, from: u64) -> Live {
    let outputs: Vec<usize> = plan.prints.iter().map(|port| port.step).collect();
    Live::open(plan, &songs(), &outputs, (from, BLOCK), None).unwrap()
}

/// Frames of an output from song frame `from` on, for `frames` frames.
fn heard(live: &mut Live, output: usize, from: i64, frames: usize) -> Vec<Frame> {
    let mut out = Vec::new();
    while out.len() < frames {
        let at = live.position();
        live.advance().unwrap();
        let skip = usize::try_from(from - at).unwrap_or(0).min(BLOCK);
        out.extend_from_slice(&live.output(output)[skip..]);
    }
    out.truncate(frames);
    out
}

#[test]
fn from_the_start_it_gives_the_samples_of_the_print() {
    let plan = plan(&text(&[]), &songs());
    assert!(plan.steps[plan.prints[1].step].leaves > plan.steps[plan.prints[0].step].leaves);
    let print = render(&text(&[]), &songs());
    assert!(heard(&mut opened(&plan, 0), 0, 0, 48_000) == print[..48_000]);
}

#[test]
fn from_the_middle_it_gives_the_samples_of_the_print_once_its_history_is_there() {
    let plan = plan(&text(&[]), &songs());
    let print = render(&text(&[]), &songs());
    // A delay of 30 ms without feedback and an equaliser at rest remember 1440 frames; the limiter of the other print
    // makes the outputs lag.
    let live = heard(&mut opened(&plan, 12_345), 0, 20_000, 20_000);
    let short = difference_db(&live, &print[20_000..40_000]);
    assert!(short < -280.0, "{short}");
}

#[test]
fn both_prints_come_in_time() {
    let quiet = text(&[("level_db = -2", "level_db = -40")]);
    let plan = plan(&quiet, &songs());
    let mut live = opened(&plan, 0);
    for _ in 0..20 {
        live.advance().unwrap();
        // Below its ceiling the limiter passes everything.
        assert!(difference_db(live.output(0), live.output(1)) < -200.0);
    }
}

#[test]
fn a_moved_level_glides_and_arrives() {
    let (before, after) = (text(&[]), text(&[("level_db = -2", "level_db = -20")]));
    let mut live = opened(&plan(&before, &songs()), 0);
    heard(&mut live, 0, 0, 9600);
    let at = live.position();
    assert!(live.follow(&plan(&after, &songs())));
    let out = heard(&mut live, 0, at, 9600);
    let (old, new) = (render(&before, &songs()), render(&after, &songs()));
    let from = at as usize;
    // The latency between the sum and the outputs is the limiter's; a block later the new level holds, here within three blocks.
    let lag = 3 * BLOCK;
    let short = difference_db(&out[lag..], &new[from + lag..from + 9600]);
    assert!(short < -280.0, "{short}");
    assert!(difference_db(&out[..1], &old[from..=from]) < -280.0);
    let steps = |x: &[Frame]| x.windows(2).map(|pair| (pair[1][0] - pair[0][0]).abs()).fold(0.0, f64::max);
    assert!(steps(&out[..lag]) <= steps(&old[from - lag..from + lag]), "nothing jumps");
}

#[test]
fn a_moved_number_of_a_processor_glides_and_arrives() {
    let (before, after) = (text(&[]), text(&[("gain_db = 0", "gain_db = 9")]));
    let mut live = opened(&plan(&before, &songs()), 0);
    heard(&mut live, 0, 0, 9600);
    assert!(live.follow(&plan(&after, &songs())));
    let at = live.position();
    let out = heard(&mut live, 0, at, 20_000);
    let new = render(&after, &songs());
    let from = at as usize;
    assert!(difference_db(&out[..480], &new[from..from + 480]) > -60.0, "not at once");
    assert!(difference_db(&out[9600..], &new[from + 9600..from + 20_000]) < -120.0);
    // And back, from where it is now.
    assert!(live.follow(&plan(&before, &songs())));
    let at = live.position();
    let out = heard(&mut live, 0, at, 15_000);
    let old = render(&before, &songs());
    let from = at as usize;
    assert!(difference_db(&out[9600..], &old[from + 9600..from + 15_000]) < -120.0);
}

#[test]
fn another_shape_is_refused_and_changes_nothing() {
    let mut live = opened(&plan(&text(&[]), &songs()), 0);
    for change in [
        ("shape = \"bell\"", "shape = \"notch\""),
        ("{ trim = { gain_db = -1 } }", "{ trim = { gain_db = -1 }, off = true }"),
        ("sends = [{ to = \"room\", tap = \"post\", level_db = -3 }]\n", ""),
    ] {
        assert!(!live.follow(&plan(&text(&[change]), &songs())), "{change:?}");
    }
    assert!(heard(&mut live, 0, 0, 48_000) == render(&text(&[]), &songs())[..48_000]);
}

#[test]
fn what_is_alone_is_heard_with_all_that_it_feeds_and_nothing_else() {
    let mut alone = plan(&text(&[]), &songs());
    alone.alone(&[alone.step_of("a").unwrap()]);
    let without_b = text(&[("file = \"b.wav\"", "file = \"b.wav\"\nmute = true")]);
    let mut live = opened(&plan(&text(&[]), &songs()), 0);
    assert!(live.follow(&alone), "alone has the shape of the whole");
    let out = heard(&mut live, 0, 0, 48_000);
    assert!(difference_db(&out[9600..], &render(&without_b, &songs())[9600..48_000]) < -280.0);
    // A return alone: what feeds it stays, its neighbours at the sum are silent.
    let mut alone = plan(&text(&[]), &songs());
    alone.alone(&[alone.step_of("room").unwrap()]);
    let dry = text(&[("[[bus]]\nname = \"band\"", "[[bus]]\nname = \"band\"\nmute = true")]);
    let out = heard(&mut opened(&alone, 0), 0, 0, 48_000);
    assert!(difference_db(&out, &render(&dry, &songs())[..48_000]) < -280.0);
}

#[test]
fn what_is_silenced_is_heard_nowhere() {
    let mut silenced = plan(&text(&[]), &songs());
    silenced.silence(silenced.step_of("a").unwrap());
    let out = heard(&mut opened(&silenced, 0), 0, 0, 48_000);
    let without = text(&[("file = \"a.wav\"", "file = \"a.wav\"\nmute = true")]);
    let muted = render(&without, &songs());
    assert!(difference_db(&out[..40_000], &muted[..40_000]) < -280.0);
}

#[test]
fn a_file_beside_the_song_comes_in_time_with_it() {
    let mut plan = plan(&text(&[]), &songs());
    let beside = plan.beside("a.wav", 0);
    let mut live = Live::open(&plan, &songs(), &[plan.prints[1].step, beside], (4321, BLOCK), None).unwrap();
    assert!(heard(&mut live, 1, 5000, 20_000) == noise(48_000, 3)[5000..25_000]);
}
