//! Variants of a print in one plan: what does not change is computed once for all of them.

use crate::curve::Level;
use crate::plan::{Feed, Input, Plan, Port, Role, Step};

/// What is different in a variant of a print.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Changes {
    /// Stems and buses, by name, of which nothing is heard: neither at their bus, nor at their sends, nor as keys.
    pub muted: Vec<String>,
    /// Families of stems and buses, by name, and the decibels by which all that leaves them moves: to their bus, at
    /// their sends, and as keys.
    pub moved: Vec<(Vec<String>, f64)>,
    /// Processors of the print's own chain, by their place, that are left out. They keep their time.
    pub without: Vec<usize>,
    /// Steps, by index, whose processors are all left out: one processor each, in a plan taken apart.
    pub bypassed: Vec<usize>,
}

impl Plan {
    /// Sets what was found for a print: the gain ahead of its last part, and the ceiling of the limiter in it.
    pub fn settle(&mut self, port: &Port, gain_db: f64, ceiling_dbtp: Option<f64>) {
        if port.solve_after.is_some() {
            self.steps[port.step].settle(gain_db, ceiling_dbtp);
        }
    }

    /// Adds a variant of a print and returns where it comes out. Every step that a change reaches is there once more,
    /// in time with the print to the sample; all others are shared. It changes nothing else.
    pub fn variant(&mut self, port: &Port, name: &str, changes: &Changes) -> Port {
        let needed = self.needed_for(&[port.step]);
        let mut fates: Vec<Fate> = Vec::with_capacity(self.steps.len());
        for (index, needed) in needed.into_iter().enumerate() {
            let fate = if needed { self.fate(index, port, changes, &fates) } else { Fate::Same };
            fates.push(fate);
        }
        let now = |step: usize| if let Fate::Changed(now) = fates[step] { now } else { step };
        let port = Port { name: name.to_owned(), step: now(port.step), solve_after: port.solve_after.map(now) };
        self.prints.push(port.clone());
        port
    }

    /// What becomes of a step, from what became of those before it; adds its variant if it needs one.
    fn fate(&mut self, index: usize, port: &Port, changes: &Changes, fates: &[Fate]) -> Fate {
        let step = &self.steps[index];
        if step.role != Role::Print && changes.muted.contains(&step.name) {
            return Fate::Silent;
        }
        let mut varied = step.clone();
        if let Feed::Sum(inputs) = &mut varied.feed {
            let before = inputs.len();
            inputs.retain(|input| fates[input.from] != Fate::Silent);
            if inputs.is_empty() && before > 0 && step.role != Role::Print {
                return Fate::Silent;
            }
            inputs.iter_mut().for_each(|input| self.redirect(input, step, changes, fates));
        }
        for key in varied.links.iter_mut().filter_map(|link| link.key.as_mut()) {
            key.law.muted |= fates[key.from] == Fate::Silent;
            self.redirect(key, step, changes, fates);
        }
        let ahead = port.solve_after.map_or(0, |head| self.steps[head].links.len());
        for place in &changes.without {
            // The part behind starts with the gain that was found.
            let link = match port.solve_after {
                Some(head) if index == head => Some(*place),
                Some(_) if index == port.step => (place + 1).checked_sub(ahead).filter(|link| *link > 0),
                None if index == port.step => Some(*place),
                _ => None,
            };
            link.and_then(|link| varied.links.get_mut(link)).into_iter().for_each(|link| link.off = true);
        }
        if changes.bypassed.contains(&index) {
            varied.links.iter_mut().for_each(|link| link.off = true);
        }
        if varied == self.steps[index] {
            return Fate::Same;
        }
        self.steps.push(varied);
        Fate::Changed(self.steps.len() - 1)
    }

    /// Leads a path to the variant of the step that it comes from, and moves its level if it leaves a moved family.
    fn redirect(&self, path: &mut Input, into: &Step, changes: &Changes, fates: &[Fate]) {
        let from = &self.steps[path.from];
        let leaves = |family: &Vec<String>| {
            let holds = |step: &Step| step.role != Role::Print && family.contains(&step.name);
            holds(from) && !holds(into)
        };
        let levels = changes.moved.iter().filter(|(family, _)| leaves(family)).map(|(_, db)| Level::at(*db));
        path.law.levels.extend(levels);
        if let Fate::Changed(now) = fates[path.from] {
            path.from = now;
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    Same,
    Silent,
    Changed(usize),
}
