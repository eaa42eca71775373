//! Takes the notes of one file into a collection.

use std::collections::BTreeMap;

use super::{FORMAT, Note, Notes};

/// What a file brought.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Added {
    /// Notes, approvals and ballots that were not there.
    pub new: usize,
    /// Notes that their writer has changed since.
    pub changed: usize,
    /// Entries that were there already.
    pub known: usize,
}

/// Adds what is new in `from`. A note that is there already takes its writer's later words and keeps our answer;
/// nothing is ever taken away. The order is that of time, so that the order of adding does not matter.
pub fn add(into: &mut Notes, from: Notes) -> Added {
    let mut added = Added::default();
    into.fairprint_notes = FORMAT;
    if into.title.is_empty() {
        into.title = from.title;
    }
    for note in from.notes {
        match into.notes.iter_mut().find(|known| known.id == note.id) {
            None => {
                added.new += 1;
                into.notes.push(as_sent(note));
            }
            Some(known) if note.written > known.written => {
                added.changed += 1;
                let ours = known.clone();
                *known = Note { state: ours.state, answer: ours.answer, answered: ours.answered, ..note };
            }
            Some(_) => added.known += 1,
        }
    }
    take(&mut into.approvals, from.approvals, &mut added, |approval| &approval.id);
    take(&mut into.ballots, from.ballots, &mut added, |ballot| &ballot.id);
    into.notes.sort_by(|a, b| {
        (&a.revision, a.at_secs)
            .partial_cmp(&(&b.revision, b.at_secs))
            .unwrap_or(std::cmp::Ordering::Equal)
            .then(a.id.cmp(&b.id))
    });
    into.approvals.sort_by(|a, b| (&a.written, &a.id).cmp(&(&b.written, &b.id)));
    into.ballots.sort_by(|a, b| (&a.written, &a.id).cmp(&(&b.written, &b.id)));
    added
}

/// A note as its writer can have made it: what became of it is ours to say.
fn as_sent(note: Note) -> Note {
    Note { state: super::State::Open, answer: None, answered: None, ..note }
}

fn take<T>(into: &mut Vec<T>, from: Vec<T>, added: &mut Added, id: impl Fn(&T) -> &String) {
    let mut known: BTreeMap<String, ()> = into.iter().map(|entry| (id(entry).clone(), ())).collect();
    for entry in from {
        if known.insert(id(&entry).clone(), ()).is_some() {
            added.known += 1;
        } else {
            added.new += 1;
            into.push(entry);
        }
    }
}
