//! A plan taken apart, every processor a step of its own, so that each can be heard ahead of and behind; and cut to a
//! passage.

use crate::curve::GainLaw;
use crate::plan::{Feed, Input, Plan, Role, Step};

/// A plan that gives the same samples, with every processor in its own step.
#[derive(Clone, Debug, PartialEq)]
pub struct Apart {
    /// The plan.
    pub plan: Plan,
    /// Where the feed of each step of the whole plan is now.
    pub heads: Vec<usize>,
    /// Where its output is now.
    pub ends: Vec<usize>,
    /// Every processor, in order.
    pub links: Vec<LinkPlace>,
}

/// Where a processor is to be heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LinkPlace {
    /// The step of the whole plan that it belongs to.
    pub step: usize,
    /// Its place in that step's chain.
    pub link: usize,
    /// The step, apart, whose output goes in.
    pub before: usize,
    /// The step, apart, whose output comes out.
    pub after: usize,
}

impl Plan {
    /// Takes the plan apart. The samples of every end are those of the whole plan.
    #[must_use]
    pub fn apart(&self) -> Apart {
        let mut apart = Apart {
            plan: Self { steps: Vec::new(), ..self.clone() },
            heads: Vec::new(),
            ends: Vec::new(),
            links: Vec::new(),
        };
        for (index, step) in self.steps.iter().enumerate() {
            apart.take(index, step);
        }
        for port in &mut apart.plan.prints {
            port.step = apart.ends[port.step];
            port.solve_after = port.solve_after.map(|step| apart.ends[step]);
        }
        apart
    }

    /// The plan of a passage: song time starts at frame `from`, and the song is `frames` long. What sounded before is not
    /// heard, tails included.
    #[must_use]
    pub fn passage(&self, from: i64, frames: u64) -> Self {
        let mut plan = Self { song_frames: frames, tail_frames: 0, ..self.clone() };
        for step in &mut plan.steps {
            match &mut step.feed {
                Feed::File { starts_at, .. } => *starts_at -= from,
                Feed::Sum(inputs) => inputs.iter_mut().for_each(|input| input.law.earlier_by(from)),
            }
            step.trim.earlier_by(from);
            for link in &mut step.links {
                link.rides.iter_mut().for_each(|(_, ride)| ride.earlier_by(from));
                link.key.iter_mut().for_each(|key| key.law.earlier_by(from));
            }
        }
        plan
    }

    /// Adds a step that sums some paths, aligned already, and returns its index. It changes nothing else.
    pub fn listen(&mut self, name: &str, inputs: Vec<Input>, arrives: usize) -> usize {
        let tail_frames = inputs.iter().map(|input| self.steps[input.from].tail_frames).max().unwrap_or(0);
        let step = Step { role: Role::Probe, feed: Feed::Sum(inputs), arrives, leaves: arrives, ..Step::of_file(name) };
        self.steps.push(Step { tail_frames, ..step });
        self.steps.len() - 1
    }
}

impl Apart {
    fn take(&mut self, index: usize, step: &Step) {
        let ends = &self.ends;
        let moved = |input: &Input| Input { from: ends[input.from], ..input.clone() };
        let feed = match &step.feed {
            Feed::Sum(inputs) => Feed::Sum(inputs.iter().map(moved).collect()),
            file @ Feed::File { .. } => file.clone(),
        };
        let links: Vec<_> = step
            .links
            .iter()
            .cloned()
            .map(|mut link| {
                link.key = link.key.as_ref().map(moved);
                link
            })
            .collect();
        let steps = &mut self.plan.steps;
        self.heads.push(steps.len());
        // A sound that is played again is late by what its processors once took.
        let leaves = if links.is_empty() { step.leaves } else { step.arrives };
        steps.push(Step { feed, links: Vec::new(), leaves, ..step.clone() });
        for (place, link) in links.into_iter().enumerate() {
            let before = steps.len() - 1;
            let input = Input { from: before, law: GainLaw::unity(), align_frames: 0 };
            steps.push(Step {
                feed: Feed::Sum(vec![input]),
                cut: false,
                trim: GainLaw::unity(),
                delay_frames: 0,
                arrives: steps[before].leaves,
                leaves: link.arrives + link.latency_frames,
                links: vec![link],
                ..step.clone()
            });
            self.links.push(LinkPlace { step: index, link: place, before, after: before + 1 });
        }
        self.ends.push(steps.len() - 1);
    }
}
