//! Parallel paths of different latency meet in time at every sum, at any depth.

use crate::sheet;
use crate::songs::{Songs, difference_db, impulse, noise, plan, render};

/// A dry path, one through a processor with latency at neutral settings, and one through two buses with the same.
const PARALLEL: &str = r#"
[[stem]]
name = "a"
file = "a.wav"
to = "band"
sends = [{ to = "one", tap = "post", level_db = 0 }, { to = "two", tap = "pre", level_db = 0 }]
[[bus]]
name = "band"
to = "mix"
[[bus]]
name = "one"
to = "mix"
chain = [{ compressor = { threshold_db = 0, ratio = 1, look_ahead_ms = 5 } }]
[[bus]]
name = "two"
to = "three"
chain = [{ compressor = { threshold_db = 0, ratio = 1, look_ahead_ms = 3 } }]
[[bus]]
name = "three"
to = "mix"
chain = [{ compressor = { threshold_db = 0, ratio = 1, look_ahead_ms = 7 } }]
[[bus]]
name = "mix"
"#;

#[test]
fn an_impulse_through_all_paths_arrives_at_one_sample() {
    let text = sheet(PARALLEL);
    let songs = Songs::default().with("a.wav", impulse(4000, 1234));
    let latest = plan(&text, &songs).steps.iter().map(|step| step.leaves).max();
    assert_eq!(latest, Some(480), "3 ms and 7 ms add up on the longest path");
    let got = render(&text, &songs);
    for (index, frame) in got.iter().enumerate() {
        let expected = if index == 1234 { 3.0 } else { 0.0 };
        assert!((frame[0] - expected).abs() < 1e-9, "frame {index}: {}", frame[0]);
    }
}

#[test]
fn parallel_copies_sum_flat() {
    let songs = Songs::default().with("a.wav", noise(48_000, 7));
    let got = render(&sheet(PARALLEL), &songs);
    let thrice: Vec<_> = noise(48_000, 7).iter().map(|[l, r]| [3.0 * l, 3.0 * r]).collect();
    // 0.001 dB of a sum of three is -72 dB; the paths are neutral, so that rounding alone may remain.
    assert!(difference_db(&got, &thrice) < -250.0, "{}", difference_db(&got, &thrice));
}

#[test]
fn a_key_from_another_bus_is_in_time_with_what_it_controls() {
    // The key passes a processor with latency; the controlled path waits for it.
    let text = sheet(
        r#"
[[stem]]
name = "a"
file = "a.wav"
to = "ducked"
[[stem]]
name = "k"
file = "k.wav"
to = "keys"
[[bus]]
name = "keys"
to = "mix"
level_db = -60
chain = [{ compressor = { threshold_db = 0, ratio = 1, look_ahead_ms = 5 } }]
[[bus]]
name = "ducked"
to = "mix"
chain = [{ compressor = { key = "keys", threshold_db = -40, ratio = 20, attack_ms = 0.02, release_ms = 5, knee_db = 0 } }]
[[bus]]
name = "mix"
"#,
    );
    let mut key = vec![[0.0, 0.0]; 24_000];
    key[12_000..].fill([1.0, 1.0]);
    let text = text.replace("level_db = -60\n", "level_db = -20\n");
    let songs = Songs::default().with("a.wav", vec![[0.001, 0.001]; 24_000]).with("k.wav", key);
    let plan = plan(&text, &songs);
    let ducked = plan.steps.iter().find(|step| step.name == "ducked").unwrap();
    assert_eq!(ducked.links[0].wait_frames, 240);
    let solo = text.replace("name = \"keys\"\nto = \"mix\"", "name = \"keys\"\nto = \"bin\"")
        + "\n[[bus]]\nname = \"bin\"\nto = \"mix\"\nlevel_db = -60\n";
    let got = render(&solo, &songs);
    // The compressor must not move before the key sounds, and must have gripped a millisecond after.
    assert!(got[..12_000].iter().all(|frame| (frame[0] - 0.001).abs() < 1e-12), "nothing moves before the key");
    assert!(got[12_048][0] < 0.0005, "the grip comes with the key: {}", got[12_048][0]);
}
