//! The plan: what the sheet asks for as plain data, in the order in which it is computed. No audio is touched here.

use units::{At, Settings};

use crate::curve::{Curve, GainLaw};

mod words;

/// A compiled network.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Sample rate of everything.
    pub rate_hz: f64,
    /// Tempo, for note values.
    pub tempo_bpm: f64,
    /// Steps, each after all that feed it.
    pub steps: Vec<Step>,
    /// Where each print comes out, in the order of the sheet.
    pub prints: Vec<Port>,
    /// Frames from the start of the song to the end of the last stem.
    pub song_frames: u64,
    /// Frames for which the longest path goes on sounding after that.
    pub tail_frames: u64,
}

/// One node of the network at work: feed, trim, delay, then the links of its chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// The node's or print's name.
    pub name: String,
    /// What kind of thing it is.
    pub role: Role,
    /// What comes in.
    pub feed: Feed,
    /// Whether its feed is silence ahead of the song and after the tail, as a file in between would have it.
    pub cut: bool,
    /// Gain and polarity ahead of the chain.
    pub trim: GainLaw,
    /// A delay on purpose, never compensated.
    pub delay_frames: usize,
    /// The chain.
    pub links: Vec<PlanLink>,
    /// How many frames its feed lags song time.
    pub arrives: usize,
    /// How many frames its output lags song time.
    pub leaves: usize,
    /// Frames for which its output goes on after the song has ended.
    pub tail_frames: u64,
}

/// What a step stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// A recording.
    Stem,
    /// A sum.
    Bus,
    /// A print, or the part of one ahead of the gain that its loudness decides.
    Print,
    /// What one path brings to a sum, for measuring.
    Probe,
}

/// What comes into a step.
#[derive(Clone, Debug, PartialEq)]
pub enum Feed {
    /// A file, starting at a frame of song time.
    File {
        /// Path from the sheet's folder.
        path: String,
        /// First frame; below 0, so many frames at its start are skipped.
        starts_at: i64,
    },
    /// A sum of other steps' outputs.
    Sum(Vec<Input>),
}

/// One path into a sum.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// The step it comes from.
    pub from: usize,
    /// What happens to it on the way.
    pub law: GainLaw,
    /// The delay that brings it into line with the latest path of this sum.
    pub align_frames: usize,
}

/// One processor at work.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanLink {
    /// Parameters at the start of the song.
    pub settings: Settings,
    /// Whether it is bypassed; its latency is kept.
    pub off: bool,
    /// What it listens to instead of its own input.
    pub key: Option<Input>,
    /// A delay ahead of it, where its key arrives later than its input.
    pub wait_frames: usize,
    /// Its latency.
    pub latency_frames: usize,
    /// How many frames its input, after the wait, lags song time.
    pub arrives: usize,
    /// Numbers that move.
    pub rides: Vec<(At, Curve)>,
}

/// Where a print comes out.
#[derive(Clone, Debug, PartialEq)]
pub struct Port {
    /// The print's name.
    pub name: String,
    /// The step that holds the finished print.
    pub step: usize,
    /// For a print whose loudness is to be reached: the step that ends just ahead of the gain to be found. That gain
    /// is the first link of `step`.
    pub solve_after: Option<usize>,
}

impl Plan {
    /// Frames of every print: song and tail.
    #[must_use]
    pub fn print_frames(&self) -> u64 {
        self.song_frames + self.tail_frames
    }

    /// The steps that `outputs` need, as flags.
    #[must_use]
    pub fn needed_for(&self, outputs: &[usize]) -> Vec<bool> {
        let mut needed = vec![false; self.steps.len()];
        outputs.iter().for_each(|output| needed[*output] = true);
        for index in (0..self.steps.len()).rev() {
            if needed[index] {
                self.steps[index].sources().for_each(|from| needed[from] = true);
            }
        }
        needed
    }

    /// Adds a step that gives the sum of some of the paths into a sum, for measuring, and returns its index. It changes
    /// nothing else.
    pub fn probe(&mut self, sum: usize, paths: &dyn Fn(usize) -> bool) -> usize {
        let inputs: Vec<Input> = match &self.steps[sum].feed {
            Feed::File { .. } => Vec::new(),
            Feed::Sum(inputs) => inputs.iter().enumerate().filter(|(i, _)| paths(*i)).map(|(_, p)| p.clone()).collect(),
        };
        let arrives = self.steps[sum].arrives;
        self.steps.push(Step {
            name: format!("part of {}", self.steps[sum].name),
            role: Role::Probe,
            tail_frames: inputs.iter().map(|input| self.steps[input.from].tail_frames).max().unwrap_or(0),
            feed: Feed::Sum(inputs),
            cut: false,
            trim: GainLaw::unity(),
            delay_frames: 0,
            links: Vec::new(),
            arrives,
            leaves: arrives,
        });
        self.steps.len() - 1
    }

    /// The end of a print alone, from the gain that its loudness decides: a plan of two steps, fed by a file that holds
    /// the output of [`Port::solve_after`] with its latency removed. The gain is set to `gain_db`, and the limiter
    /// behind it, if there is one and a ceiling is given, to `ceiling_dbtp`.
    #[must_use]
    pub fn ending(&self, port: &Port, file: &str, gain_db: f64, ceiling_dbtp: Option<f64>) -> Self {
        let mut ending = self.steps[port.step].clone();
        for link in &mut ending.links {
            link.arrives -= ending.arrives;
        }
        ending.settle(gain_db, ceiling_dbtp);
        ending.feed = Feed::Sum(vec![Input { from: 0, law: GainLaw::unity(), align_frames: 0 }]);
        ending.leaves -= ending.arrives;
        ending.arrives = 0;
        self.of_file(file, self.print_frames(), vec![ending])
    }

    fn of_file(&self, file: &str, frames: u64, then: Vec<Step>) -> Self {
        let steps: Vec<Step> = [Step::of_file(file)].into_iter().chain(then).collect();
        let ports = vec![Port { name: file.to_owned(), step: steps.len() - 1, solve_after: None }];
        Self { steps, prints: ports, song_frames: frames, tail_frames: 0, ..*self }
    }

    /// The ceiling of the limiter that ends a print, if one does.
    #[must_use]
    pub fn ceiling_dbtp(&self, port: &Port) -> Option<f64> {
        let limiter =
            self.steps[port.step].links.iter().rfind(|link| link.settings.spec().name == LIMITER && !link.off)?;
        let (index, _) = limiter.settings.spec().param("ceiling_dbtp")?;
        match limiter.settings.values()[index] {
            units::Value::Number(ceiling) => Some(ceiling),
            _ => None,
        }
    }
}

/// The processor ahead of which a print's loudness is set.
pub(crate) const LIMITER: &str = "limiter";

fn set_number(settings: &mut Settings, name: &str, value: f64) {
    if let Some((param, _)) = settings.spec().param(name) {
        settings.set(At { row: None, param }, units::Value::Number(value));
    }
}

impl Step {
    /// The step as one that plays what it has given before: a file of all that was computed of it, from the first frame
    /// of a render that starts at the song's ([`crate::Sink::takes_all`]).
    #[must_use]
    pub fn played(&self, file: &str) -> Self {
        let (name, role, leaves, tail_frames) = (self.name.clone(), self.role, self.leaves, self.tail_frames);
        Self { name, role, leaves, tail_frames, ..Self::of_file(file) }
    }

    pub(crate) fn of_file(file: &str) -> Self {
        Self {
            name: file.to_owned(),
            role: Role::Stem,
            feed: Feed::File { path: file.to_owned(), starts_at: 0 },
            cut: false,
            trim: GainLaw::unity(),
            delay_frames: 0,
            links: Vec::new(),
            arrives: 0,
            leaves: 0,
            tail_frames: 0,
        }
    }

    /// Sets the gain at the head of a print's last part, and the ceiling of the limiter in it, if there is one and a
    /// ceiling is given.
    pub(crate) fn settle(&mut self, gain_db: f64, ceiling_dbtp: Option<f64>) {
        if let Some(gain) = self.links.first_mut() {
            set_number(&mut gain.settings, "gain_db", gain_db);
        }
        let limiter = self.links.iter_mut().find(|link| link.settings.spec().name == LIMITER);
        if let (Some(limiter), Some(ceiling_dbtp)) = (limiter, ceiling_dbtp) {
            set_number(&mut limiter.settings, "ceiling_dbtp", ceiling_dbtp);
        }
    }

    /// The steps that feed it, keys included.
    pub fn sources(&self) -> impl Iterator<Item = usize> + '_ {
        let inputs = match &self.feed {
            Feed::File { .. } => &[][..],
            Feed::Sum(inputs) => inputs,
        };
        inputs.iter().map(|input| input.from).chain(self.links.iter().filter_map(|l| l.key.as_ref().map(|k| k.from)))
    }
}
