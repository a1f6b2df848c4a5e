//! What flows where: from model and plan to currents and voltages, and to what must be said of them.
//!
//! Each data line carries its power along with the data. [`net`] makes ladders of conductor segments out of what is
//! wired, [`solve`] solves them, [`study`](mod@study) reads currents and voltages off, [`suggest`](mod@suggest) finds
//! where to feed a line in addition and [`cure`](mod@cure) what else would help. Outside the solver everything is whole
//! numbers of small units. A display that names no supply, fuse or circuit has nothing to be held against and is left
//! alone; one that names fuses but no supply is taken to have its voltage at each port.

mod build;
mod cure;
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
use crate::loads::{Cure, From, Loads, Section, Study, Verdict};
use crate::model::{FeedLead, Model};
use crate::plan::Plan;
use crate::rules::power::{circuit, fuse, gauge, idle, supply, voltage};
use crate::source::Span;
use cure::Line;
use net::{FULL, Nets, nets};
use study::study;
use suggest::{Compile, Help, Trial, helps};

/// Lines for which a cure is looked for: nobody reads more of them.
const MOST_CURES: usize = 40;

/// Displays that are compiled in all to see whether thicker leads help.
const MOST_TRIALS: u32 = 60;

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

/// All that is found but for voltages, and what was solved where those are to be told.
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

/// What helps lines that get too little.
struct Cures<'a> {
    model: &'a Model,
    plan: &'a Plan,
    nets: &'a Nets,
    loads: &'a Loads,
    /// The level of all nodes, where one is asked for.
    all: Option<u32>,
    compile: &'a Compile<'a>,
    trial: Option<Trial<'a>>,
    allowed: Option<Vec<Help>>,
    left: usize,
}

impl<'a> Cures<'a> {
    fn new(
        (model, plan, nets, loads): (&'a Model, &'a Plan, &'a Nets, &'a Loads),
        all: Option<u32>,
        compile: &'a Compile<'a>,
    ) -> Self {
        Self {
            model,
            plan,
            nets,
            loads,
            all,
            compile,
            trial: None,
            allowed: None,
            left: MOST_CURES,
        }
    }

    /// What helps a line; at full level, where that is said, injections only.
    fn of(&mut self, index: usize, full: bool) -> Option<Cure> {
        self.left = self.left.checked_sub(1)?;
        if full {
            let study = self.loads.full.as_ref()?;
            let own = |group: &net::Group| group.members.contains(&index);
            let at = (self.compile, Some(FULL));
            let helps = helps(self.model, self.nets, study, at, own);
            return Some(self.injections(&helps, index, study));
        }
        let helps = self.allowed.take();
        let helps = helps.unwrap_or_else(|| self.helps_allowed());
        let mut cure = self.injections(&helps, index, &self.loads.allowed);
        self.allowed = Some(helps);
        let group = self.nets.group_of(index)?;
        if cure.told_at.is_none() && !suggest::is_huge(self.nets, group) {
            let trial = self.trial.take();
            let fresh = || Trial::new(self.model, self.compile, MOST_TRIALS);
            let mut trial = trial.unwrap_or_else(fresh);
            let mut line = Line::new(self.model, self.nets, group, index, self.all);
            cure.lead = line.thicker_lead(&mut trial);
            if self.all.is_none() {
                cure.level = line.lower_level(self.plan, self.nets, &trial);
            }
            self.trial = Some(trial);
        }
        Some(cure)
    }

    /// For the lines whose findings come first.
    fn helps_allowed(&self) -> Vec<Help> {
        let study = &self.loads.allowed;
        let dark = |index: &usize| {
            let section = study.sections.get(*index);
            section.is_some_and(|section| section.dark.is_some() && section.from != From::Port)
        };
        let first: Vec<usize> = (0..study.sections.len())
            .filter(dark)
            .take(MOST_CURES)
            .collect();
        let wanted = |group: &net::Group| group.members.iter().any(|at| first.contains(at));
        helps(
            self.model,
            self.nets,
            study,
            (self.compile, self.all),
            wanted,
        )
    }

    fn injections(&self, helps: &[Help], index: usize, study: &Study) -> Cure {
        let own = |help: &&Help| help.lines.iter().any(|line| line.0 == index);
        let Some(help) = helps.iter().find(own) else {
            return Cure::default();
        };
        let dark = |at: usize| study.sections.get(at).is_some_and(|one| one.dark.is_some());
        let mut lines = help.lines.iter().map(|line| line.0);
        let first = lines.find(|at| dark(*at));
        let why_not = match &help.verdict {
            Verdict::Refused(reason) => Some(reason.clone()),
            Verdict::Fewest | Verdict::Found => None,
        };
        Cure {
            inject: help.all(),
            told_at: first.filter(|first| *first != index && why_not.is_none()),
            why_not,
            ..Cure::default()
        }
    }
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
