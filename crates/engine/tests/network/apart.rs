//! A plan taken apart gives the same samples, and hears every processor.

use engine::{Setup, Stream};

use crate::sheet;
use crate::songs::{Keep, Songs, noise, plan};

const NETWORK: &str = r#"
[[stem]]
name = "a"
file = "a.wav"
to = "band"
trim_db = -3
delay_ms = 2
chain = [{ eq = { bands = [{ shape = "bell", hz = 300, gain_db = -3 }] } }, { drive = { drive_db = 9 } }]
sends = [{ to = "crush", tap = "pre", level_db = -3 }]
[[stem]]
name = "b"
file = "b.wav"
to = "band"
[[bus]]
name = "band"
to = "mix"
chain = [{ compressor = { key = "b", threshold_db = -30, look_ahead_ms = 2 } }]
[[bus]]
name = "crush"
to = "mix"
chain = [{ compressor = { threshold_db = -40, look_ahead_ms = 5 } }, { drive = { drive_db = 3 }, off = true }]
rides = [{ what = "compressor.threshold_db", points = [[0.0, -40], [0.1, -20]] }]
[[bus]]
name = "mix"
"#;

fn rendered(plan: &engine::Plan, songs: &Songs, step: usize) -> Vec<units::Frame> {
    let mut keep = Keep::of_lanes(1);
    let stream = Stream::open(plan, songs, &[step], &Setup::default()).unwrap();
    stream.run(1, vec![Box::new(&mut keep)], &|_| ()).unwrap();
    keep.lanes.remove(0)
}

#[test]
fn every_end_is_the_same_to_the_bit() {
    let songs = Songs::default().with("a.wav", noise(12_000, 1)).with("b.wav", noise(9000, 2));
    let whole = plan(&sheet(NETWORK), &songs);
    let apart = whole.apart();
    assert_eq!(apart.links.len(), 5);
    for index in 0..whole.steps.len() {
        let end = apart.ends[index];
        assert_eq!(whole.steps[index].leaves, apart.plan.steps[end].leaves, "{}", whole.steps[index].name);
        assert_eq!(rendered(&whole, &songs, index), rendered(&apart.plan, &songs, end), "{}", whole.steps[index].name);
    }
}

#[test]
fn threads_that_share_chains_give_the_same_to_the_bit() {
    let songs = Songs::default().with("a.wav", noise(12_000, 1)).with("b.wav", noise(9000, 2));
    let whole = plan(&sheet(NETWORK), &songs);
    for index in 0..whole.steps.len() {
        let mut keep = Keep::of_lanes(1);
        let stream = Stream::open_for(&whole, &songs, &[index], 3).unwrap();
        stream.run(3, vec![Box::new(&mut keep)], &|_| ()).unwrap();
        assert_eq!(keep.lanes[0], rendered(&whole, &songs, index), "{}", whole.steps[index].name);
    }
}

#[test]
fn a_processor_is_heard_ahead_of_and_behind_in_song_time() {
    let songs = Songs::default().with("a.wav", noise(12_000, 1)).with("b.wav", noise(9000, 2));
    let apart = plan(&sheet(NETWORK), &songs).apart();
    // The one that is off lets its input through, late by its latency, which listening takes out again.
    let off = apart.links.iter().find(|place| apart.plan.steps[place.after].links[0].off).unwrap();
    assert!(apart.plan.steps[off.after].leaves > apart.plan.steps[off.before].leaves);
    let [before, after] = [off.before, off.after].map(|step| rendered(&apart.plan, &songs, step));
    assert!(before.iter().any(|frame| frame[0] != 0.0));
    assert_eq!(before, after);
}

#[test]
fn a_passage_is_the_song_from_there_on() {
    // Without memory, to the bit: rides, file starts and trims move along.
    let text = sheet(
        r#"
[[stem]]
name = "a"
file = "a.wav"
to = "mix"
from = 0.02
rides = [{ what = "level_db", points = [[0.05, 0], [0.15, -20]] }, { what = "pan_percent", points = [[0, -50], [0.2, 50]] }]
[[bus]]
name = "mix"
"#,
    );
    let songs = Songs::default().with("a.wav", noise(12_000, 1));
    let whole = plan(&text, &songs);
    let all = rendered(&whole, &songs, 1);
    for from in [256_usize, 3200] {
        let part = rendered(&whole.passage(from as i64, 2000), &songs, 1);
        assert_eq!(part, all[from..from + 2000], "from {from}");
    }
}
