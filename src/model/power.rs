//! Power: supplies, mains circuits, leads and injections.

use super::{CircuitId, ControllerId, ReceiverId, Stated, StringId, SupplyId};
use crate::source::Span;
use crate::unit::Gauge;

/// A supply.
#[derive(Debug, Clone, Default)]
pub struct Supply {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// Voltage in millivolts.
    pub volts: Option<Stated<i64>>,
    /// Rating in milliwatts.
    pub rated: Option<Stated<i64>>,
    /// Its own output protection in microamperes, if the display states it.
    pub fuse: Option<Stated<i64>>,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
    /// The mains circuit it is on.
    pub circuit: Option<CircuitId>,
    /// Its output as a share of what it takes from the mains, in thousandths of a percent; above 0.
    pub efficiency: u32,
}

/// A mains circuit.
#[derive(Debug, Clone, Default)]
pub struct Circuit {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// Voltage in millivolts.
    pub volts: Option<Stated<i64>>,
    /// Breaker in microamperes.
    pub breaker: Option<Stated<i64>>,
}

/// A lead from a supply.
#[derive(Debug, Clone, Copy)]
pub struct FeedLead {
    /// The supply.
    pub supply: SupplyId,
    /// Its length in micrometres.
    pub length_um: i64,
    /// Its conductor.
    pub gauge: Gauge,
    /// Its fuse in microamperes.
    pub fuse: Option<Stated<i64>>,
}

/// What feeds ports.
#[derive(Debug, Clone)]
pub struct PowerFeed {
    /// The statement.
    pub at: Span,
    /// The controller.
    pub controller: ControllerId,
    /// The receiver, if the ports are named by its numbers.
    pub receiver: Option<ReceiverId>,
    /// First port, by the controller's number.
    pub first: u32,
    /// Last port.
    pub last: u32,
    /// From where.
    pub lead: FeedLead,
}

/// Where on a string power is injected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InjectAt {
    /// Before the first node.
    Start,
    /// After the last node.
    End,
    /// At a node, from 1.
    Node(u32),
    /// At every N nodes.
    EveryNodes(u32),
    /// At every N strands.
    EveryStrands(u32),
}

/// A power injection.
#[derive(Debug, Clone)]
pub struct Injection {
    /// The statement.
    pub at: Span,
    /// The strings it goes into.
    pub strings: Vec<StringId>,
    /// Where on each.
    pub place: InjectAt,
    /// From where.
    pub lead: FeedLead,
    /// Whether the plus conductor is cut before the point.
    pub apart: bool,
}
