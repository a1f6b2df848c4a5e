//! Computes currents and voltages from model and plan, and reports what is wrong with them.
//!
//! Each data line carries its power along with the data. [`build`] turns what is wired into rows of
//! conductor segments ([`net`]), [`rails`] solves them, and [`study`](mod@study) reads currents and
//! voltages from the solution. [`suggest`](mod@suggest) finds further points at which to feed a
//! line, [`cure`](mod@cure) other changes that help. Results ([`Loads`]) are whole numbers of small
//! units. A display that names no supply, fuse or circuit leaves nothing to check. In one that
//! names no supply, each port is taken to have its own voltage.

mod build;
mod cure;
mod cures;
mod faults;
mod front;
pub mod make;
mod mesh;
pub mod net;
pub mod network;
pub mod protect;
pub mod rails;
mod rows;
pub mod study;
pub mod suggest;
mod units;
mod unknown;

use crate::diagnostic::Sink;
use crate::loads::{Cure, From, Loads, Section, SectionId, Study};
use crate::model::{FeedLead, Model};
use crate::plan::Plan;
use crate::rules::power::{circuit, fuse, gauge, idle, supply, voltage};
use crate::source::Span;
use build::nets;
use cures::Cures;
use net::{FULL, Nets};
use study::study;
use suggest::Compile;

/// Checks the power of a display against the rules, at the levels that it allows or with all nodes
/// at `all` (thousandths of a percent). Looks for what helps lines that get too little.
pub fn check(model: &Model, plan: &Plan, all: Option<u32>, compile: &Compile<'_>, sink: &mut Sink) {
    if let Some((nets, loads)) = found(model, plan, all, sink) {
        let mut cures = Cures::new((model, plan, &nets, &loads), all, compile);
        let mut cure = |id: SectionId, full: bool| cures.of(id, full);
        voltages((model, plan, &nets, &loads), &mut cure, sink);
    }
}

/// The same check, without looking for help.
pub fn check_only(model: &Model, plan: &Plan, all: Option<u32>, sink: &mut Sink) {
    if let Some((nets, loads)) = found(model, plan, all, sink) {
        voltages((model, plan, &nets, &loads), &mut |_, _| None, sink);
    }
}

/// Reports everything except voltages. Returns what was solved if voltages are to be checked.
fn found(model: &Model, plan: &Plan, all: Option<u32>, sink: &mut Sink) -> Option<(Nets, Loads)> {
    if !stated(model) {
        return None;
    }
    let mut nets = nets(model, plan);
    let long = nets.stretches.map(|one| one.left_out);
    faults::leave_out(model, plan, &mut nets);
    faults::report(model, plan, &mut nets, sink);
    let loads = currents(model, plan, &nets, all, sink);
    if let Some(finding) = unknown::finding(model, plan, &nets, &long, &loads.allowed) {
        sink.push(finding);
    }
    // A display without supplies does not state how power reaches its ports.
    (!model.supplies.is_empty()).then_some((nets, loads))
}

/// Solves the nets and checks all currents against the rules.
fn currents(model: &Model, plan: &Plan, nets: &Nets, all: Option<u32>, sink: &mut Sink) -> Loads {
    let loads = loads(model, nets, all);
    fuse::report(model, plan, &loads, sink);
    protect::report(model, plan, nets, &loads, sink);
    gauge::report(model, &loads, sink);
    idle::report(model, &loads.allowed, sink);
    supply::report(model, &loads, sink);
    circuit::report(model, plan, &loads, sink);
    loads
}

/// Checks currents and voltages of nets whose wrong joins are marked already; looks for no help.
fn rules(model: &Model, plan: &Plan, nets: &Nets, sink: &mut Sink) {
    let loads = currents(model, plan, nets, None, sink);
    voltages((model, plan, nets, &loads), &mut |_, _| None, sink);
}

/// Whether a display names a supply, a circuit or a port's fuse; else there is nothing to check.
fn stated(model: &Model) -> bool {
    let ports = model.controllers.iter().flat_map(|one| &one.ports);
    let mut ports = ports.chain(model.receivers.iter().flat_map(|one| &one.ports));
    !model.supplies.is_empty()
        || !model.circuits.is_empty()
        || ports.any(|port| port.settings.fuse.is_some())
}

fn loads(model: &Model, nets: &Nets, all: Option<u32>) -> Loads {
    let mut stretches = nets.stretches.iter();
    let dimmed = all.is_none() && stretches.any(|stretch| stretch.level < FULL);
    Loads { allowed: study(model, nets, all), full: dimmed.then(|| study(model, nets, Some(FULL))) }
}

/// Currents and voltages of a display, at the levels that it allows or with all nodes at `all`
/// (thousandths of a percent). What is joined wrongly is left out.
#[must_use]
pub fn at(model: &Model, plan: &Plan, all: Option<u32>) -> Study {
    study(model, &sound(model, plan), all)
}

fn sound(model: &Model, plan: &Plan) -> Nets {
    let mut nets = nets(model, plan);
    faults::leave_out(model, plan, &mut nets);
    // These findings are dropped: `check` reports them.
    faults::report(model, plan, &mut nets, &mut Sink::default());
    nets
}

/// Reports each line with a node under its floor; of lines where that is so only at full level, one
/// for each controller. `cure` looks for what helps a line; its flag stands for full level.
fn voltages(
    (model, plan, nets, loads): (&Model, &Plan, &Nets, &Loads),
    cure: &mut dyn FnMut(SectionId, bool) -> Option<Cure>,
    sink: &mut Sink,
) {
    let allowed = &loads.allowed.sections;
    for (id, section) in allowed.pairs() {
        if let Some(low) = section.dark.filter(|_| section.from != From::Port) {
            let cure = cure(id, false);
            let told_at = cure.as_ref().and_then(|cure| cure.told_at);
            let case =
                voltage::Case { section, low, cure, told_at: told_at.map(|other| &allowed[other]) };
            let feed = feed_of(model, nets, id);
            sink.push(voltage::allowed(model, plan, &case, feed));
        }
    }
    let Some(full) = &loads.full else { return };
    let only_full = |(id, section): &(SectionId, &Section)| {
        section.dark.is_some() && allowed[*id].dark.is_none() && section.from != From::Port
    };
    let only_full: Vec<_> = full.sections.pairs().filter(only_full).collect();
    let owner = |section: &Section| plan.ports[section.port].controller;
    for lines in only_full.chunk_by(|a, b| owner(a.1) == owner(b.1)) {
        let lowest = |(_, section): &&(SectionId, &Section)| section.lowest.map(|low| low.uv);
        if let Some((id, section)) = lines.iter().min_by_key(lowest)
            && let Some(low) = section.dark
        {
            let case = voltage::Case { section, low, cure: cure(*id, true), told_at: None };
            sink.push(voltage::at_full(model, &case, lines.len() - 1));
        }
    }
}

/// The statement that feeds a line: its `power`, or the first of its injections.
fn feed_of(model: &Model, nets: &Nets, id: SectionId) -> Option<(Span, FeedLead)> {
    let stretch = &nets.stretches[id];
    match stretch.from {
        From::Power(power) => {
            let power = &model.powers[power];
            Some((power.at, power.lead))
        }
        From::Taps => {
            let injection = &model.injections[stretch.sites.first()?.injection];
            Some((injection.at, injection.lead))
        }
        From::Port | From::Nothing => None,
    }
}
