//! Which fuse protects which conductor, and which conductor has none.
//!
//! A fuse protects what comes after it up to the next fuse: the lead it stands in, and the plus of
//! its line in both directions, up to a cut (`apart`) and to the port. A port's fuse ends what a
//! lead's fuse protects. Two fuses that feed one conductor are each checked against it alone. The
//! `fuse` of a supply stands in for each of its leads that has none. The level matters only for the
//! fuse size that a help names.

mod leads;
mod ports;

use super::net::{NetSection, Nets};
use crate::cable::capacity;
use crate::diagnostic::Sink;
use crate::diagnostic::words::shown;
use crate::loads::Loads;
use crate::model::{FeedLead, Model, Stated};
use crate::plan::Plan;
use crate::rules::power::fuse::Wire;
use crate::usage::{Outlet, outlet};
use std::iter;

/// The known conductor of a stretch that may carry least; the first of equal ones.
#[must_use]
pub fn thinnest(model: &Model, stretch: &NetSection) -> Option<Wire> {
    let known = stretch.runs.iter();
    let known = known.filter_map(|run| Some((run, run.gauge?)));
    let (run, gauge) = known.min_by_key(|(_, gauge)| capacity(*gauge).most_ua)?;
    let what = match run.string {
        Some(id) => format!("the conductor of `{}`", shown(&model.name_of(id))),
        None if run.lead.is_some() => "a lead on its line".to_owned(),
        None => "the conductor of skipped nodes".to_owned(),
    };
    let set = run.make.and_then(|node| model.nodes[node].gauge);
    Some(Wire { gauge, at: Some(set.map_or(run.at, |gauge| gauge.at)), what })
}

/// The thinner of two, the first of equal ones.
fn thinner(one: Wire, other: Option<Wire>) -> Wire {
    match other {
        Some(other) if capacity(other.gauge).most_ua < capacity(one.gauge).most_ua => other,
        _ => one,
    }
}

/// Checks every fuse against the conductors that it protects, and reports leads and ports without
/// one.
pub fn report(model: &Model, plan: &Plan, nets: &Nets, loads: &Loads, sink: &mut Sink) {
    // An undrawn stretch carries nothing.
    let through = loads.allowed.sections.iter().map(|section| section.port_ua);
    let all = nets.all().zip(through.chain(iter::repeat(0)));
    let all = all.map(|(stretch, ua)| Guarded {
        stretch,
        thin: thinnest(model, stretch),
        ua: ua.saturating_abs(),
        outlet: outlet(plan, stretch.port, stretch.receiver),
    });
    let protect = Protect { model, loads, all: all.collect() };
    protect.ports(sink);
    protect.powers(sink);
    protect.injections(sink);
}

/// A stretch as its fuses see it.
struct Guarded<'a> {
    stretch: &'a NetSection,
    /// Its thinnest conductor, where one is known.
    thin: Option<Wire>,
    /// The current through its port in either direction, in microamperes.
    ua: i64,
    /// Its port.
    outlet: Option<Outlet>,
}

struct Protect<'a> {
    model: &'a Model,
    loads: &'a Loads,
    all: Vec<Guarded<'a>>,
}

impl Protect<'_> {
    /// The fuse that the supply of a lead states as its own.
    fn supply_fuse(&self, lead: &FeedLead) -> Option<Stated<i64>> {
        self.model.supplies[lead.supply].fuse
    }

    fn supply_name(&self, lead: &FeedLead) -> String {
        format!("supply `{}`", self.model.supplies[lead.supply].name)
    }
}

/// Whether a fuse is larger than a conductor may carry.
fn over(fuse: Stated<i64>, wire: &Wire) -> bool {
    fuse.value > capacity(wire.gauge).most_ua
}
