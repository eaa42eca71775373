//! Levels, pans, polarity, mutes, sends and rides reach the print as the sheet says.

use units::{Frame, gain_from_db};

use crate::sheet;
use crate::songs::{Songs, difference_db, impulse, noise, render};

fn songs() -> Songs {
    Songs::default().with("a.wav", noise(10_000, 1)).with("b.wav", noise(8000, 2))
}

fn scaled(frames: &[Frame], gain: f64) -> Vec<Frame> {
    frames.iter().map(|[l, r]| [l * gain, r * gain]).collect()
}

#[test]
fn a_neutral_network_gives_the_exact_sum_of_its_stems() {
    let text = sheet(
        r#"
[[stem]]
name = "a"
file = "a.wav"
to = "drums"
[[stem]]
name = "b"
file = "b.wav"
to = "mix"
[[bus]]
name = "drums"
to = "mix"
[[bus]]
name = "mix"
"#,
    );
    let mut b = noise(8000, 2);
    b.resize(10_000, [0.0, 0.0]);
    let sum: Vec<Frame> = noise(10_000, 1).iter().zip(b).map(|(a, b)| [b[0] + a[0], b[1] + a[1]]).collect();
    let got = render(&text, &songs());
    assert_eq!(got.len(), 10_000);
    assert!(difference_db(&got, &sum) < -300.0);
}

#[test]
fn trim_polarity_level_and_send_multiply() {
    let text = sheet(
        r#"
[[stem]]
name = "a"
file = "a.wav"
to = "mix"
trim_db = -3.0
polarity = "inverted"
level_db = -2.0
sends = [{ to = "crush", tap = "pre", level_db = -6.0 }]
[[bus]]
name = "crush"
to = "mix"
level_db = -10.0
[[bus]]
name = "mix"
"#,
    );
    let gain = -gain_from_db(-3.0) * (gain_from_db(-2.0) + gain_from_db(-6.0) * gain_from_db(-10.0));
    let got = render(&text, &songs());
    assert!(difference_db(&got, &scaled(&noise(10_000, 1), gain)) < -280.0);
}

#[test]
fn a_muted_stem_is_absent_with_its_sends() {
    let text = sheet(
        r#"
[[stem]]
name = "a"
file = "a.wav"
to = "mix"
[[stem]]
name = "b"
file = "b.wav"
to = "mix"
mute = true
sends = [{ to = "crush", tap = "pre", level_db = 0.0 }]
[[bus]]
name = "crush"
to = "mix"
[[bus]]
name = "mix"
"#,
    );
    assert_eq!(render(&text, &songs()), noise(10_000, 1));
}

#[test]
fn a_stem_starts_where_the_sheet_says_and_a_delay_is_not_compensated() {
    let text = sheet(
        r#"
[[stem]]
name = "a"
file = "click.wav"
to = "mix"
from = "0:00.010"
delay_ms = 1.0
[[bus]]
name = "mix"
"#,
    );
    let got = render(&text, &Songs::default().with("click.wav", impulse(100, 5)));
    assert_eq!(got.iter().position(|frame| *frame != [0.0, 0.0]), Some(480 + 5 + 48));
    assert_eq!(got.len(), 480 + 100 + 48, "the tail of the delay is printed");
}

#[test]
fn a_ride_moves_the_level_along_straight_lines_in_decibels() {
    let text = sheet(
        r#"
[[stem]]
name = "a"
file = "dc.wav"
to = "mix"
rides = [{ what = "level_db", points = [[0.5, -12], [1.5, 0]] }]
[[bus]]
name = "mix"
"#,
    );
    let got = render(&text, &Songs::default().with("dc.wav", vec![[1.0, 1.0]; 96_000]));
    let level = |secs: f64| units::db_from_gain(got[(secs * 48_000.0) as usize][0]);
    for (secs, db) in [(0.1, -12.0), (0.5, -12.0), (1.0, -6.0), (1.25, -3.0), (1.9, 0.0)] {
        assert!((level(secs) - db).abs() < 1e-3, "{secs} s: {}", level(secs));
    }
    let largest = got.windows(2).map(|pair| (pair[1][0] - pair[0][0]).abs()).fold(0.0, f64::max);
    assert!(largest < 1e-4, "no step between frames: {largest}");
}

#[test]
fn a_ride_that_holds_the_drive_moves_the_return_and_not_the_send() {
    let ridden = |hold: bool| {
        let text = sheet(&format!(
            r#"
[[stem]]
name = "a"
file = "dc.wav"
to = "mix"
sends = [{{ to = "dirt", tap = "post", level_db = 0 }}]
rides = [{{ what = "level_db", points = [[0.5, 0], [1.0, -20]], hold_drive = {hold} }}]
[[bus]]
name = "dirt"
to = "mix"
chain = [{{ trim = {{ gain_db = -6 }} }}]
[[bus]]
name = "mix"
"#
        ));
        let songs = Songs::default().with("dc.wav", vec![[1.0, 1.0]; 96_000]);
        let plan = crate::songs::plan(&text, &songs);
        let dirt = plan.steps.iter().position(|step| step.name == "dirt").unwrap();
        (render(&text, &songs), plan, dirt)
    };
    let (held, plan, dirt) = ridden(true);
    let (free, ..) = ridden(false);
    // Nothing reacts to level here, so that both sound alike; only the place of the gain differs.
    assert!(difference_db(&held, &free) < -80.0, "{}", difference_db(&held, &free));
    let engine::Feed::Sum(inputs) = &plan.steps[dirt].feed else { panic!("a bus") };
    assert!(inputs[0].law.rests_between(0, 96_000), "the drive stays put");
}
