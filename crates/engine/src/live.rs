//! A stream that is heard while it runs: it starts anywhere, follows what hands move, and keeps all outputs in time.
//!
//! [`Live::follow`] takes a new plan without a break where it has the shape of the old one: gains and numbers glide to
//! their new values. Any other change needs another [`Live`], opened some time ahead of the place where it takes over.

use units::{Frame, SILENCE};

use crate::delay_line::DelayLine;
use crate::fault::Fault;
use crate::plan::{Feed, Plan, PlanLink, Step};
use crate::read_ahead::{ReadAhead, frames_ahead};
use crate::stream::{Setup, Sources, Stream};

/// A plan that plays.
pub struct Live {
    stream: Stream,
    next: u64,
    /// For each output: a delay that brings it in time with the latest, and its frames of the last block.
    outputs: Vec<(DelayLine, Vec<Frame>)>,
    /// How many frames all outputs lag the stream.
    lag: u64,
}

impl Live {
    /// Opens a plan to play from a frame of the song on. What sounded before is not there, tails included: open it a
    /// second early, and what comes later has its history. Its recordings are read ahead by a thread, or without one
    /// when their frames are due.
    ///
    /// # Errors
    /// As [`Stream::open`].
    pub fn open(
        plan: &Plan,
        sources: &dyn Sources,
        outputs: &[usize],
        (from, block_frames): (u64, usize),
        reader: Option<&ReadAhead>,
    ) -> Result<Self, Fault> {
        let setup = Setup { block_frames, depth: 1, from, ..Setup::default() };
        let stream = match reader {
            None => Stream::open(plan, sources, outputs, &setup)?,
            Some(reader) => {
                let frames = frames_ahead(plan);
                let hands = |playback| reader.take(playback, frames);
                Stream::open_read_by(plan, sources, outputs, &setup, &hands)?
            }
        };
        let leaves = |output: &usize| plan.steps[*output].leaves;
        let latest = outputs.iter().map(leaves).max().unwrap_or(0);
        let aligned = |output| (DelayLine::new(latest - leaves(output)), vec![SILENCE; block_frames]);
        let outputs = outputs.iter().map(aligned).collect();
        Ok(Self { stream, next: 0, outputs, lag: latest as u64 })
    }

    /// The frame of the song that the next block starts with at every output; below 0 for the lag of the first ones.
    #[must_use]
    pub fn position(&self) -> i64 {
        self.stream.starts(self.next) as i64 - self.lag as i64
    }

    /// Whether the song and its tail are over.
    #[must_use]
    pub fn ended(&self) -> bool {
        self.next >= self.stream.blocks()
    }

    /// Whether all recordings have the frames of so many blocks in hand, as far as they go: [`Self::advance`] waits for
    /// what is not there yet.
    pub fn is_ready(&mut self, blocks: usize) -> bool {
        let frames = blocks * self.stream.block_frames;
        let steps = 0..self.stream.plan.steps.len();
        steps.into_iter().all(|step| self.stream.state_mut(step).is_none_or(|state| state.is_ready(frames)))
    }

    /// Computes the next block. At the end of the tail it gives silence.
    ///
    /// # Errors
    /// A source cannot be read on.
    pub fn advance(&mut self) -> Result<(), Fault> {
        let steps = self.stream.plan.steps.len();
        for step in (0..steps).filter(|_| !self.ended()) {
            self.stream.run_step(step, self.next)?;
        }
        for ((delay, frames), step) in self.outputs.iter_mut().zip(&self.stream.outputs) {
            frames.fill(SILENCE);
            if self.next < self.stream.blocks() {
                let out = self.stream.output(*step, self.next);
                let length = self.stream.frames_in(self.next);
                frames[..length].copy_from_slice(&out[..length]);
            }
            delay.delay(frames);
        }
        self.next += 1;
        Ok(())
    }

    /// Frames of an output in the last block, in time with all others.
    #[must_use]
    pub fn output(&self, output: usize) -> &[Frame] {
        &self.outputs[output].1
    }

    /// Frames of a step in the last block, as early as it leaves them: for meters.
    pub fn step(&self, step: usize) -> impl std::ops::Deref<Target = Vec<Frame>> + '_ {
        self.stream.output(step, self.next.saturating_sub(1))
    }

    /// The strongest gain reduction of the last block in each processor of a step, in dB, where there is one.
    pub fn gain_reductions_db(&mut self, step: usize) -> Vec<Option<f64>> {
        self.stream.state_mut(step).map_or_else(Vec::new, |state| state.gain_reductions_db().collect())
    }

    /// The plan that plays.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.stream.plan
    }

    /// Goes on with another plan from the next block on, gliding, if it has the shape of this one. Tells whether it
    /// does; if not, nothing is changed.
    pub fn follow(&mut self, plan: &Plan) -> bool {
        let before = &self.stream.plan;
        let alike = before.rate_hz == plan.rate_hz
            && before.tempo_bpm == plan.tempo_bpm
            && before.song_frames == plan.song_frames
            && before.steps.len() == plan.steps.len()
            && before.steps.iter().zip(&plan.steps).all(|(before, now)| same_shape(before, now));
        if !alike {
            return false;
        }
        let at = self.stream.starts(self.next);
        let now = Plan { tail_frames: before.tail_frames, ..plan.clone() };
        let before = std::mem::replace(&mut self.stream.plan, now);
        for (index, (before, now)) in before.steps.iter().zip(&plan.steps).enumerate() {
            if let (Some(state), true) = (self.stream.state_mut(index), before != now) {
                state.follow(before, now, at, plan.rate_hz);
            }
        }
        true
    }
}

/// Whether a step can become another while it runs: they differ in gains and numbers that do not ride.
fn same_shape(before: &Step, now: &Step) -> bool {
    let same_feed = match (&before.feed, &now.feed) {
        (Feed::Sum(before), Feed::Sum(now)) => {
            let pairs = before.iter().zip(now);
            before.len() == now.len()
                && pairs.into_iter().all(|(a, b)| a.from == b.from && a.align_frames == b.align_frames)
        }
        (before, now) => before == now,
    };
    same_feed
        && before.cut == now.cut
        && before.delay_frames == now.delay_frames
        && (before.arrives, before.leaves) == (now.arrives, now.leaves)
        && before.links.len() == now.links.len()
        && before.links.iter().zip(&now.links).all(|(a, b)| same_link(a, b))
}

fn same_link(before: &PlanLink, now: &PlanLink) -> bool {
    let ridden = |link: &PlanLink| link.rides.iter().map(|(at, _)| link.settings.number_at(*at)).collect::<Vec<_>>();
    let key = |link: &PlanLink| link.key.as_ref().map(|key| (key.from, key.align_frames));
    before.settings.differs_in_numbers_alone(&now.settings)
        && before.off == now.off
        && key(before) == key(now)
        && (before.wait_frames, before.latency_frames) == (now.wait_frames, now.latency_frames)
        && before.rides == now.rides
        && ridden(before) == ridden(now)
}
