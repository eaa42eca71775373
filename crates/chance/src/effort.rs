//! What work takes of the processor. A busy machine stretches the clock, not the work: a test that bounds time asks here.

use std::fs;
use std::time::{Duration, Instant};

/// Does something, and tells the processor's time that this thread took for it, to a hundredth of a second; elsewhere than on
/// Linux the time on the clock.
pub fn of<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let (before, start) = (processor_time(), Instant::now());
    let done = work();
    let took = before.zip(processor_time()).map(|(before, after)| after.saturating_sub(before));
    (done, took.unwrap_or_else(|| start.elapsed()))
}

/// Fields 14 and 15 of the thread's `stat`, user and system time in hundredths of a second: proc(5).
fn processor_time() -> Option<Duration> {
    let stat = fs::read_to_string("/proc/thread-self/stat").ok()?;
    let fields: Vec<&str> = stat.rsplit(')').next()?.split_whitespace().collect();
    let hundredths: u64 = fields.get(11)?.parse::<u64>().ok()? + fields.get(12)?.parse::<u64>().ok()?;
    Some(Duration::from_millis(10 * hundredths))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_is_counted_and_sleep_is_not() {
        let (_, asleep) = of(|| std::thread::sleep(Duration::from_millis(50)));
        let (_, busy) = of(|| (0..200_000_000_u64).fold(0, |sum, n| std::hint::black_box(sum ^ n)));
        assert!(busy > Duration::ZERO, "{busy:?}");
        if processor_time().is_some() {
            assert!(asleep < Duration::from_millis(50), "{asleep:?}");
        }
    }
}
