//! Taps on a plan: where to listen, without changing what is heard.

use std::collections::{BTreeMap, HashSet};

use engine::{Apart, Feed, Input, Plan, Role, Step};
use sheet::{Node, Sheet};

use super::hear::{Hearing, Wants};
use super::sections;
use crate::returns::returns_of;

/// A sheet, its plan, the plan taken apart, and what is wanted of its steps.
pub(super) struct Taps<'a> {
    pub sheet: &'a Sheet,
    pub whole: &'a Plan,
    pub apart: Apart,
    pub returns: HashSet<&'a str>,
    wants: BTreeMap<usize, Wants>,
}

impl<'a> Taps<'a> {
    pub(super) fn new(sheet: &'a Sheet, whole: &'a Plan) -> Self {
        Self { sheet, whole, apart: whole.apart(), returns: returns_of(sheet), wants: BTreeMap::new() }
    }

    /// The plan to render, and what to hear of it.
    pub(super) fn finish(self) -> Hearing {
        let cuts = sections::starts(&sections::spans(self.sheet, self.whole), self.whole.rate_hz);
        Hearing { plan: self.apart.plan, wants: self.wants, cuts }
    }

    /// Asks for something at a step; gives the step back.
    pub(super) fn want(&mut self, step: usize, wants: Wants) -> usize {
        let all = self.wants.entry(step).or_default();
        all.part |= wants.part;
        all.low |= wants.low;
        all.spool |= wants.spool;
        all.levels |= wants.levels;
        all.spectrum |= wants.spectrum;
        step
    }

    /// The step of the whole plan that is a stem or bus of the sheet.
    pub(super) fn step_of(&self, name: &str) -> Option<usize> {
        let is_node = |step: &Step| step.role != Role::Print && step.name == name;
        self.whole.steps.iter().position(is_node)
    }

    /// The returns that are not muted, in the order of the sheet.
    pub(super) fn returning(&self) -> Vec<&'a Node> {
        self.sheet.buses().filter(|bus| !bus.mute && self.returns.contains(bus.name.as_str())).collect()
    }

    /// The paths into a sum of the whole plan, as they are apart.
    pub(super) fn inputs(&self, sum: usize) -> &[Input] {
        match &self.apart.plan.steps[self.apart.heads[sum]].feed {
            Feed::Sum(inputs) => inputs,
            Feed::File { .. } => &[],
        }
    }

    /// Listens to some paths into a sum of the whole plan.
    pub(super) fn listen(&mut self, sum: usize, inputs: Vec<Input>) -> usize {
        let arrives = self.whole.steps[sum].arrives;
        self.apart.plan.listen("part of a sum", inputs, arrives)
    }

    /// What a node on a return brings, alone, to the first bus behind it that is no return: the step that hears it, and
    /// that bus. Buses on the way run again with it as their only input.
    pub(super) fn alone(&mut self, node: &'a Node) -> Option<(usize, usize)> {
        let whole = self.step_of(&node.name)?;
        let (mut from, mut alone, mut to) = (self.apart.ends[whole], self.apart.ends[whole], node.to.as_ref()?);
        loop {
            let sum = self.step_of(to)?;
            let only = |input: &Input| Input { from: alone, ..input.clone() };
            let inputs: Vec<Input> = self.inputs(sum).iter().filter(|input| input.from == from).map(only).collect();
            if inputs.is_empty() {
                return None;
            }
            if !self.returns.contains(to.as_str()) {
                return Some((self.listen(sum, inputs), sum));
            }
            let mut again = self.whole.steps[sum].clone();
            for key in again.links.iter_mut().filter_map(|link| link.key.as_mut()) {
                key.from = self.apart.ends[key.from];
            }
            self.apart.plan.steps.push(Step { feed: Feed::Sum(inputs), role: Role::Probe, ..again });
            (from, alone) = (self.apart.ends[sum], self.apart.plan.steps.len() - 1);
            to = self.sheet.node(to)?.1.to.as_ref()?;
        }
    }
}

/// For every step, which of some stems reach it through paths that are not muted.
pub(super) fn reached_by(plan: &Plan, stems: &[usize]) -> Vec<Vec<bool>> {
    let mut reached: Vec<Vec<bool>> = Vec::with_capacity(plan.steps.len());
    for (index, step) in plan.steps.iter().enumerate() {
        let mut own: Vec<bool> = stems.iter().map(|stem| *stem == index).collect();
        if let Feed::Sum(inputs) = &step.feed {
            for input in inputs.iter().filter(|input| !input.law.muted) {
                own.iter_mut().zip(&reached[input.from]).for_each(|(own, from)| *own |= from);
            }
        }
        reached.push(own);
    }
    reached
}
