//! What flows where: from model and plan to currents and voltages, and to what must be said of them.
//!
//! Each data line carries its power along with the data. [`net`] makes ladders of conductor segments out of what is
//! wired, [`solve`] solves them, [`study`](mod@study) reads currents and voltages off, [`suggest`](mod@suggest) finds
//! where to feed a line in addition and [`cure`](mod@cure) what else would help. Outside the solver everything is whole
//! numbers of small units. A display that names no supply, fuse or circuit has nothing to be held against and is left
//! alone; one that names fuses but no supply is taken to have its voltage at each port.

mod build;
mod cure;
mod cures;
mod faults;
mod front;
pub mod make;
mod mesh;
pub mod net;
mod network;
pub mod protect;
mod rails;
mod rows;
pub mod solve;
pub mod study;
pub mod suggest;
mod units;
mod unknown;

use crate::diagnostic::Sink;
use crate::loads::{Cure, From, Loads, Section, Study};
use crate::model::{FeedLead, Model};
use crate::plan::Plan;
use crate::rules::power::{circuit, fuse, gauge, idle, supply, voltage};
use crate::source::Span;
use cures::Cures;
use net::{FULL, Nets, nets};
use study::study;
use suggest::Compile;

/// Holds the power of a display against the rules, at the levels that it allows or with all nodes at `all` (thousandths
/// of a percent), and looks for what helps lines that get too little.
pub fn check(model: &Model, plan: &Plan, all: Option<u32>, compile: &Compile<'_>, sink: &mut Sink) {
    if let Some((nets, loads)) = found(model, plan, all, sink) {
        let mut cures = Cures::new((model, plan, &nets, &loads), all, compile);
        let mut cure = |index: usize, full: bool| cures.of(index, full);
        voltages((model, plan, &nets, &loads), &mut cure, sink);
    }
}

/// Holds the power of a display against the rules, and looks for no help.
pub fn check_only(model: &Model, plan: &Plan, all: Option<u32>, sink: &mut Sink) {
    if let Some((nets, loads)) = found(model, plan, all, sink) {
        voltages((model, plan, &nets, &loads), &mut |_, _| None, sink);
    }
}

/// All that is found but for voltages, and what was solved where those are to be reported.
fn found(model: &Model, plan: &Plan, all: Option<u32>, sink: &mut Sink) -> Option<(Nets, Loads)> {
    if !stated(model) {
        return None;
    }
    let mut nets = nets(model, plan);
    let long: Vec<bool> = nets.stretches.iter().map(|one| one.left_out).collect();
    faults::leave_out(model, plan, &mut nets);
    faults::tell(model, plan, &mut nets, sink);
    let loads = currents(model, plan, &nets, all, sink);
    unknown::tell(model, plan, &nets, &long, &loads.allowed, sink);
    // A display without supplies does not say how power reaches its ports.
    (!model.supplies.is_empty()).then_some((nets, loads))
}

/// Holds all currents against the rules.
fn currents(model: &Model, plan: &Plan, nets: &Nets, all: Option<u32>, sink: &mut Sink) -> Loads {
    let loads = loads(model, nets, all);
    fuse::tell(model, plan, &loads, sink);
    protect::tell(model, plan, nets, &loads, sink);
    gauge::tell(model, &loads, sink);
    idle::tell(model, &loads.allowed, sink);
    supply::tell(model, &loads, sink);
    circuit::tell(model, plan, &loads, sink);
    loads
}

/// All that is found about currents and voltages of nets that are joined rightly.
fn rules(model: &Model, plan: &Plan, nets: &Nets, sink: &mut Sink) {
    let loads = currents(model, plan, nets, None, sink);
    voltages((model, plan, nets, &loads), &mut |_, _| None, sink);
}

/// Whether a display says anything that its currents could be held against.
fn stated(model: &Model) -> bool {
    let fused =
        |ports: &[crate::model::Port]| ports.iter().any(|port| port.settings.fuse.is_some());
    !model.supplies.is_empty()
        || !model.circuits.is_empty()
        || model
            .controllers
            .iter()
            .any(|controller| fused(&controller.ports))
        || model
            .receivers
            .iter()
            .any(|receiver| fused(&receiver.ports))
}

fn loads(model: &Model, nets: &Nets, all: Option<u32>) -> Loads {
    let mut stretches = nets.stretches.iter();
    let dimmed = all.is_none() && stretches.any(|stretch| stretch.level < FULL);
    Loads {
        allowed: study(model, nets, all),
        full: dimmed.then(|| study(model, nets, Some(FULL))),
    }
}

/// Currents and voltages of a display: at the levels it allows, or with all nodes at `all` (thousandths of a percent).
/// What is joined wrongly is left out.
#[must_use]
pub fn at(model: &Model, plan: &Plan, all: Option<u32>) -> Study {
    study(model, &sound(model, plan), all)
}

fn sound(model: &Model, plan: &Plan) -> Nets {
    let mut nets = nets(model, plan);
    faults::leave_out(model, plan, &mut nets);
    // What is wrong has been reported by `check`.
    faults::tell(model, plan, &mut nets, &mut Sink::default());
    nets
}

/// Tells of each line with a node under its floor; `cure` looks for what helps it, at full level where that is said.
fn voltages(
    (model, plan, nets, loads): (&Model, &Plan, &Nets, &Loads),
    cure: &mut dyn FnMut(usize, bool) -> Option<Cure>,
    sink: &mut Sink,
) {
    for (index, section) in loads.allowed.sections.iter().enumerate() {
        if let Some(low) = section.dark.filter(|_| section.from != From::Port) {
            let cure = cure(index, false);
            let other = cure.as_ref().and_then(|cure| cure.told_at);
            let case = voltage::Case {
                section,
                low,
                cure,
                told_at: other.and_then(|other| loads.allowed.sections.get(other)),
            };
            let feed = feed_of(model, nets, index);
            sink.push(voltage::allowed(model, plan, &case, feed));
        }
    }
    let Some(full) = &loads.full else { return };
    let owner = |section: &Section| {
        plan.ports
            .get(section.port as usize)
            .map(|port| port.controller)
    };
    let only_full = full
        .sections
        .iter()
        .zip(&loads.allowed.sections)
        .enumerate();
    let only_full: Vec<(usize, &Section)> = only_full
        .filter(|(_, (full, allowed))| full.dark.is_some() && allowed.dark.is_none())
        .filter(|(_, (full, _))| full.from != From::Port)
        .map(|(index, (full, _))| (index, full))
        .collect();
    for lines in only_full.chunk_by(|a, b| owner(a.1) == owner(b.1)) {
        let worst = lines
            .iter()
            .min_by_key(|(_, section)| section.lowest.map(|low| low.uv));
        if let Some(((index, section), low)) = worst.and_then(|worst| Some((worst, worst.1.dark?)))
        {
            let case = voltage::Case {
                section,
                low,
                cure: cure(*index, true),
                told_at: None,
            };
            sink.push(voltage::at_full(model, &case, lines.len() - 1));
        }
    }
}

/// The statement that a line's power comes from.
fn feed_of(model: &Model, nets: &Nets, index: usize) -> Option<(Span, FeedLead)> {
    let stretch = nets.stretches.get(index)?;
    match stretch.from {
        From::Power(power) => model
            .powers
            .get(power as usize)
            .map(|power| (power.at, power.lead)),
        From::Taps => {
            let injection = model
                .injections
                .get(stretch.sites.first()?.injection as usize)?;
            Some((injection.at, injection.lead))
        }
        From::Port | From::Nothing => None,
    }
}
