//! Work of earlier runs, used again: `fairprint print --reuse`.
//!
//! Kept are the sounds from which a print can be made anew after a change: what feeds a return, what meets one where it
//! comes back, and each print ahead of the gain that is found. A step whose key ([`keys`]) has a kept sound plays it, and
//! what lies ahead of it is not computed. Kept too are the gain and ceiling that were found for a sound, and what a run
//! says of stems that it does not play. `docs/reuse.md` says what that saves, and why no more.

mod keys;
mod store;
#[cfg(test)]
mod tests;

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::path::Path;

use engine::{Fault, Feed, Plan, Playback, Role};
use serde::Serialize;
use serde::de::DeserializeOwned;
use sheet::Sheet;

use crate::files::sha256_of;
use crate::record::SourceRecord;
use crate::returns::returns_of;
use crate::revision::machine;
use keys::Key;
pub(crate) use store::Keeping;
use store::Store;

/// The folder of kept work among the revisions.
const FOLDER: &str = ".reuse";

/// The work that a run may use again, and what it keeps for later ones.
pub(crate) struct Kept {
    store: Store,
    /// The key of each step of the plan.
    keys: Vec<Option<Key>>,
    /// Steps whose sound is kept, in order.
    cuts: Vec<usize>,
}

/// A render that leaves out what is there already.
pub(crate) struct Course<'a> {
    /// The plan, in which steps play what was kept of them.
    pub plan: Cow<'a, Plan>,
    /// What they play, by the names in the plan.
    pub played: BTreeMap<String, Box<dyn Playback>>,
    /// Sounds that are kept on the way, by their steps.
    pub keeping: Vec<(usize, Keeping)>,
}

impl<'a> Course<'a> {
    /// The whole render.
    pub fn whole(plan: &'a Plan) -> Self {
        Self { plan: Cow::Borrowed(plan), played: BTreeMap::new(), keeping: Vec::new() }
    }
}

impl Kept {
    /// Opens what was kept among the revisions `out`, at most so many bytes. `heads` are the steps that a run renders,
    /// `recordings` the checksums of the files that it reads.
    ///
    /// # Errors
    /// The folder cannot be made, or the program cannot be read.
    pub fn open(
        out: &Path,
        most_bytes: u64,
        (sheet, plan): (&Sheet, &Plan),
        heads: &[usize],
        recordings: &[SourceRecord],
    ) -> Result<Self, Fault> {
        let folder = out.join(FOLDER);
        let store = Store::open(&folder, most_bytes).map_err(|error| machine(&folder, &error))?;
        // Another build of the program may sound different under the same number.
        let program = std::env::current_exe().and_then(|program| sha256_of(&program));
        let program = program.map_err(|error| machine(Path::new("fairprint"), &error))?;
        let contents = recordings.iter().map(|file| (file.path.clone(), file.sha256.clone())).collect();
        Ok(Self { store, keys: keys::of_steps(plan, &contents, &program), cuts: cuts(sheet, plan, heads) })
    }

    /// How `outputs` are rendered: from what was kept, and with what is to be kept. Steps in `asked` are computed whatever
    /// was kept of them.
    pub fn course<'a>(&self, plan: &'a Plan, outputs: &[usize], asked: &[usize]) -> Course<'a> {
        let latest = outputs.iter().map(|output| plan.steps[*output].leaves).max().unwrap_or(0);
        let frames = plan.print_frames() + latest as u64;
        let outputs: Vec<usize> = outputs.iter().chain(asked).copied().collect();
        let mut course = Course { plan: Cow::Borrowed(plan), played: BTreeMap::new(), keeping: Vec::new() };
        let mut missing = Vec::new();
        // From the last to the first, because what lies ahead of a kept sound is not needed.
        for cut in self.cuts.iter().rev().filter(|cut| !asked.contains(cut)) {
            let Some(key) = self.keys[*cut].as_ref().filter(|_| course.plan.needed_for(&outputs)[*cut]) else {
                continue;
            };
            match self.store.sound(key, frames) {
                Some(sound) => {
                    let name = format!("kept {key}");
                    let step = plan.steps[*cut].played(&name);
                    course.plan.to_mut().steps[*cut] = step;
                    course.played.insert(name, Box::new(sound));
                }
                None => missing.push((*cut, key)),
            }
        }
        missing.truncate(self.store.room_for(frames * FRAME_BYTES));
        // Without room nothing is lost but time.
        let _ = self.store.make_room(missing.len() as u64 * frames * FRAME_BYTES);
        course.keeping = missing.into_iter().map(|(cut, key)| (cut, self.store.keep_sound(key))).collect();
        course
    }

    /// What was noted about a step by an earlier run, under a word.
    pub fn note<T: DeserializeOwned>(&self, step: usize, word: &str) -> Option<T> {
        self.store.note(&self.note_key(step, word)?)
    }

    /// Notes something about a step, under a word, for later runs.
    pub fn keep_note(&self, step: usize, word: &str, note: &impl Serialize) {
        if let Some(key) = self.note_key(step, word) {
            self.store.keep_note(&key, note);
        }
    }

    fn note_key(&self, step: usize, word: &str) -> Option<Key> {
        Some(Key::of(&format!("{word} {}", self.keys[step].as_ref()?)))
    }

    /// Hands over to later runs what this one has kept.
    pub fn publish(self) {
        // Without it nothing is lost but time.
        let _ = self.store.publish();
    }
}

/// Bytes of a frame of a kept sound.
const FRAME_BYTES: u64 = 16;

/// Steps whose sound is kept: heads and what feeds them, what feeds a return, and what meets one where it comes back; of
/// these, all that are more than a sum of others.
fn cuts(sheet: &Sheet, plan: &Plan, heads: &[usize]) -> Vec<usize> {
    let returns = returns_of(sheet);
    let inputs = |step: usize| match &plan.steps[step].feed {
        Feed::File { .. } => Vec::new(),
        Feed::Sum(inputs) => inputs.iter().map(|input| input.from).collect(),
    };
    let is_return = |step: &usize| {
        let step = &plan.steps[*step];
        step.role == Role::Bus && returns.contains(step.name.as_str())
    };
    let (mut cut, mut derived) = (vec![false; plan.steps.len()], vec![false; plan.steps.len()]);
    heads.iter().for_each(|head| cut[*head] = true);
    for step in (0..plan.steps.len()).filter(|step| plan.steps[*step].role != Role::Probe) {
        let feeding = inputs(step);
        if heads.contains(&step) || is_return(&step) || feeding.iter().any(is_return) {
            feeding.into_iter().for_each(|from| cut[from] = true);
        }
    }
    for step in 0..plan.steps.len() {
        let feeding = inputs(step);
        let sums = plan.steps[step].links.is_empty() && !feeding.is_empty();
        derived[step] = sums && feeding.into_iter().all(|from| cut[from] || derived[from]);
    }
    (0..plan.steps.len()).filter(|step| cut[*step] && !derived[*step]).collect()
}
