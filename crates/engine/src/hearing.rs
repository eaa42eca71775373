//! What is heard of a plan, without a change of its shape: parts silenced, some alone in their place, files beside it.

use crate::plan::{Feed, Input, Plan, Step};

impl Plan {
    /// The step of a stem or bus, or the last step of a print.
    #[must_use]
    pub fn step_of(&self, name: &str) -> Option<usize> {
        let print = self.prints.iter().find(|port| port.name == name).map(|port| port.step);
        let role = |step: &Step| matches!(step.role, crate::Role::Stem | crate::Role::Bus);
        self.steps.iter().position(|step| step.name == name && role(step)).or(print)
    }

    /// Silences all that leaves a step: where it is summed, and where others listen to it.
    pub fn silence(&mut self, step: usize) {
        self.paths_mut().filter(|(_, path)| path.from == step).for_each(|(_, path)| path.law.muted = true);
    }

    /// Lets some steps be heard alone, in their place: all that feeds them stays, all that they feed stays, returns
    /// too, and whatever else comes into those sums is silent. What others listen to stays as it is, so that dynamics do
    /// what they do in the mix.
    pub fn alone(&mut self, steps: &[usize]) {
        let mut reached = vec![false; self.steps.len()];
        for (index, step) in self.steps.iter().enumerate() {
            let fed = match &step.feed {
                Feed::File { .. } => false,
                Feed::Sum(inputs) => inputs.iter().any(|input| reached[input.from]),
            };
            reached[index] = fed || steps.contains(&index);
        }
        for (index, step) in self.steps.iter_mut().enumerate().filter(|(index, _)| reached[*index]) {
            if let (Feed::Sum(inputs), false) = (&mut step.feed, steps.contains(&index)) {
                inputs.iter_mut().filter(|input| !reached[input.from]).for_each(|input| input.law.muted = true);
            }
        }
    }

    /// Adds a file that plays beside the song, for instance a reference, from a frame of the song on, and returns its
    /// step. It changes nothing else.
    pub fn beside(&mut self, path: &str, starts_at: i64) -> usize {
        let feed = Feed::File { path: path.to_owned(), starts_at };
        self.steps.push(Step { feed, ..Step::of_file(path) });
        self.steps.len() - 1
    }

    /// All paths into sums and to keys, each with the step that it leads into.
    fn paths_mut(&mut self) -> impl Iterator<Item = (usize, &mut Input)> {
        self.steps.iter_mut().enumerate().flat_map(|(index, step)| {
            let inputs = match &mut step.feed {
                Feed::File { .. } => &mut [][..],
                Feed::Sum(inputs) => &mut inputs[..],
            };
            let keys = step.links.iter_mut().filter_map(|link| link.key.as_mut());
            inputs.iter_mut().chain(keys).map(move |path| (index, path))
        })
    }
}
