//! What is wrong or odd about the routing: judged on names alone, before any sound is made.
//!
//! Loops make a sheet unreadable, for nothing could play them. Everything else is a finding: the sheet can be played,
//! and the engineer decides. Every check takes time in proportion to the sheet, and none recurses.

mod findings;
mod graph;

use units::{Problem, Severity};

use crate::model::Sheet;
use graph::Graph;

/// Loops of the signal, and loops through outside keys.
pub(crate) fn loops(sheet: &Sheet) -> Vec<Problem> {
    let graph = Graph::of(sheet);
    let mut problems = signal_loops(sheet, &graph);
    problems.extend(key_loops(sheet, &graph));
    problems
}

/// What is odd about the routing of a sheet without loops, in the order of the text. Findings that the sheet accepts
/// are turned into notes.
#[must_use]
pub fn network_findings(sheet: &Sheet) -> Vec<Problem> {
    let mut problems = findings::all(sheet, &Graph::of(sheet));
    problems.sort_by_key(|problem| problem.place.map_or(0, |place| place.from));
    accept(sheet, &mut problems);
    problems
}

/// Turns findings that the sheet accepts into notes that state the reason.
pub fn accept(sheet: &Sheet, findings: &mut [Problem]) {
    for finding in findings {
        if let Some(accepted) = sheet.acceptance(finding) {
            finding.severity = Severity::Note;
            finding.remedy = format!("Accepted: {}", accepted.reason);
        }
    }
}

fn signal_loops(sheet: &Sheet, graph: &Graph) -> Vec<Problem> {
    let heads = graph.loop_heads(|edge| !edge.is_key);
    let one = |head| {
        let path = graph.way(head, head, |edge| !edge.is_key)?;
        let last = path[path.len() - 2];
        let edge = graph.edge(last, head, |edge| !edge.is_key)?;
        let message = format!("The signal runs in a loop: {}.", in_words(sheet, &path));
        let remedy = "Take out one of these routes: nothing may feed itself.".to_owned();
        let at = node_title(sheet, last);
        Some(Problem::new(Severity::Fail, "loop", &at, message, remedy).at_place(edge.place))
    };
    heads.into_iter().filter_map(one).collect()
}

/// Loops that close only through a processor's outside key.
fn key_loops(sheet: &Sheet, graph: &Graph) -> Vec<Problem> {
    let signal = graph.components(|edge| !edge.is_key);
    let alone = graph.is_alone(&signal);
    let mixed = graph.components(|_| true);
    let mut told = std::collections::HashSet::new();
    let mut problems = Vec::new();
    for (from, edge) in graph.edges().filter(|(_, edge)| edge.is_key) {
        let closes = mixed[from] == mixed[edge.to] && alone[from] && alone[edge.to];
        if !closes || !told.insert(mixed[from]) {
            continue;
        }
        let (source, listener) = (&sheet.nodes[from].name, &sheet.nodes[edge.to].name);
        let message = if source == listener {
            format!("A processor of “{listener}” listens to what comes out of “{listener}” itself.")
        } else {
            let way = graph.way(edge.to, from, |_| true).unwrap_or_default();
            format!("A processor of “{listener}” listens to “{source}”, which it feeds: {}.", in_words(sheet, &way))
        };
        let remedy = "Let it listen to something ahead of it, or leave `key` out: it then hears its own input.";
        let at = node_title(sheet, edge.to);
        problems.push(Problem::new(Severity::Fail, "key-loop", &at, message, remedy.to_owned()).at_place(edge.place));
    }
    problems
}

/// A node as findings call it: `bus drums`.
fn node_title(sheet: &Sheet, index: usize) -> String {
    let node = &sheet.nodes[index];
    format!("{} {}", if node.is_stem() { "stem" } else { "bus" }, node.name)
}

/// A way through the network, its middle left out when it is long.
fn in_words(sheet: &Sheet, path: &[usize]) -> String {
    const SHOWN: usize = 5;
    let name = |index: &usize| format!("“{}”", sheet.nodes[*index].name);
    let words: Vec<String> = if path.len() > 2 * SHOWN {
        let between = format!("({} more)", path.len() - 2 * SHOWN);
        let (head, tail) = (&path[..SHOWN], &path[path.len() - SHOWN..]);
        head.iter().map(name).chain([between]).chain(tail.iter().map(name)).collect()
    } else {
        path.iter().map(name).collect()
    };
    words.join(" to ")
}
