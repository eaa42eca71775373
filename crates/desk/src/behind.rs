//! Work behind the scenes: it gives way to the thread that plays.
//!
//! What is surveyed, weighed, rendered, encoded or advised on may take seconds; a piece of sound is due every 10 ms. On two
//! cores they meet, and a thread that waits its turn behind two others misses that. On Linux each thread has a niceness of
//! its own; on other systems all stay equal, and the page's ring has to be enough.

use std::thread::{self, JoinHandle};

/// How far work behind the scenes gives way, how far that which somebody waits for does, and how far the player goes ahead
/// where the system lets it: `nice` of Linux.
const FAR_BEHIND: i32 = 15;
const CLOSE_BEHIND: i32 = 3;
const AHEAD: i32 = -10;
/// What reads recordings for the player goes ahead of all else but the player.
const HALF_AHEAD: i32 = -5;

/// Starts a thread that gives way.
pub(crate) fn spawn(work: impl FnOnce() + Send + 'static) -> JoinHandle<()> {
    thread::spawn(move || {
        far();
        work();
    })
}

/// This thread gives way.
pub(crate) fn far() {
    nice(FAR_BEHIND);
}

/// This thread gives way, but somebody waits for it.
pub(crate) fn close() {
    nice(CLOSE_BEHIND);
}

/// Puts this thread ahead of others, where the system lets it.
pub(crate) fn go_ahead() {
    nice(AHEAD);
}

/// Puts this thread ahead of others but the player, where the system lets it.
pub(crate) fn go_half_ahead() {
    nice(HALF_AHEAD);
}

/// Without a process, Linux takes the thread that asks. What is refused stays as it was.
#[cfg(target_os = "linux")]
fn nice(by: i32) {
    let _ = rustix::process::setpriority_process(None, by);
}

#[cfg(not(target_os = "linux"))]
fn nice(_: i32) {}

/// Processor time that this thread has had, where the system tells.
#[cfg(target_os = "linux")]
pub(crate) fn processor_time() -> Option<std::time::Duration> {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    std::time::Duration::try_from(now).ok()
}

/// Processor time that this thread has had, where the system tells.
#[cfg(not(target_os = "linux"))]
pub(crate) fn processor_time() -> Option<std::time::Duration> {
    None
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;

    #[test]
    fn what_is_behind_gives_way_and_nothing_else_does() {
        let own = || rustix::process::getpriority_process(None).expect("a niceness");
        let before = own();
        let (tell, told) = std::sync::mpsc::channel();
        spawn(move || tell.send(own()).expect("the test waits")).join().expect("it ends");
        assert_eq!((told.recv().expect("told"), own()), (before.max(FAR_BEHIND), before));
    }
}
