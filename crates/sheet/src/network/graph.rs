//! The network as a graph of indices: who feeds whom.

use std::collections::{HashMap, VecDeque};

use units::Place;

use crate::model::Sheet;

/// A connection from one node to another.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    /// The node that is fed.
    pub to: usize,
    /// Whether it carries an outside key rather than signal.
    pub is_key: bool,
    /// Where the sheet says so.
    pub place: Place,
}

/// Connections by the node that they leave.
pub(super) struct Graph {
    outs: Vec<Vec<Edge>>,
    index: HashMap<String, usize>,
}

impl Graph {
    /// The graph of a sheet. Names that do not exist are passed over.
    pub fn of(sheet: &Sheet) -> Self {
        let names = sheet.nodes.iter().enumerate();
        let index: HashMap<String, usize> = names.map(|(at, node)| (node.name.as_str().to_owned(), at)).collect();
        let mut outs = vec![Vec::new(); sheet.nodes.len()];
        for (from, node) in sheet.nodes.iter().enumerate() {
            for name in node.to.iter().chain(node.sends.iter().map(|send| &send.to)) {
                if let Some(to) = index.get(name.as_str()) {
                    outs[from].push(Edge { to: *to, is_key: false, place: name.place() });
                }
            }
            for name in node.chain.iter().filter_map(|link| link.key.as_ref()) {
                if let Some(source) = index.get(name.as_str()) {
                    outs[*source].push(Edge { to: from, is_key: true, place: name.place() });
                }
            }
        }
        Self { outs, index }
    }

    /// The index of a name.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.index.get(name).copied()
    }

    /// The connections that leave a node.
    pub fn outs(&self, from: usize) -> &[Edge] {
        &self.outs[from]
    }

    /// All connections, with the node that they leave.
    pub fn edges(&self) -> impl Iterator<Item = (usize, &Edge)> {
        self.outs.iter().enumerate().flat_map(|(from, edges)| edges.iter().map(move |edge| (from, edge)))
    }

    /// The connection from one node to another, of those that are let through.
    pub fn edge(&self, from: usize, to: usize, through: impl Fn(&Edge) -> bool) -> Option<&Edge> {
        self.outs[from].iter().find(|edge| edge.to == to && through(edge))
    }

    /// The strongly connected component of every node, by the connections that are let through.
    ///
    /// Tarjan's method (R. Tarjan, "Depth-first search and linear graph algorithms", SIAM J. Comput. 1, 1972) with a
    /// stack of its own in place of recursion.
    pub fn components(&self, through: impl Fn(&Edge) -> bool) -> Vec<usize> {
        const NEW: usize = usize::MAX;
        let count = self.outs.len();
        let (mut order, mut low, mut component) = (vec![NEW; count], vec![NEW; count], vec![NEW; count]);
        let (mut open, mut walk): (Vec<usize>, Vec<(usize, usize)>) = (Vec::new(), Vec::new());
        let (mut next_order, mut next_component) = (0, 0);
        for root in 0..count {
            if order[root] == NEW {
                walk.push((root, 0));
            }
            while let Some((node, edge_at)) = walk.pop() {
                if edge_at == 0 {
                    (order[node], low[node]) = (next_order, next_order);
                    next_order += 1;
                    open.push(node);
                }
                if let Some(edge) = self.outs[node].get(edge_at) {
                    walk.push((node, edge_at + 1));
                    if through(edge) && order[edge.to] == NEW {
                        walk.push((edge.to, 0));
                    } else if through(edge) && component[edge.to] == NEW {
                        low[node] = low[node].min(order[edge.to]);
                    }
                    continue;
                }
                if low[node] == order[node] {
                    while let Some(member) = open.pop() {
                        component[member] = next_component;
                        if member == node {
                            break;
                        }
                    }
                    next_component += 1;
                }
                if let Some((parent, _)) = walk.last() {
                    low[*parent] = low[*parent].min(low[node]);
                }
            }
        }
        component
    }

    /// For every node, whether its component holds it alone and without a connection to itself.
    pub fn is_alone(&self, component: &[usize]) -> Vec<bool> {
        let mut sizes = vec![0_usize; component.len()];
        for id in component {
            sizes[*id] += 1;
        }
        let to_itself = |node: usize| self.outs[node].iter().any(|edge| edge.to == node && !edge.is_key);
        (0..component.len()).map(|node| sizes[component[node]] == 1 && !to_itself(node)).collect()
    }

    /// One node of every loop of connections that are let through: the first in the sheet.
    pub fn loop_heads(&self, through: impl Fn(&Edge) -> bool + Copy) -> Vec<usize> {
        let component = self.components(through);
        let alone = self.is_alone(&component);
        let mut told = vec![false; component.len()];
        let first = |node: &usize| !alone[*node] && !std::mem::replace(&mut told[component[*node]], true);
        (0..component.len()).filter(first).collect()
    }

    /// A shortest way from one node to another, both ends included; the way from a node to itself leaves it first.
    pub fn way(&self, from: usize, to: usize, through: impl Fn(&Edge) -> bool) -> Option<Vec<usize>> {
        let mut came_from = vec![None; self.outs.len()];
        let mut queue = VecDeque::from([from]);
        while let Some(node) = queue.pop_front() {
            for edge in self.outs[node].iter().filter(|edge| through(edge)) {
                if came_from[edge.to].is_none() {
                    came_from[edge.to] = Some(node);
                    queue.push_back(edge.to);
                }
            }
        }
        let mut path = vec![to];
        let mut node = came_from[to]?;
        while node != from {
            path.push(node);
            node = came_from[node]?;
        }
        path.push(from);
        path.reverse();
        Some(path)
    }

    /// Which nodes a walk reaches from some starts. `step` tells whether the walk may enter a node by a connection.
    pub fn reach(&self, starts: impl IntoIterator<Item = usize>, step: impl Fn(&Edge) -> bool) -> Vec<bool> {
        reach(&self.outs, starts, step)
    }

    /// The same graph with every connection turned round.
    pub fn reversed(&self) -> Self {
        let mut outs = vec![Vec::new(); self.outs.len()];
        for (from, edge) in self.edges() {
            outs[edge.to].push(Edge { to: from, ..*edge });
        }
        Self { outs, index: HashMap::new() }
    }
}

fn reach(outs: &[Vec<Edge>], starts: impl IntoIterator<Item = usize>, step: impl Fn(&Edge) -> bool) -> Vec<bool> {
    let mut reached = vec![false; outs.len()];
    let mut open: Vec<usize> = starts.into_iter().collect();
    for start in &open {
        reached[*start] = true;
    }
    while let Some(node) = open.pop() {
        for edge in outs[node].iter().filter(|edge| step(edge)) {
            if !reached[edge.to] {
                reached[edge.to] = true;
                open.push(edge.to);
            }
        }
    }
    reached
}
