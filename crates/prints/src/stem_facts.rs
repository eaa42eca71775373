//! What a print run says of its stems: whether they sound, and whether all that they hold are numbers.

use engine::{NotNumbers, Plan, Role, RunFacts, Sink};
use serde::{Deserialize, Serialize};
use sheet::{NodeKind, Sheet};

use crate::kept::Kept;
use crate::spool::SoundSink;

/// The word under which an earlier run has noted it.
const WORD: &str = "stem";

/// What is known of a stem once it was played to its end.
#[derive(Clone, Copy, Serialize, Deserialize)]
struct Known {
    sounds: bool,
    /// How many frames are no numbers, and the first.
    not_numbers: (u64, i64),
}

/// The stems of a run.
pub(crate) struct Stems {
    stems: Vec<Stem>,
}

struct Stem {
    step: usize,
    name: String,
    expect_silence: bool,
    known: Option<Known>,
    sound: SoundSink,
}

impl Stems {
    /// The stems that some steps need. What an earlier run has noted is known.
    pub fn of(sheet: &Sheet, plan: &Plan, heads: &[usize], kept: Option<&Kept>) -> Self {
        let needed = plan.needed_for(heads);
        let stem = |(step, plain): (usize, &engine::Step)| {
            let (_, node) = sheet.node(&plain.name).filter(|_| needed[step] && plain.role == Role::Stem)?;
            let expect_silence = matches!(node.kind, NodeKind::Stem { expect_silence: true, .. });
            let known = kept.and_then(|kept| kept.note(step, WORD));
            Some(Stem { step, name: plain.name.clone(), expect_silence, known, sound: SoundSink::default() })
        };
        Self { stems: plan.steps.iter().enumerate().filter_map(stem).collect() }
    }

    /// Steps that must be played, because nothing is known of them.
    pub fn asked(&self) -> Vec<usize> {
        self.stems.iter().filter(|stem| stem.known.is_none()).map(|stem| stem.step).collect()
    }

    /// What listens to those.
    pub fn sinks(&mut self) -> impl Iterator<Item = (usize, Box<dyn Sink + '_>)> {
        let asked = self.stems.iter_mut().filter(|stem| stem.known.is_none());
        asked.map(|stem| (stem.step, Box::new(&mut stem.sound) as Box<dyn Sink>))
    }

    /// What is to be said, in the order of the plan: what is no number, and who is silent against expectation. Notes for
    /// later runs what was not known.
    pub fn finish(self, facts: &RunFacts, kept: Option<&Kept>) -> (RunFacts, Vec<String>) {
        let (mut not_numbers, mut silent) = (Vec::new(), Vec::new());
        for Stem { step, name, expect_silence, known, sound } in self.stems {
            let bad = facts.not_numbers.iter().find(|(stem, _)| *stem == name).map(|(_, bad)| *bad).unwrap_or_default();
            let now = known.unwrap_or(Known { sounds: sound.sounds, not_numbers: (bad.frames, bad.first) });
            if let (None, Some(kept)) = (known, kept) {
                kept.keep_note(step, WORD, &now);
            }
            let (frames, first) = now.not_numbers;
            if frames > 0 {
                not_numbers.push((name.clone(), NotNumbers { frames, first }));
            }
            if !now.sounds && !expect_silence {
                silent.push(name);
            }
        }
        (RunFacts { not_numbers }, silent)
    }
}
