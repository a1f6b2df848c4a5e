//! What depends on what in a display.
//!
//! Only this file knows petgraph. The order of results follows the declarations; a ring begins with
//! the member that was declared first. No algorithm here is recursive, so a long chain can't
//! exhaust the stack.

mod build;

pub use build::of;

use crate::source::Span;
use petgraph::algo::kosaraju_scc;
use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::{Bfs, EdgeRef, Reversed};
use std::collections::hash_map::Entry;
use std::collections::{HashMap, VecDeque};

/// What a vertex stands for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum VertexKind {
    /// A text.
    File,
    /// A chip.
    Chip,
    /// A kind of node.
    Node,
    /// A controller.
    Controller,
    /// A port or output in use.
    Port,
    /// A receiver.
    Receiver,
    /// A prop or one member of a family.
    Prop,
    /// A string of a prop that has several.
    String,
    /// A supply.
    Supply,
    /// A mains circuit.
    Circuit,
}

impl VertexKind {
    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::File => "file",
            Self::Chip => "chip",
            Self::Node => "node",
            Self::Controller => "controller",
            Self::Port => "port",
            Self::Receiver => "receiver",
            Self::Prop => "prop",
            Self::String => "string",
            Self::Supply => "supply",
            Self::Circuit => "circuit",
        }
    }
}

/// Why one thing depends on another.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum EdgeKind {
    /// Names it in a setting.
    Uses,
    /// Takes its settings (`like`).
    Like,
    /// Comes after it (`universes after`, or the ports of a `consecutive` controller).
    After,
    /// Reads it (`include`, `stock`).
    Includes,
    /// Carries its ports.
    Carries,
    /// Is part of it.
    PartOf,
    /// Follows it on a data line.
    Follows,
    /// Shows its data (`same as`).
    SameAs,
    /// Is fed from it.
    FedFrom,
}

impl EdgeKind {
    /// The words for it.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Uses => "uses",
            Self::Like => "like",
            Self::After => "after",
            Self::Includes => "includes",
            Self::Carries => "carries",
            Self::PartOf => "part of",
            Self::Follows => "follows",
            Self::SameAs => "same as",
            Self::FedFrom => "fed from",
        }
    }
}

/// A thing of the display.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Vertex {
    /// Its name as a person writes it.
    pub name: String,
    /// What it is.
    pub kind: VertexKind,
    /// Where it is declared.
    pub at: Option<Span>,
}

/// Things and what they depend on: an edge goes from the one that depends to the one it depends on.
#[derive(Debug, Default)]
pub struct Graph {
    inner: DiGraph<Vertex, EdgeKind>,
    by_name: HashMap<(VertexKind, String), usize>,
}

impl Graph {
    /// Adds a thing unless it is there; gives its index.
    pub fn vertex(&mut self, kind: VertexKind, name: &str, at: Option<Span>) -> usize {
        if let Some(index) = self.by_name.get(&(kind, name.to_owned())) {
            return *index;
        }
        let vertex = Vertex { name: name.to_owned(), kind, at };
        let index = self.inner.add_node(vertex).index();
        self.by_name.insert((kind, name.to_owned()), index);
        index
    }

    /// Adds the edge from `from` to what it depends on, unless it is there.
    pub fn edge(&mut self, from: usize, to: usize, kind: EdgeKind) {
        let (a, b) = (NodeIndex::new(from), NodeIndex::new(to));
        let there = self.inner.edges_connecting(a, b).any(|edge| *edge.weight() == kind);
        if !there && from < self.inner.node_count() && to < self.inner.node_count() {
            self.inner.add_edge(a, b, kind);
        }
    }

    /// The things in the order they were added.
    pub fn nodes(&self) -> impl Iterator<Item = &Vertex> {
        self.inner.node_weights()
    }

    /// Every edge as (from, to, why), in the order they were added.
    pub fn edges(&self) -> impl Iterator<Item = (usize, usize, EdgeKind)> {
        self.inner
            .edge_references()
            .map(|edge| (edge.source().index(), edge.target().index(), *edge.weight()))
    }

    /// The things of a name, of every kind.
    #[must_use]
    pub fn named(&self, name: &str) -> Vec<usize> {
        self.nodes()
            .enumerate()
            .filter(|(_, vertex)| vertex.name == name)
            .map(|(index, _)| index)
            .collect()
    }

    /// Everything that depends on these, directly or not, and they themselves; in the order added.
    #[must_use]
    pub fn reach(&self, from: &[usize]) -> Vec<usize> {
        let mut seen = vec![false; self.inner.node_count()];
        let against = Reversed(&self.inner);
        for start in from {
            let mut walk = Bfs::new(against, NodeIndex::new(*start));
            while let Some(next) = walk.next(against) {
                if let Some(mark) = seen.get_mut(next.index()) {
                    *mark = true;
                }
            }
        }
        seen.iter().enumerate().filter(|(_, seen)| **seen).map(|(index, _)| index).collect()
    }
}

/// The rings among `count` things, given which needs which: the members of each in order, the first
/// declared first. A thing that needs itself is a ring of one. Where rings share members, only the
/// shortest ring through the first declared of them is given.
#[must_use]
pub fn rings(count: usize, needs: &[(usize, usize)]) -> Vec<Vec<usize>> {
    if needs.is_empty() {
        return Vec::new();
    }
    let mut graph: DiGraph<(), ()> = DiGraph::with_capacity(count, needs.len());
    for _ in 0..count {
        graph.add_node(());
    }
    for (from, to) in needs.iter().filter(|(a, b)| *a < count && *b < count) {
        graph.update_edge(NodeIndex::new(*from), NodeIndex::new(*to), ());
    }
    let mut found: Vec<Vec<usize>> = kosaraju_scc(&graph)
        .into_iter()
        .filter_map(|part| {
            let first = part.iter().min().copied()?;
            let alone = part.len() == 1 && graph.find_edge(first, first).is_none();
            (!alone).then(|| shortest(&graph, first))
        })
        .collect();
    found.sort();
    found
}

/// The shortest way from a vertex back to itself. The vertex must lie in a ring.
fn shortest(graph: &DiGraph<(), ()>, first: NodeIndex) -> Vec<usize> {
    let mut came: HashMap<NodeIndex, NodeIndex> = HashMap::new();
    let mut queue = VecDeque::from([first]);
    while let Some(at) = queue.pop_front() {
        let mut next: Vec<NodeIndex> = graph.neighbors(at).collect();
        next.sort_unstable();
        for to in next {
            if to == first {
                let mut ring = vec![at.index()];
                let mut back = at;
                while let Some(before) = came.get(&back) {
                    ring.push(before.index());
                    back = *before;
                }
                ring.reverse();
                return ring;
            }
            if let Entry::Vacant(free) = came.entry(to) {
                free.insert(at);
                queue.push_back(to);
            }
        }
    }
    vec![first.index()]
}
