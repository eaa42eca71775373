//! A thread that works for the player for as long as that lives.
//!
//! Not one for each thing to do: a network is allocated by the thread that opens it, and threads that come and go leave
//! their memory scattered over ever more arenas of the allocator, which give next to nothing back. In six minutes of
//! moves that made 56 MB.

use std::sync::mpsc::{self, Sender};
use std::thread;

use crate::player::Order;

type Job = Box<dyn FnOnce() -> Option<Order> + Send>;

/// Does one thing after the other; what comes of it, if anything, goes back to the player as an order.
pub(crate) struct Helper(Sender<Job>);

impl Helper {
    /// Starts one whose orders go `back`, and which gives way to the player.
    pub(crate) fn new(back: &Sender<Order>, gives_way: &'static (dyn Fn() + Sync)) -> Self {
        let (jobs, received) = mpsc::channel::<Job>();
        let back = back.clone();
        thread::spawn(move || {
            gives_way();
            for job in received {
                if job().is_some_and(|order| back.send(order).is_err()) {
                    // The player has ended.
                    return;
                }
            }
        });
        Self(jobs)
    }

    /// Has something done when all before it is.
    pub(crate) fn ask(&self, job: impl FnOnce() -> Option<Order> + Send + 'static) {
        // It ends with the player only.
        let _ = self.0.send(Box::new(job));
    }
}
