//! Findings about the routing of a sheet without loops.

use std::collections::HashMap;

use units::{Place, Problem, Severity};

use super::graph::Graph;
use super::node_title;
use crate::model::{Link, Print, Sheet};

pub(super) fn all(sheet: &Sheet, graph: &Graph) -> Vec<Problem> {
    let sounding = sounding(sheet, graph);
    let mut found = Found { sheet, problems: Vec::new() };
    found.overview();
    found.dead_ends(graph);
    found.silenced(graph);
    found.empty_buses(graph);
    found.summed_twice(graph);
    found.same_files();
    found.bypassed();
    found.silent_keys(graph, &sounding);
    found.prints(graph, &sounding);
    found.problems
}

/// Whether sound comes out of each node: some unmuted stem reaches it through unmuted nodes.
fn sounding(sheet: &Sheet, graph: &Graph) -> Vec<bool> {
    let nodes = sheet.nodes.iter().enumerate();
    let stems = nodes.filter(|(_, node)| node.is_stem() && !node.mute).map(|(index, _)| index);
    graph.reach(stems, |edge| !edge.is_key && !sheet.nodes[edge.to].mute)
}

struct Found<'a> {
    sheet: &'a Sheet,
    problems: Vec<Problem>,
}

impl Found<'_> {
    fn add(&mut self, severity: Severity, code: &'static str, at: &str, place: Place, [message, remedy]: [String; 2]) {
        self.problems.push(Problem::new(severity, code, at, message, remedy).at_place(place));
    }

    fn overview(&mut self) {
        if self.sheet.stems().next().is_none() {
            let words = ["This sheet has no stems.", "Add `[[stem]]`, with a name, a file and the bus it goes to."];
            self.problems.push(about_all("no-stems", words));
        }
        if self.sheet.prints.is_empty() {
            let words = ["This sheet prints nothing.", "Add `[[print]]`, with a name, a bus to draw from, and files."];
            self.problems.push(about_all("no-prints", words));
        }
    }

    /// Nodes that nothing listens to, and stems that are lost with them.
    fn dead_ends(&mut self, graph: &Graph) {
        if self.sheet.prints.is_empty() {
            return;
        }
        let drawn: Vec<usize> = self.sheet.prints.iter().filter_map(|print| graph.find(&print.from)).collect();
        let keys = self.sheet.prints.iter().flat_map(|print| &print.chain).filter_map(|link| link.key.as_ref());
        let heard_by_prints = drawn.iter().copied().chain(keys.filter_map(|name| graph.find(name)));
        let used = graph.reversed().reach(heard_by_prints, |_| true);
        for (index, node) in self.sheet.nodes.iter().enumerate().filter(|(index, _)| !used[*index]) {
            let (at, name) = (node_title(self.sheet, index), &node.name);
            if graph.outs(index).is_empty() {
                let remedy = if node.is_stem() {
                    "Write `to = \"BUS\"`.".to_owned()
                } else {
                    "Write `to = \"BUS\"`, or draw a print from it.".to_owned()
                };
                self.add(Severity::Fail, "nowhere", &at, node.place(), [format!("“{name}” goes nowhere."), remedy]);
            } else if node.is_stem() {
                let remedy = "Follow it from bus to bus: the last one goes nowhere.".to_owned();
                self.add(Severity::Warn, "unheard", &at, node.place(), [format!("“{name}” reaches no print."), remedy]);
            }
        }
    }

    /// Mutes, and stems that are lost behind one.
    fn silenced(&mut self, graph: &Graph) {
        let nodes = &self.sheet.nodes;
        let drawn = self.sheet.prints.iter().filter_map(|print| graph.find(&print.from));
        let open = graph.reversed();
        let reaches = open.reach(drawn.clone(), |_| true);
        let live = open.reach(drawn.filter(|index| !nodes[*index].mute), |edge| edge.is_key || !nodes[edge.to].mute);
        let behind = first_mutes(self.sheet, graph);
        for (index, node) in nodes.iter().enumerate() {
            let (at, name) = (node_title(self.sheet, index), &node.name);
            if node.mute {
                let remedy = "Take `mute` out, or accept this finding with a reason.".to_owned();
                self.add(Severity::Warn, "muted", &at, node.place(), [format!("“{name}” is muted."), remedy]);
            } else if node.is_stem() && reaches[index] && !live[index] {
                let mute = behind[index].map_or_else(String::new, |mute| format!(": “{}” is muted", nodes[mute].name));
                let words =
                    [format!("“{name}” is not heard{mute}."), "Take that `mute` out, or mute the stem.".to_owned()];
                self.add(Severity::Warn, "unheard", &at, node.place(), words);
            }
        }
    }

    fn empty_buses(&mut self, graph: &Graph) {
        let mut fed = vec![false; self.sheet.nodes.len()];
        for (_, edge) in graph.edges().filter(|(_, edge)| !edge.is_key) {
            fed[edge.to] = true;
        }
        for (index, node) in self.sheet.nodes.iter().enumerate() {
            if !node.is_stem() && !fed[index] {
                let remedy = "Route or send something to it, or take it out.".to_owned();
                let words = [format!("Nothing goes to “{}”.", node.name), remedy];
                self.add(Severity::Warn, "no-input", &node_title(self.sheet, index), node.place(), words);
            }
        }
    }

    /// The same sound twice at one sum: louder than anybody meant.
    fn summed_twice(&mut self, graph: &Graph) {
        for (index, node) in self.sheet.nodes.iter().enumerate() {
            let mut ways: HashMap<usize, usize> = HashMap::new();
            for edge in graph.outs(index).iter().filter(|edge| !edge.is_key) {
                let before = ways.entry(edge.to).or_default();
                *before += 1;
                if *before != 2 {
                    continue;
                }
                let (name, bus) = (&node.name, &self.sheet.nodes[edge.to].name);
                let how = if node.to.as_ref() == Some(bus) { "routed and sent" } else { "sent twice" };
                let words = [format!("“{name}” is {how} to “{bus}”."), "Keep one of the two paths.".to_owned()];
                self.add(Severity::Warn, "twice", &node_title(self.sheet, index), edge.place, words);
            }
        }
    }

    fn same_files(&mut self) {
        let mut first: HashMap<&str, &str> = HashMap::new();
        for (index, node) in self.sheet.nodes.iter().enumerate() {
            let Some(file) = node.file() else { continue };
            if let Some(other) = first.get(file.as_str()) {
                let remedy = "Name another file, or use sends to take one stem to two places.".to_owned();
                let words = [format!("“{}” reads the same file as “{other}”.", node.name), remedy];
                self.add(Severity::Warn, "same-file", &node_title(self.sheet, index), file.place(), words);
            } else {
                first.insert(file, &node.name);
            }
        }
    }

    fn bypassed(&mut self) {
        let nodes = self.sheet.nodes.iter().enumerate();
        let nodes = nodes.map(|(index, node)| (node_title(self.sheet, index), &node.chain));
        let prints = self.sheet.prints.iter().map(|print| (print_title(print), &print.chain));
        for (at, chain) in nodes.chain(prints).collect::<Vec<_>>() {
            for link in chain.iter().filter(|link| link.off) {
                let message = format!("The {} of {at} is off.", link.settings.spec().title);
                let remedy = "Take `off` out if it was only to compare.".to_owned();
                self.add(Severity::Note, "bypassed", &at, link.place, [message, remedy]);
            }
        }
    }

    fn silent_keys(&mut self, graph: &Graph, sounding: &[bool]) {
        let nodes = self.sheet.nodes.iter().enumerate();
        let nodes = nodes.map(|(index, node)| (node_title(self.sheet, index), &node.chain));
        let prints = self.sheet.prints.iter().map(|print| (print_title(print), &print.chain));
        let links = |(at, chain): (String, &'_ Vec<Link>)| {
            let keys = chain.iter().filter_map(|link| link.key.clone());
            keys.map(|key| (at.clone(), key)).collect::<Vec<_>>()
        };
        for (at, key) in nodes.chain(prints).flat_map(links).collect::<Vec<_>>() {
            if graph.find(&key).is_some_and(|source| !sounding[source]) {
                let message = format!("A processor of {at} listens to “{key}”, which gives no sound.");
                let remedy = "Give it something that sounds, or leave `key` out.".to_owned();
                self.add(Severity::Warn, "silent-key", &at, key.place(), [message, remedy]);
            }
        }
    }

    fn prints(&mut self, graph: &Graph, sounding: &[bool]) {
        for print in &self.sheet.prints {
            let at = print_title(print);
            if graph.find(&print.from).is_some_and(|source| !sounding[source]) {
                let message = format!("“{}” draws from “{}”, which gives no sound.", print.name, print.from);
                let remedy = "Route stems to that bus, or draw from another.".to_owned();
                self.add(Severity::Fail, "silent-print", &at, print.from.place(), [message, remedy]);
            }
            if print.files.is_empty() {
                let message = format!("“{}” writes no file.", print.name);
                let remedy = "Add `files = [{ format = \"wav\" }]`.".to_owned();
                self.add(Severity::Warn, "no-files", &at, print.name.place(), [message, remedy]);
            }
        }
    }
}

/// A finding about the whole sheet.
fn about_all(code: &'static str, [message, remedy]: [&str; 2]) -> Problem {
    Problem::new(Severity::Warn, code, "sheet", message.to_owned(), remedy.to_owned())
}

fn print_title(print: &Print) -> String {
    format!("print {}", print.name)
}

/// For every node, the first mute on the way that it is routed.
fn first_mutes(sheet: &Sheet, graph: &Graph) -> Vec<Option<usize>> {
    let mut found: Vec<Option<Option<usize>>> = vec![None; sheet.nodes.len()];
    for start in 0..sheet.nodes.len() {
        let mut way = Vec::new();
        let mut node = start;
        let mute = loop {
            if let Some(known) = found[node] {
                break known;
            }
            if sheet.nodes[node].mute {
                break Some(node);
            }
            // Known from here on, so that even a loop comes to an end.
            found[node] = Some(None);
            way.push(node);
            match sheet.nodes[node].to.as_ref().and_then(|name| graph.find(name)) {
                Some(next) => node = next,
                None => break None,
            }
        };
        for passed in way.into_iter().chain([node]) {
            found[passed] = Some(mute);
        }
    }
    found.into_iter().map(Option::flatten).collect()
}
