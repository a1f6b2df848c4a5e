//! Lines whose ports share a lead, and what flows in all of them.

use super::wire::{Feed, Flow, Norton, Wire, room};

/// The lead of a `power` statement.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Trunk {
    /// What reaches the ports through it, seen from there.
    pub source: Norton,
    /// The most that it may carry for hours.
    pub most: f64,
}

impl Trunk {
    /// Its slack where its far end has a voltage.
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
    pub lines: Vec<Wire>,
}

/// How a bus does.
#[derive(Clone, Debug, Default)]
pub struct BusFlow {
    /// The slack of each line.
    pub lines: Vec<Flow>,
    /// The slack of the lead.
    pub trunk: f64,
    /// What each line takes at its start.
    seen: Vec<Norton>,
}

impl BusFlow {
    /// What is on the port's side of a line, all other lines among it.
    #[must_use]
    pub fn left(&self, bus: &Bus, line: usize) -> Norton {
        let Some(trunk) = bus.trunk else {
            return Norton::default();
        };
        let others = self
            .seen
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != line);
        others.fold(trunk.source, |left, (_, seen)| Norton {
            amps: left.amps - seen.amps,
            siemens: left.siemens + seen.siemens,
        })
    }
}

impl Bus {
    /// How it does with the feeds of each line, by point.
    pub fn flow(&self, feeds: &[Vec<Feed>], flow: &mut BusFlow) {
        let pairs = || self.lines.iter().zip(feeds);
        flow.seen.clear();
        flow.seen
            .extend(pairs().map(|(wire, feeds)| wire.seen(feeds)));
        let mut lines = std::mem::take(&mut flow.lines);
        lines.resize_with(self.lines.len(), Flow::default);
        for (at, ((wire, feeds), line)) in pairs().zip(&mut lines).enumerate() {
            wire.flow(flow.left(self, at), feeds, f64::NEG_INFINITY, line);
        }
        flow.lines = lines;
        let Some(trunk) = self.trunk else {
            flow.trunk = f64::INFINITY;
            return;
        };
        let limits = self.lines.first().map_or(1.0, |wire| wire.limits);
        let start = flow.lines.first().map_or(0.0, |line| line.start);
        flow.trunk = trunk.slack(start, limits);
    }
}
