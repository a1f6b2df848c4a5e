//! Which fuse protects which conductor, and which conductor has none.
//!
//! A fuse protects what comes after it up to the next fuse: the lead it stands in, and the plus of its line in both
//! directions, up to a cut (`apart`) and to the port. A port's fuse ends what a lead's fuse protects. Two fuses that
//! feed one conductor are each held against it alone. What a supply states as its own `fuse` stands in for the fuse of
//! each lead that has none. Nothing here depends on the level, but for the size that a help names.

mod leads;
mod ports;

use super::net::{Nets, Stretch};
use crate::cable::capacity;
use crate::diagnostic::Sink;
use crate::diagnostic::words::shown;
use crate::loads::Loads;
use crate::model::{FeedLead, Model, Told};
use crate::plan::Plan;
use crate::rules::power::fuse::Wire;
use crate::usage::{Outlet, outlet};

/// The thinnest conductor of a stretch that is known, by what it may carry; the first of equal ones.
#[must_use]
pub fn thinnest(model: &Model, stretch: &Stretch) -> Option<Wire> {
    let known = stretch.runs.iter();
    let known = known.filter_map(|run| Some((run, run.gauge?)));
    let (run, gauge) = known.min_by_key(|(_, gauge)| capacity(*gauge).most_ua)?;
    let node = run.make.and_then(|node| model.nodes.get(node.index()));
    let what = match run.string {
        Some(id) => format!("the conductor of `{}`", shown(&model.name_of(id))),
        None if run.lead.is_some() => "a lead on its line".to_owned(),
        None => "the conductor of skipped nodes".to_owned(),
    };
    let told = node.and_then(|node| node.gauge).map(|gauge| gauge.at);
    Some(Wire {
        gauge,
        at: Some(told.filter(|_| run.lead.is_none()).unwrap_or(run.at)),
        what,
    })
}

/// The thinner of two, the first of equal ones.
fn thinner(one: Wire, other: Option<Wire>) -> Wire {
    match other {
        Some(other) if capacity(other.gauge).most_ua < capacity(one.gauge).most_ua => other,
        _ => one,
    }
}

/// Holds every fuse against the conductors that it protects, and reports leads and ports that have none.
pub fn tell(model: &Model, plan: &Plan, nets: &Nets, loads: &Loads, sink: &mut Sink) {
    let thin = nets.all().map(|one| thinnest(model, one));
    let protect = Protect {
        model,
        plan,
        nets,
        loads,
        thin: thin.collect(),
    };
    protect.ports(sink);
    protect.powers(sink);
    protect.injections(sink);
}

struct Protect<'a> {
    model: &'a Model,
    plan: &'a Plan,
    nets: &'a Nets,
    loads: &'a Loads,
    /// The thinnest conductor of each stretch.
    thin: Vec<Option<Wire>>,
}

impl Protect<'_> {
    fn thin(&self, stretch: usize) -> Option<&Wire> {
        self.thin.get(stretch)?.as_ref()
    }

    fn outlet(&self, stretch: &Stretch) -> Option<Outlet> {
        outlet(self.plan, stretch.port, stretch.receiver)
    }

    /// What flows through the port of a stretch, in either direction.
    fn through(&self, stretch: usize) -> i64 {
        let section = self.loads.allowed.sections.get(stretch);
        section.map_or(0, |section| section.port_ua.saturating_abs())
    }

    /// The fuse that the supply of a lead states as its own.
    fn supply_fuse(&self, lead: &FeedLead) -> Option<Told<i64>> {
        self.model.supplies.get(lead.supply.index())?.fuse
    }

    fn supply_name(&self, lead: &FeedLead) -> String {
        let supply = self.model.supplies.get(lead.supply.index());
        format!("supply `{}`", supply.map_or("", |supply| &*supply.name))
    }
}

/// Whether a fuse is larger than a conductor may carry.
fn over(fuse: Told<i64>, wire: &Wire) -> bool {
    fuse.value > capacity(wire.gauge).most_ua
}
