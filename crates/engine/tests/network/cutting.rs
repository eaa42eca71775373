//! The same bytes for any block size, any thread count, run after run.

use engine::Setup;

use crate::sheet;
use crate::songs::{Songs, noise, render_with};

/// Everything at once: sends, rides on levels and processors, a key, latencies.
const NETWORK: &str = r#"
[[stem]]
name = "a"
file = "a.wav"
to = "band"
pan_percent = -30
sends = [{ to = "crush", tap = "post", level_db = -3 }]
rides = [{ what = "level_db", points = [[0.1, -6], [0.35, 0]] }, { what = "pan_percent", points = [[0, -50], [0.5, 50]] }]
[[stem]]
name = "b"
file = "b.wav"
to = "band"
chain = [{ trim = { gain_db = 3 } }]
rides = [{ what = "trim.gain_db", points = [[0.05, -20], [0.3, 6]] }]
[[bus]]
name = "band"
to = "mix"
[[bus]]
name = "crush"
to = "mix"
chain = [{ compressor = { kind = "clean", threshold_db = -30, ratio = 8, attack_ms = 0.4, look_ahead_ms = 1, key = "band" } }]
rides = [{ what = "compressor.threshold_db", points = [[0.1, -40], [0.4, -10]] }]
[[bus]]
name = "mix"
"#;

fn songs() -> Songs {
    Songs::default().with("a.wav", noise(30_000, 3)).with("b.wav", noise(25_111, 4))
}

fn bits(setup: &Setup, threads: usize) -> Vec<[u64; 2]> {
    let lanes = render_with(&sheet(NETWORK), &songs(), setup, threads);
    lanes[0].iter().map(|[l, r]| [l.to_bits(), r.to_bits()]).collect()
}

#[test]
fn block_size_and_threads_change_not_a_bit() {
    let reference = bits(&Setup::default(), 1);
    assert!(reference.iter().any(|frame| *frame != [0, 0]));
    for block_frames in [1, 7, 64, 1000, 4096] {
        for (depth, threads) in [(1, 1), (2, 2), (4, 3)] {
            let setup = Setup { block_frames, depth, ..Setup::default() };
            assert!(bits(&setup, threads) == reference, "blocks of {block_frames}, {threads} threads");
        }
    }
}

#[test]
fn run_after_run_gives_the_same_bits() {
    let first = bits(&Setup::default(), 2);
    for _ in 0..5 {
        assert!(bits(&Setup::default(), 2) == first);
    }
}
