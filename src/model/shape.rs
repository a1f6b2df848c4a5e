//! What strings are made of.

use super::NodeId;
use crate::source::Span;
use crate::unit::Gauge;

/// What a string is made of; shared by members that are alike.
#[derive(Debug, Clone)]
pub struct Shape {
    /// The setting that describes it.
    pub at: Span,
    /// Its name within the prop (`eaves`).
    pub name: Option<Box<str>>,
    /// Its make of node; `None` for a fixture.
    pub node: Option<NodeId>,
    /// Nodes that light; 0 for a fixture.
    pub nodes: u32,
    /// Slots it takes.
    pub slots: u32,
    /// Dark nodes within it.
    pub skips: u32,
    /// Nodes of one strand, where it is made of strands.
    pub strand: Option<u32>,
    /// The runs it consists of; empty for a plain string.
    pub runs: Vec<ShapeRun>,
    /// The load of a fixture on its DMX line, in thousandths of a unit load of EIA-485; else 0.
    pub loads: u32,
}

/// One unit load: what a fixture without `loads` counts as.
pub const UNIT_LOAD: u32 = 1_000;

/// A run of a string as built.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShapeRun {
    /// Nodes, perhaps with a name.
    Nodes(Option<Box<str>>, u32),
    /// Dark nodes.
    Skip(u32),
    /// Cable, in micrometres, and its conductor.
    Lead(i64, Option<Gauge>),
}
