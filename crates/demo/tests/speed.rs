//! How long the demo song takes to make. Alone in its file, so that no other test runs beside it.

use std::time::Instant;

#[test]
fn the_demo_song_is_made_and_written_within_ten_seconds() {
    // Other work on the machine can only slow a run down, so one good run of three counts.
    let times = (0..3).map(|_| {
        let folder = tempfile::tempdir().expect("a folder");
        let start = Instant::now();
        demo::write(folder.path()).expect("the demo song is written");
        start.elapsed().as_secs_f64()
    });
    assert!(times.into_iter().any(|secs| secs < 10.0));
}
