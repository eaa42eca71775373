//! How long the demo song takes to make. Alone in its file, so that no other test runs beside it.

use std::fs;
use std::time::Instant;

/// Processor seconds that this process has used, where the system tells: fields 14 and 15 of `/proc/self/stat`, user
/// and system time in hundredths of a second (proc(5)).
fn processor_secs() -> Option<f64> {
    let stat = fs::read_to_string("/proc/self/stat").ok()?;
    let fields: Vec<&str> = stat.rsplit(')').next()?.split_whitespace().collect();
    let hundredths: f64 = fields.get(11)?.parse::<f64>().ok()? + fields.get(12)?.parse::<f64>().ok()?;
    Some(hundredths / 100.0)
}

#[test]
fn the_demo_song_takes_no_more_of_a_processor_than_it_should() {
    let (before, start) = (processor_secs(), Instant::now());
    demo::stems(demo::RATE_HZ).for_each(drop);
    // A busy machine stretches the time on the clock, not what the work takes. It takes five seconds where this was written,
    // of two processors: a slower machine, or one whose processors share their cores, may take several times as long.
    let secs = match (before, processor_secs()) {
        (Some(before), Some(after)) if after > before => after - before,
        _ => start.elapsed().as_secs_f64(),
    };
    assert!(secs < 30.0, "{secs:.1} s");
}
