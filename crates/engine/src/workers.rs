//! Sharing a render among threads: any step whose inputs are there and whose output has room may run.
//!
//! A step never runs twice at once and always in order of blocks, so that its samples do not depend on the threads.
//! Several blocks are under way at the same time in different steps, so that a long chain keeps all threads busy.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

use crate::fault::Fault;
use crate::stream::{Sink, Stream};

/// One thing to do for every block: compute a step, or hand an output to its sink.
struct Duty {
    work: Work,
    /// Duties whose block must be there first.
    after: Vec<usize>,
    /// Duties that must be done with the block `depth` earlier.
    before: Vec<usize>,
}

#[derive(Clone, Copy)]
enum Work {
    Step(usize),
    Output(usize),
}

struct Progress {
    /// Blocks that each duty has done.
    done: Vec<u64>,
    busy: Vec<bool>,
    fault: Option<Fault>,
    waiting: usize,
}

pub(crate) fn run(
    stream: &Stream,
    threads: usize,
    sinks: Vec<Box<dyn Sink + '_>>,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<(), Fault> {
    let duties = duties(stream);
    let pool = Pool {
        stream,
        blocks: stream.blocks(),
        sinks: sinks.into_iter().map(Mutex::new).collect(),
        shared: Mutex::new(Progress {
            done: vec![0; duties.len()],
            busy: vec![false; duties.len()],
            fault: None,
            waiting: 0,
        }),
        changed: Condvar::new(),
        duties,
        progress,
    };
    std::thread::scope(|scope| {
        for _ in 1..threads.max(1) {
            scope.spawn(|| pool.work());
        }
        pool.work();
    });
    match pool.lock().fault.take() {
        Some(fault) => Err(fault),
        None => Ok(()),
    }
}

/// Duties in the order of the plan, outputs last.
fn duties(stream: &Stream) -> Vec<Duty> {
    let mut duty_of = vec![usize::MAX; stream.plan.steps.len()];
    let mut duties: Vec<Duty> = Vec::new();
    for (index, step) in stream.plan.steps.iter().enumerate().filter(|(index, _)| stream.needed[*index]) {
        duty_of[index] = duties.len();
        let after = step.sources().map(|from| duty_of[from]).collect();
        duties.push(Duty { work: Work::Step(index), after, before: Vec::new() });
    }
    for (output, step) in stream.outputs.iter().enumerate() {
        duties.push(Duty { work: Work::Output(output), after: vec![duty_of[*step]], before: Vec::new() });
    }
    for index in 0..duties.len() {
        for feeder in duties[index].after.clone() {
            duties[feeder].before.push(index);
        }
    }
    duties
}

struct Pool<'a> {
    stream: &'a Stream,
    duties: Vec<Duty>,
    blocks: u64,
    sinks: Vec<Mutex<Box<dyn Sink + 'a>>>,
    shared: Mutex<Progress>,
    changed: Condvar,
    progress: &'a (dyn Fn(f64) + Sync),
}

impl Pool<'_> {
    fn lock(&self) -> MutexGuard<'_, Progress> {
        self.shared.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What a thread does until all is done: take the oldest block that can be worked on.
    fn work(&self) {
        let mut shared = self.lock();
        loop {
            if shared.fault.is_some() || shared.done.iter().all(|done| *done == self.blocks) {
                break;
            }
            let Some(duty) = self.next_duty(&shared) else {
                shared.waiting += 1;
                shared = self.changed.wait(shared).unwrap_or_else(PoisonError::into_inner);
                shared.waiting -= 1;
                continue;
            };
            let block = shared.done[duty];
            shared.busy[duty] = true;
            drop(shared);
            let result = self.perform(self.duties[duty].work, block);
            if duty + 1 == self.duties.len() {
                (self.progress)((block + 1) as f64 / self.blocks as f64);
            }
            shared = self.lock();
            shared.busy[duty] = false;
            shared.done[duty] += 1;
            if let Err(fault) = result {
                shared.fault.get_or_insert(fault);
            }
            if shared.waiting > 0 {
                self.changed.notify_all();
            }
        }
        self.changed.notify_all();
    }

    fn next_duty(&self, shared: &Progress) -> Option<usize> {
        let depth = self.stream.depth as u64;
        let ready = |index: &usize| {
            let (block, duty) = (shared.done[*index], &self.duties[*index]);
            !shared.busy[*index]
                && block < self.blocks
                && duty.after.iter().all(|feeder| shared.done[*feeder] > block)
                && duty.before.iter().all(|reader| shared.done[*reader] + depth > block)
        };
        // The first of those that are least far; whether one is ready is asked only where it would be the next.
        let mut next: Option<usize> = None;
        for index in 0..self.duties.len() {
            if next.is_none_or(|next| shared.done[index] < shared.done[next]) && ready(&index) {
                next = Some(index);
            }
        }
        next
    }

    fn perform(&self, work: Work, block: u64) -> Result<(), Fault> {
        match work {
            Work::Step(step) => self.stream.run_step(step, block),
            Work::Output(output) => {
                let mut sink = self.sinks[output].lock().unwrap_or_else(PoisonError::into_inner);
                self.stream.deliver(output, block, sink.as_mut())
            }
        }
    }
}
