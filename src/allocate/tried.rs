//! Why outputs do not take a line, in words, and what sets their limits.

use super::needs::{Kind, Need, Reason, in_words};
use super::outlets::Outlets;
use crate::limits::{NodeTime, PortLimit};
use crate::model::Output;
use crate::rules::place::no_room::Tried;
use crate::source::Span;
use crate::unit::counted;
use std::collections::BTreeMap;

impl Outlets<'_> {
    /// Why the outputs that a line may use do not take it; one short reason unless `by_output`.
    pub fn tried(&self, need: &Need, by_output: bool) -> Tried {
        if !by_output {
            return Tried {
                none: need.none(),
                reasons: vec!["no output has room".to_owned()],
                missing: self.missing(need),
            };
        }
        let ports = if need.fixture { "output" } else { "port" };
        let reasons = in_words(self.model, &self.reasons(need), ports);
        Tried { none: need.none(), reasons, missing: self.missing(need) }
    }

    /// Why outputs that a line may use do not take it, and how many for each reason.
    pub fn reasons(&self, need: &Need) -> BTreeMap<Reason, usize> {
        let mut rows = BTreeMap::new();
        for at in self.scope(need.target).filter(|at| self.is_for(*at, need.fixture)) {
            if let Err(reason) = self.fits(at, need) {
                *rows.entry(reason).or_default() += 1;
            }
        }
        rows.remove(&Reason::Elsewhere);
        rows
    }

    /// What a line would have needed, in words.
    pub fn missing(&self, need: &Need) -> String {
        let load = Self::load(self.model, need);
        if need.fixture {
            return format!("a DMX output with {} free", counted(load.slots, "slot"));
        }
        let chip = self.model.chip_of(need.first.0);
        let drives = chip.map_or(String::new(), |chip| format!(" that drives `{}`", chip.name));
        format!("a port{drives} with room for {}", counted(load.length(), "node"))
    }

    /// The settings that limit how many nodes of a line's kind a port takes, each with its label.
    pub fn bounds(&self, at: usize, need: &Need) -> Vec<(Span, String)> {
        let Some(outlet) = self.rows.get(at).filter(|row| row.kind == Kind::Pixel) else {
            return Vec::new();
        };
        let (Some(receiver), Output::Pixel(port)) = (self.seat(outlet, need), outlet.output) else {
            return Vec::new();
        };
        let receivers = outlet.receivers.iter().copied().chain(receiver);
        let mut bounds = Vec::new();
        let mut nodes = u64::MAX;
        if let PortLimit::Nodes(most) =
            PortLimit::of(self.model, outlet.controller, port, receivers)
        {
            nodes = u64::from(most.value);
            bounds.push((most.at, format!("at most {} a port", counted(nodes, "node"))));
        }
        let rate = self.model.display.frame_rate_mhz;
        let time = NodeTime::of(self.model, need.first.0).and_then(|time| time.most(rate));
        let time = time.map(u64::from).filter(|time| *time < nodes);
        if let (Some(time), Some(at)) = (time, self.model.display.frame_rate_at) {
            nodes = time;
            let time = counted(time, "node");
            bounds.push((at, format!("a frame has time for at most {time} like these")));
        }
        let settings = self.model.port_settings(outlet.controller, port, receiver);
        let fuse = settings.and_then(|settings| settings.fuse);
        let fed = self.fed(outlet, port, receiver, self.draw(need));
        if let (Some(fuse), Some(fed)) = (fuse, fed.filter(|fed| *fed < nodes)) {
            let fed = counted(fed, "more node");
            bounds.push((fuse.at, format!("this feeds {fed} like these")));
        }
        bounds
    }
}
