//! Recordings, read ahead of the thread that plays them.
//!
//! A read from a disk takes as long as the disk likes, and a decoder works by packets. One thread does both for every
//! recording that plays, always for the one that has the least in hand, so that no two of them are read at the same frames
//! for long. What plays takes its frames from rings without locks, and asks first whether they are there
//! ([`crate::Live::is_ready`]). A frame that is not there yet is waited for and never left out: what is heard may come late,
//! but it is the print.

use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, OnceLock};
use std::thread::{self, Thread};
use std::time::Duration;

use rtrb::{Consumer, Producer, RingBuffer};
use units::{Frame, MAX_BLOCK_FRAMES};

use crate::fault::Fault;
use crate::plan::{Feed, Plan};
use crate::step::Playback;

/// How far ahead recordings are read: longer than a disk rests between two reads while others use it too.
const AHEAD_S: f64 = 1.0;
/// Most memory for the rings of a network: a second of 32 recordings at 48 kHz. More recordings are read less far ahead.
const MOST_BYTES: usize = 24 << 20;
/// Frames that a ring has room for at least, whatever that takes.
const LEAST_FRAMES: usize = 4 * MAX_BLOCK_FRAMES;
/// Frames that are read at once.
const PART_FRAMES: usize = MAX_BLOCK_FRAMES;
/// How long one that waits for a frame waits before it looks again.
const LOOK_AGAIN: Duration = Duration::from_millis(1);

/// The thread that reads. It ends with the last recording that it reads.
pub struct ReadAhead {
    incoming: Sender<Filling>,
    wake: Wake,
}

impl ReadAhead {
    /// Starts it; `begin` is the first thing that it does, for instance to take its place among other threads.
    #[must_use]
    pub fn new(begin: impl FnOnce() + Send + 'static) -> Self {
        let (incoming, received) = mpsc::channel();
        let thread = thread::spawn(move || {
            begin();
            read(&received);
        });
        Self { incoming, wake: Wake(thread.thread().clone()) }
    }

    /// Has a recording read from now on, up to so many frames ahead.
    pub(crate) fn take(&self, playback: Box<dyn Playback>, frames: usize) -> Box<dyn Playback> {
        let (producer, ring) = RingBuffer::new(frames);
        let over = Arc::new(OnceLock::new());
        let reading = Reading { ring, over: over.clone(), wake: Wake(self.wake.0.clone()) };
        // If the thread is gone, the ring is left, which whoever reads from it is told.
        let _ = self.incoming.send(Filling { playback, ring: producer, over });
        self.wake.0.unpark();
        Box::new(reading)
    }
}

/// How many frames each recording of a plan is read ahead.
pub(crate) fn frames_ahead(plan: &Plan) -> usize {
    let recordings = plan.steps.iter().filter(|step| matches!(step.feed, Feed::File { .. })).count();
    let most = MOST_BYTES / (recordings.max(1) * size_of::<Frame>());
    ((AHEAD_S * plan.rate_hz) as usize).min(most).max(LEAST_FRAMES).next_multiple_of(PART_FRAMES)
}

/// Wakes the thread when it goes: there is something to clear away.
struct Wake(Thread);

impl Drop for Wake {
    fn drop(&mut self) {
        self.0.unpark();
    }
}

/// A recording on the side of the thread that reads.
struct Filling {
    playback: Box<dyn Playback>,
    ring: Producer<Frame>,
    /// Is set behind the last frame.
    over: Arc<OnceLock<Result<(), Fault>>>,
}

impl Filling {
    fn in_hand(&self) -> usize {
        self.ring.buffer().capacity() - self.ring.slots()
    }

    /// Reads the next frames, if there is room for them; tells whether there are more.
    fn fill(&mut self) -> bool {
        let Ok(mut room) = self.ring.write_chunk(PART_FRAMES) else { return true };
        match self.playback.read(room.as_mut_slices().0) {
            Ok(0) => drop(self.over.set(Ok(()))),
            Ok(frames) => {
                room.commit(frames);
                return true;
            }
            Err(fault) => drop(self.over.set(Err(fault))),
        }
        false
    }
}

/// Reads until nobody asks any more.
fn read(incoming: &Receiver<Filling>) {
    let mut fillings: Vec<Filling> = Vec::new();
    loop {
        if fillings.is_empty() {
            let Ok(filling) = incoming.recv() else { return };
            fillings.push(filling);
        }
        fillings.extend(incoming.try_iter());
        fillings.retain(|filling| !filling.ring.is_abandoned());
        let has_room = |(_, filling): &(usize, &Filling)| filling.ring.slots() >= PART_FRAMES;
        let neediest = fillings.iter().enumerate().filter(has_room).min_by_key(|(_, filling)| filling.in_hand());
        match neediest.map(|(index, _)| index) {
            Some(index) if fillings[index].fill() => {}
            Some(index) => drop(fillings.swap_remove(index)),
            None if fillings.is_empty() => {}
            None => thread::park(),
        }
    }
}

/// A recording on the side of the thread that plays. Its parts go in this order: the thread is woken when the ring is left.
struct Reading {
    ring: Consumer<Frame>,
    over: Arc<OnceLock<Result<(), Fault>>>,
    wake: Wake,
}

impl Reading {
    /// How the recording ended, if all that comes is in the ring.
    fn over(&self) -> Option<Result<(), Fault>> {
        let is_left = self.ring.is_abandoned();
        match self.over.get() {
            Some(over) => Some(over.clone()),
            None => is_left.then(|| Err(stopped())),
        }
    }
}

impl Playback for Reading {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        let mut done = 0;
        while done < out.len() {
            // Asked for ahead of the frames: what was read before the end is in the ring by then.
            let over = self.over();
            done += self.ring.pop_partial_slice(&mut out[done..]).0.len();
            match over {
                _ if done == out.len() => {}
                None => {
                    self.wake.0.unpark();
                    thread::sleep(LOOK_AGAIN);
                }
                Some(Err(fault)) if done == 0 => return Err(fault),
                Some(_) => break,
            }
        }
        // Not for every block: once it is awake, it fills all rings.
        if self.ring.slots() < self.ring.buffer().capacity() / 4 * 3 && self.over.get().is_none() {
            self.wake.0.unpark();
        }
        Ok(done)
    }

    fn is_ready(&self, frames: usize) -> bool {
        self.ring.slots() >= frames.min(LEAST_FRAMES - PART_FRAMES) || self.over().is_some()
    }
}

/// The fault of the thread that reads, which broke down: ours, or a decoder's.
fn stopped() -> Fault {
    let message = "The recordings are read no further: what reads them broke down.".to_owned();
    Fault::machine("cannot-read", "recordings", message, "Start the program again.".to_owned())
}
