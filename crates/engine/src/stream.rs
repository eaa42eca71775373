//! The stream: the only thing that moves samples. It pulls blocks through a plan, offline and live alike.

use std::sync::{Mutex, PoisonError, RwLock, RwLockReadGuard, TryLockError};

use dsp::Context;
use units::{Block, Frame, MAX_BLOCK_FRAMES, SILENCE};

use crate::compile::Facts;
use crate::fault::Fault;
use crate::plan::{Feed, Plan};
use crate::step::{NotNumbers, Playback, Span, StepState};

/// Where recordings come from.
pub trait Sources: Facts {
    /// Opens a recording at the song's rate.
    ///
    /// # Errors
    /// The file cannot be read.
    fn open(&self, file: &str) -> Result<Box<dyn Playback>, Fault>;
}

/// Frames of one output in all its lanes, in song time.
pub struct Taken<'a> {
    data: &'a [Frame],
    stride: usize,
    from: usize,
    frames: usize,
}

impl Taken<'_> {
    /// The frames of a lane: 0 is the signal itself, then the followers, then the residue.
    #[must_use]
    pub fn lane(&self, lane: usize) -> &[Frame] {
        &self.data[lane * self.stride + self.from..][..self.frames]
    }
}

/// Something that takes what an output gives: a file, a meter.
pub trait Sink: Send {
    /// Takes the next frames, in order, from the first frame of the song to the end of its tail.
    ///
    /// # Errors
    /// It cannot take them, for instance because the disk is full: the render stops.
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault>;

    /// Whether it takes all that is computed instead: also the time by which the output lags the song, and what is
    /// computed past the tail. [`crate::Step::played`] plays that again.
    fn takes_all(&self) -> bool {
        false
    }
}

/// How a stream is opened.
#[derive(Clone, Debug)]
pub struct Setup {
    /// Frames in a block, up to [`MAX_BLOCK_FRAMES`]. Results do not depend on it.
    pub block_frames: usize,
    /// Groups of stems that are carried along as followers, by name. None: the key alone.
    pub followers: Vec<Vec<String>>,
    /// Blocks that may be under way at once in different steps; at least 1. More lets more threads work.
    pub depth: usize,
    /// The first frame that is computed, counted from the start of the song. What sounded before is not heard, tails
    /// included; rides stand where they stand in the song.
    pub from: u64,
}

impl Default for Setup {
    fn default() -> Self {
        Self { block_frames: 1024, followers: Vec::new(), depth: 4, from: 0 }
    }
}

impl Setup {
    /// The usual setup for a number of threads. One alone needs no blocks ahead, and what it works on then stays in the
    /// nearer caches.
    #[must_use]
    pub fn for_threads(threads: usize) -> Self {
        let usual = Self::default();
        Self { depth: if threads > 1 { usual.depth } else { 1 }, ..usual }
    }
}

/// A plan at work.
pub struct Stream {
    pub(crate) plan: Plan,
    pub(crate) outputs: Vec<usize>,
    pub(crate) needed: Vec<bool>,
    pub(crate) block_frames: usize,
    pub(crate) depth: usize,
    lanes: usize,
    from: u64,
    /// For each step: the one lane beside the key that all of its sound is in, if there is one.
    pure: Vec<Option<usize>>,
    /// Where the render ends, counted from the start of the song.
    end_frame: u64,
    // The locks prove to the compiler what the order of steps guarantees: nobody ever waits for one.
    states: Vec<Mutex<Option<StepState>>>,
    slots: Vec<RwLock<Vec<Frame>>>,
}

impl Stream {
    /// Opens all recordings that `outputs` (indices of steps) need and builds all processors on their way.
    ///
    /// # Errors
    /// A file cannot be opened, or a processor cannot be built.
    ///
    /// # Panics
    /// If the setup asks for blocks of 0 or more than [`MAX_BLOCK_FRAMES`] frames: a fault of the caller's code.
    pub fn open(plan: &Plan, sources: &dyn Sources, outputs: &[usize], setup: &Setup) -> Result<Self, Fault> {
        Self::open_read_by(plan, sources, outputs, setup, &|playback| playback)
    }

    /// The same, where every recording goes through other hands once it stands at its first frame.
    pub(crate) fn open_read_by(
        plan: &Plan,
        sources: &dyn Sources,
        outputs: &[usize],
        setup: &Setup,
        hands: &dyn Fn(Box<dyn Playback>) -> Box<dyn Playback>,
    ) -> Result<Self, Fault> {
        assert!((1..=MAX_BLOCK_FRAMES).contains(&setup.block_frames) && setup.depth > 0, "{setup:?}");
        let needed = plan.needed_for(outputs);
        let lanes = if setup.followers.is_empty() { 1 } else { setup.followers.len() + 2 };
        let audio = |file: &str| sources.audio(file).map_err(Fault::into_build_error);
        let pure = pure(plan, setup, lanes);
        let mut states = Vec::with_capacity(plan.steps.len());
        for ((step, needed), own) in plan.steps.iter().zip(&needed).zip(&pure) {
            if !needed {
                states.push(Mutex::new(None));
                continue;
            }
            let playback = match &step.feed {
                Feed::File { path, starts_at } => {
                    let playback = opened(sources, path, *starts_at - setup.from as i64 + step.arrives as i64)?;
                    Some(hands(playback))
                }
                Feed::Sum(_) => None,
            };
            let lanes = if own.is_some() { 1 } else { lanes };
            let first_frame = setup.from;
            let context =
                Context { rate_hz: plan.rate_hz, lanes, tempo_bpm: plan.tempo_bpm, first_frame, audio: &audio };
            let span = Span { block_frames: setup.block_frames, from: setup.from, print_frames: plan.print_frames() };
            let state = StepState::build(step, &context, playback, &pure, &span);
            states.push(Mutex::new(Some(
                state.map_err(|error| Fault::input("cannot-build", &step.name, error.message, error.remedy))?,
            )));
        }
        let slot = |needed: bool| vec![SILENCE; if needed { lanes * setup.block_frames } else { 0 }];
        let slots = needed.iter().flat_map(|needed| (0..setup.depth).map(|_| RwLock::new(slot(*needed))));
        let latest = outputs.iter().map(|output| plan.steps[*output].leaves).max().unwrap_or(0);
        Ok(Self {
            outputs: outputs.to_vec(),
            block_frames: setup.block_frames,
            depth: setup.depth,
            lanes,
            pure,
            end_frame: plan.print_frames() + latest as u64,
            from: setup.from,
            states,
            slots: slots.collect(),
            plan: plan.clone(),
            needed,
        })
    }

    /// Opens a plan for a number of threads. With several, every processor is a step of its own, so that those of one chain
    /// work side by side; the samples are the same.
    ///
    /// # Errors
    /// As for [`Self::open`].
    pub fn open_for(plan: &Plan, sources: &dyn Sources, outputs: &[usize], threads: usize) -> Result<Self, Fault> {
        let setup = Setup::for_threads(threads);
        if threads < 2 {
            return Self::open(plan, sources, outputs, &setup);
        }
        let apart = plan.apart();
        let outputs: Vec<usize> = outputs.iter().map(|output| apart.ends[*output]).collect();
        Self::open(&apart.plan, sources, &outputs, &setup)
    }

    /// Renders from the first frame of the song to the end of its tail on `threads` threads. One sink per output takes
    /// what comes; `progress` is told the part that is done, from 0 to 1. The samples do not depend on `threads`.
    ///
    /// # Errors
    /// The first fault of a source or sink.
    pub fn run(
        self,
        threads: usize,
        sinks: Vec<Box<dyn Sink + '_>>,
        progress: &(dyn Fn(f64) + Sync),
    ) -> Result<RunFacts, Fault> {
        crate::workers::run(&self, threads, sinks, progress)?;
        let stems = self.plan.steps.iter().zip(self.states).filter_map(|(step, state)| {
            let not_numbers = state.into_inner().ok().flatten()?.not_numbers;
            (not_numbers.frames > 0).then(|| (step.name.clone(), not_numbers))
        });
        Ok(RunFacts { not_numbers: stems.collect() })
    }

    /// Blocks in the whole render.
    pub(crate) fn blocks(&self) -> u64 {
        self.end_frame.saturating_sub(self.from).div_ceil(self.block_frames as u64)
    }

    /// First frame of a block, counted from the start of the song.
    pub(crate) fn starts(&self, block: u64) -> u64 {
        self.from + block * self.block_frames as u64
    }

    pub(crate) fn frames_in(&self, block: u64) -> usize {
        let left = self.end_frame - self.starts(block);
        left.min(self.block_frames as u64) as usize
    }

    fn slot(&self, step: usize, block: u64) -> &RwLock<Vec<Frame>> {
        &self.slots[step * self.depth + (block % self.depth as u64) as usize]
    }

    /// Computes one block of one step. All that feeds it must have been computed for this block, and all that it feeds
    /// must be done with the block `depth` before.
    pub(crate) fn run_step(&self, index: usize, block: u64) -> Result<(), Fault> {
        let step = &self.plan.steps[index];
        let mut state = free(self.states[index].try_lock());
        let Some(state) = state.as_mut() else { return Ok(()) };
        let output_of = |from| free(self.slot(from, block).try_read());
        let mut out = free(self.slot(index, block).try_write());
        let (stride, frames, at) = (self.block_frames, self.frames_in(block), self.starts(block));
        let Some(own) = self.pure[index] else {
            return state.run(step, at, output_of, stride, &mut Block::new(&mut out, stride, frames));
        };
        // The key alone is computed; its lane is the same, and all others rest silent.
        state.run(step, at, output_of, stride, &mut Block::new(&mut out[..stride], stride, frames))?;
        if self.lanes > 1 {
            out.copy_within(..frames, own * stride);
        }
        Ok(())
    }

    /// Hands one block of one output to its sink.
    pub(crate) fn deliver(&self, output: usize, block: u64, sink: &mut dyn Sink) -> Result<(), Fault> {
        let step = self.outputs[output];
        let leaves = self.plan.steps[step].leaves as u64;
        let start = self.starts(block);
        let computed = start + self.frames_in(block) as u64;
        let (first, end) = match sink.takes_all() {
            true => (start, computed),
            false => (start.max(leaves), computed.min(leaves + self.plan.print_frames())),
        };
        if first >= end {
            return Ok(());
        }
        let data = free(self.slot(step, block).try_read());
        let (from, frames) = ((first - start) as usize, (end - first) as usize);
        sink.take(&Taken { data: &data, stride: self.block_frames, from, frames })
    }

    /// Frames of a step's key in a block that was computed.
    pub(crate) fn output(&self, step: usize, block: u64) -> RwLockReadGuard<'_, Vec<Frame>> {
        free(self.slot(step, block).try_read())
    }

    /// A step's moving part, if any output needs it.
    pub(crate) fn state_mut(&mut self, step: usize) -> Option<&mut StepState> {
        self.states[step].get_mut().unwrap_or_else(PoisonError::into_inner).as_mut()
    }

    /// Lanes that every output has.
    #[must_use]
    pub fn lanes(&self) -> usize {
        self.lanes
    }
}

/// What a render found out about its sources.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RunFacts {
    /// Stems with frames that were no numbers.
    pub not_numbers: Vec<(String, NotNumbers)>,
}

/// For each step, the one lane beside the key that all of its sound is in: the follower of its group or the residue.
/// None for a sum of several. Without followers all is in the key.
///
/// Such a step costs no more than without followers, and what its processors cannot split, a tape's noise for one, is
/// the group's own and no residue.
fn pure(plan: &Plan, setup: &Setup, lanes: usize) -> Vec<Option<usize>> {
    let mut pure: Vec<Option<usize>> = Vec::with_capacity(plan.steps.len());
    for step in &plan.steps {
        let own = match &step.feed {
            _ if lanes == 1 => Some(0),
            Feed::File { .. } => {
                let group = setup.followers.iter().position(|group| group.contains(&step.name));
                Some(group.map_or(lanes - 1, |group| group + 1))
            }
            Feed::Sum(inputs) => {
                let first = inputs.first().and_then(|input| pure[input.from]);
                first.filter(|_| inputs.iter().all(|input| pure[input.from] == first))
            }
        };
        pure.push(own);
    }
    pure
}

/// A recording that starts so many frames after the first that is computed; below 0, read up to that one.
fn opened(sources: &dyn Sources, path: &str, starts_at: i64) -> Result<Box<dyn Playback>, Fault> {
    let mut playback = sources.open(path)?;
    if starts_at < 0 {
        playback.skip(starts_at.unsigned_abs())?;
    }
    Ok(playback)
}

/// The guard of a lock that nobody else can hold now.
fn free<T>(guard: Result<T, TryLockError<T>>) -> T {
    match guard {
        Ok(guard) => guard,
        Err(TryLockError::Poisoned(poisoned)) => poisoned.into_inner(),
        Err(TryLockError::WouldBlock) => unreachable!("the order of steps keeps their blocks apart"),
    }
}
