//! What the sound of a step depends on, as one checksum: a step with the same key gives the same samples.
//!
//! A key covers the program itself, all numbers of the step and of the plan that reach its samples, the content of every
//! file that it reads, and the keys of all steps that feed it. Names and places in the plan do not count.

use std::collections::BTreeMap;
use std::fmt::{self, Write as _};

use engine::{Feed, Plan, Step};
use sha2::{Digest, Sha256};
use units::Value;

/// A key: SHA-256 in hexadecimal.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Key(String);

impl Key {
    /// The key of a text that says all that something depends on.
    pub fn of(text: &str) -> Self {
        Self(Sha256::digest(text).iter().map(|byte| format!("{byte:02x}")).collect())
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The keys of all steps of a plan. `contents` are checksums of files by their paths, `program` is one of the program;
/// a step that reads a file without a checksum has no key, and neither has what it feeds.
pub(super) fn of_steps(plan: &Plan, contents: &BTreeMap<String, String>, program: &str) -> Vec<Option<Key>> {
    let mut keys = Vec::with_capacity(plan.steps.len());
    for step in &plan.steps {
        let key = text_of(step, plan, contents, &keys).map(|text| Key::of(&format!("{program} {text}")));
        keys.push(key);
    }
    keys
}

fn text_of(step: &Step, plan: &Plan, contents: &BTreeMap<String, String>, before: &[Option<Key>]) -> Option<String> {
    let mut own = step.clone();
    own.name.clear();
    let mut text = format!("{:?} {:?}", plan.rate_hz, plan.tempo_bpm);
    if own.cut {
        // Only there does the end of the print reach the samples.
        let _ = write!(text, " until {}", plan.print_frames());
    }
    let mut lead = |from: &mut usize| {
        let _ = write!(text, " from {}", before[*from].as_ref()?);
        *from = 0;
        Some(())
    };
    if let Feed::Sum(inputs) = &mut own.feed {
        inputs.iter_mut().try_for_each(|input| lead(&mut input.from))?;
    }
    own.links.iter_mut().filter_map(|link| link.key.as_mut()).try_for_each(|key| lead(&mut key.from))?;
    if let Feed::File { path, .. } = &mut own.feed {
        path.clone_from(contents.get(path)?);
    }
    for value in own.links.iter().flat_map(|link| link.settings.values()) {
        if let Value::File(Some(file)) = value {
            let _ = write!(text, " hears {}", contents.get(file)?);
        }
    }
    // Numbers are written so that they read back to the bit.
    let _ = write!(text, " {own:?}");
    Some(text)
}
