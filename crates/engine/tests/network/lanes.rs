//! Followers carry stems through the whole network: with the residue they sum to the print.

use engine::Setup;
use units::Frame;

use crate::sheet;
use crate::songs::{Songs, difference_db, noise, render_with};

#[test]
fn stems_and_residue_sum_to_the_print_through_dynamics() {
    let text = sheet(
        r#"
[[stem]]
name = "a"
file = "a.wav"
to = "band"
[[stem]]
name = "b"
file = "b.wav"
to = "band"
sends = [{ to = "crush", tap = "post", level_db = 0 }]
[[stem]]
name = "c"
file = "c.wav"
to = "mix"
[[bus]]
name = "band"
to = "mix"
chain = [{ compressor = { kind = "clean", threshold_db = -30, ratio = 4, attack_ms = 1 } }]
sends = [{ to = "crush", tap = "post", level_db = -3 }]
[[bus]]
name = "crush"
to = "mix"
chain = [{ compressor = { kind = "clean", threshold_db = -40, ratio = 10, attack_ms = 0.2, look_ahead_ms = 2 } }]
[[bus]]
name = "mix"
chain = [{ limiter = { ceiling_dbtp = -3 } }]
"#,
    );
    let songs = Songs::default()
        .with("a.wav", noise(20_000, 1))
        .with("b.wav", noise(20_000, 2))
        .with("c.wav", noise(20_000, 3));
    let followers = vec![vec!["a".to_owned()], vec!["b".to_owned()]];
    let lanes = render_with(&text, &songs, &Setup { followers, ..Setup::default() }, 2);
    assert_eq!(lanes.len(), 4);
    let sum: Vec<Frame> = (0..lanes[0].len())
        .map(|i| [0, 1].map(|channel| lanes[1][i][channel] + lanes[2][i][channel] + lanes[3][i][channel]))
        .collect();
    // Design: below -140 dB at 64 bit.
    assert!(difference_db(&sum, &lanes[0]) < -140.0, "{}", difference_db(&sum, &lanes[0]));
    let alone = render_with(&text, &songs, &Setup::default(), 1);
    assert_eq!(alone[0], lanes[0], "followers change nothing in what is heard");
    assert!(lanes[1].iter().any(|frame| frame[0].abs() > 0.01), "a follower carries sound");
}
