//! What a thread behind the scenes is to do next: the newest wish counts, once hands have rested.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

enum Wanted<T> {
    Nothing,
    This(T),
    End,
}

/// A wish: one thread waits for it in [`Wish::wait`], everyone else makes it.
pub(crate) struct Wish<T> {
    rest: Duration,
    wanted: Mutex<Wanted<T>>,
    told: Condvar,
    stop: AtomicBool,
}

impl<T> Wish<T> {
    /// No wish yet; a wish counts when nothing was wished for so long.
    pub(crate) fn new(rest: Duration) -> Self {
        Self { rest, wanted: Mutex::new(Wanted::Nothing), told: Condvar::new(), stop: AtomicBool::new(false) }
    }

    /// This is wanted: whatever is under way is void.
    pub(crate) fn want(&self, wish: T) {
        self.put(Wanted::This(wish));
    }

    /// Nothing more is wanted.
    pub(crate) fn end(&self) {
        self.put(Wanted::End);
    }

    /// Set while what is under way is void.
    pub(crate) fn stop(&self) -> &AtomicBool {
        &self.stop
    }

    /// Whether what is under way is void.
    pub(crate) fn is_void(&self) -> bool {
        self.stop.load(Ordering::SeqCst)
    }

    fn put(&self, wanted: Wanted<T>) {
        *self.lock() = wanted;
        self.stop.store(true, Ordering::SeqCst);
        self.told.notify_all();
    }

    fn lock(&self) -> MutexGuard<'_, Wanted<T>> {
        self.wanted.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits until something is wanted and hands have rested. None at the end.
    pub(crate) fn wait(&self) -> Option<T> {
        let mut wanted = self.lock();
        loop {
            match *wanted {
                Wanted::End => return None,
                Wanted::Nothing => wanted = self.told.wait(wanted).unwrap_or_else(PoisonError::into_inner),
                Wanted::This(_) => {
                    let rested = self.told.wait_timeout(wanted, self.rest);
                    let (mut now, rested) = rested.unwrap_or_else(PoisonError::into_inner);
                    if rested.timed_out() && matches!(*now, Wanted::This(_)) {
                        self.stop.store(false, Ordering::SeqCst);
                        if let Wanted::This(wish) = std::mem::replace(&mut *now, Wanted::Nothing) {
                            return Some(wish);
                        }
                    }
                    wanted = now;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::thread;

    use super::*;

    #[test]
    fn the_newest_wish_counts_and_voids_what_is_under_way() {
        let wish = Arc::new(Wish::new(Duration::from_millis(80)));
        let (waiting, (done, got)) = (wish.clone(), std::sync::mpsc::channel());
        let thread = thread::spawn(move || {
            while let Some(number) = waiting.wait() {
                done.send((number, waiting.is_void())).expect("the test waits");
            }
        });
        (1..=5).for_each(|number| wish.want(number));
        assert_eq!(got.recv(), Ok((5, false)));
        wish.want(6);
        assert!(wish.is_void());
        assert_eq!(got.recv(), Ok((6, false)));
        wish.end();
        thread.join().expect("it ends");
    }
}
