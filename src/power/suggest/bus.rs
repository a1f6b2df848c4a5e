//! Lines whose ports share a lead, and the currents in all of them.

use super::wire::{Feed, Flow, Norton, Wire, room};
use crate::keyed::{Keyed, id};

id!(
    /// A line of a bus.
    WireId
);

/// The lead of a `power` statement.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Trunk {
    /// The supply and the lead as the ports see them.
    pub source: Norton,
    /// The most that it may carry for hours, in amperes.
    pub most: f64,
}

impl Trunk {
    /// Its slack at a voltage at its far end.
    #[must_use]
    pub fn slack(&self, volts: f64, limits: f64) -> f64 {
        let carries = self.source.amps - self.source.siemens * volts;
        room(carries, self.most * limits)
    }
}

/// Lines whose ports share a lead; without one, a single line that is fed by injections only.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Bus {
    /// The lead.
    pub trunk: Option<Trunk>,
    /// The lines.
    pub lines: Keyed<WireId, Wire>,
}

/// The solved state of a bus.
#[derive(Clone, Debug, Default)]
pub struct BusFlow {
    /// The solved state of each line.
    pub lines: Keyed<WireId, Flow>,
    /// The slack of the lead.
    pub trunk: f64,
    /// What each line takes at its start.
    seen: Keyed<WireId, Norton>,
}

impl BusFlow {
    /// What is on the port's side of a line, including all other lines.
    #[must_use]
    pub fn left(&self, bus: &Bus, line: WireId) -> Norton {
        let Some(trunk) = bus.trunk else {
            return Norton::default();
        };
        let others = self.seen.pairs().filter(|(other, _)| *other != line);
        others.fold(trunk.source, |left, (_, seen)| Norton {
            amps: left.amps - seen.amps,
            siemens: left.siemens + seen.siemens,
        })
    }
}

impl Bus {
    /// Solves it with the feeds of each line, by point.
    pub fn flow(&self, feeds: &Keyed<WireId, Vec<Feed>>, flow: &mut BusFlow) {
        flow.seen.rows_mut().clear();
        let seen = self.lines.pairs().map(|(id, wire)| wire.seen(&feeds[id]));
        flow.seen.rows_mut().extend(seen);
        flow.lines.rows_mut().resize_with(self.lines.len(), Flow::default);
        for (id, wire) in self.lines.pairs() {
            let left = flow.left(self, id);
            wire.flow(left, &feeds[id], f64::NEG_INFINITY, &mut flow.lines[id]);
        }
        let limits = self.lines.first().map_or(1.0, |wire| wire.limits);
        let start = flow.lines.first().map_or(0.0, |line| line.start);
        let slack = self.trunk.map(|trunk| trunk.slack(start, limits));
        flow.trunk = slack.unwrap_or(f64::INFINITY);
    }

    /// What its lines see at their start through the lead; nothing without one.
    #[must_use]
    pub fn source(&self) -> Norton {
        self.trunk.map(|trunk| trunk.source).unwrap_or_default()
    }
}
