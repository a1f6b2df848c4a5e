//! What flows where: from model and plan to currents and voltages, and to what must be said of them.
//!
//! Each data line carries its power along with the data. [`net`] makes ladders of conductor segments out of what is
//! wired, [`solve`] solves them, [`study`](mod@study) reads currents and voltages off, [`cure`](mod@cure) finds what would help. Outside the
//! solver everything is whole numbers of small units. A display that names no supply, fuse or circuit has nothing to be
//! held against and is left alone; one that names fuses but no supply is taken to have its voltage at each port.

mod build;
mod cure;
mod faults;
pub mod fewest;
mod front;
pub mod make;
mod mesh;
pub mod net;
mod network;
mod places;
mod rails;
mod rows;
pub mod solve;
pub mod study;
mod units;

use crate::diagnostic::Sink;
use crate::loads::{Cure, From, Loads, Remedy, Section, Study};
use crate::model::{FeedLead, Model};
use crate::plan::Plan;
use crate::rules::power::{circuit, fuse, gauge, idle, supply, voltage};
use crate::source::Span;
use cure::Line;
use net::{FULL, Group, Nets, nets};
use study::study;

/// Lines for which a cure is looked for: nobody reads more of them, and each costs some hundred solutions.
const MOST_CURES: usize = 40;

/// Lines that hang together for which one is looked for, in points: what works is far shorter.
const MOST_CURED: u64 = 20_000;

/// Holds the power of a display against the rules: at the levels that it allows, or with all nodes at `all` (thousandths
/// of a percent).
pub fn check(model: &Model, plan: &Plan, all: Option<u32>, sink: &mut Sink) {
    if !stated(model) || model.power_unsure {
        return;
    }
    let mut nets = nets(model, plan);
    faults::tell(model, plan, &mut nets, sink);
    let loads = loads(model, &nets, all);
    fuse::tell(model, plan, &loads, sink);
    gauge::tell(model, &loads, sink);
    idle::tell(model, &loads.allowed, sink);
    supply::tell(model, &loads, sink);
    circuit::tell(model, plan, &loads, sink);
    // A display without supplies does not say how power reaches its ports.
    if !model.supplies.is_empty() && !model.incomplete {
        voltages(model, plan, &nets, (&loads, all), sink);
    }
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
    // What is wrong has been told by `check`.
    faults::tell(model, plan, &mut nets, &mut Sink::default());
    nets
}

fn group_is_huge(nets: &Nets, group: &Group) -> bool {
    let members = group.members.iter();
    let stretches = members.filter_map(|index| nets.stretches.get(*index));
    stretches
        .map(|stretch| u64::from(stretch.points()))
        .sum::<u64>()
        > MOST_CURED
}

/// Injections for a line, and the line where none were found.
#[derive(Debug)]
pub struct Suggestion {
    /// The line.
    pub section: Section,
    /// The injections; empty where none from its own supply would do.
    pub inject: Vec<Remedy>,
}

/// For each line with a node under its floor or a fuse that does not last, the injections that make it pass.
#[must_use]
pub fn suggest(model: &Model, plan: &Plan, all: Option<u32>) -> Vec<Suggestion> {
    let mut nets = sound(model, plan);
    let mut suggestions: Vec<Suggestion> = Vec::new();
    let before = study(model, &nets, all);
    for (index, section) in before.sections.iter().enumerate() {
        let fuse = section.fuse.map_or(i64::MAX, |fuse| fuse.value);
        let passes =
            section.dark.is_none() && !crate::loads::lasts_over(section.port_ua.abs(), fuse);
        if section.left_out || passes || section.from == From::Port {
            continue;
        }
        let Some(group) = nets.group_of(index).cloned() else {
            continue;
        };
        let found = if group_is_huge(&nets, &group) {
            Vec::new()
        } else {
            Line::new(model, &nets, &group, index, all).injections()
        };
        // Lines that share a lead are looked at with what the ones before them were given.
        if let Some(stretch) = nets.stretches.get_mut(index) {
            stretch.sites.extend(found.iter().map(|found| found.site));
            stretch.sites.sort_by_key(|site| site.point);
        }
        suggestions.push(Suggestion {
            section: *section,
            inject: found.into_iter().map(|found| found.remedy).collect(),
        });
    }
    suggestions
}

fn voltages(
    model: &Model,
    plan: &Plan,
    nets: &Nets,
    (loads, all): (&Loads, Option<u32>),
    sink: &mut Sink,
) {
    let mut cures = 0;
    let mut cure = |index: usize, all: Option<u32>| {
        cures += 1;
        let group = nets.group_of(index).filter(|_| cures <= MOST_CURES)?;
        Some(if group_is_huge(nets, group) {
            Cure::default()
        } else {
            Line::new(model, nets, group, index, all).cure()
        })
    };
    for (index, section) in loads.allowed.sections.iter().enumerate() {
        if let Some(low) = section.dark.filter(|_| section.from != From::Port) {
            let case = voltage::Case {
                section,
                low,
                cure: cure(index, all),
            };
            sink.push(voltage::allowed(
                model,
                plan,
                &case,
                feed_of(model, nets, index),
            ));
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
                cure: cure(*index, Some(FULL)),
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
