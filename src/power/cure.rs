//! Changes other than injections that help a line whose nodes get too little: a thicker lead, or a
//! lower level. Each is tried in a copy before it is offered.

use super::net::{Group, NetSection, Nets};
use super::rules;
use super::study::{Levels, holds};
use super::suggest::Trial;
use super::units::{Unit, units};
use crate::cable::thicker;
use crate::diagnostic::{Diagnostic, Sink};
use crate::loads::SectionId;
use crate::model::Model;
use crate::plan::Plan;
use crate::unit::Gauge;

/// A line with all that it is joined to.
pub struct LineCure<'a> {
    model: &'a Model,
    nets: Nets,
    unit: Unit,
    levels: Levels,
    id: SectionId,
}

impl<'a> LineCure<'a> {
    /// For a stretch of a display, with all nodes at `all` (thousandths of a percent) if given.
    #[must_use]
    pub fn new(model: &'a Model, nets: &Nets, id: SectionId, all: Option<u32>) -> Option<Self> {
        let units = units(model, nets);
        let levels = Levels::new(model, nets, &units, all);
        let has = |unit: &Unit| {
            let mut lines = unit.lines.iter().map(|(line, _)| &nets.lines[*line]);
            lines.any(|line| line.stretches().any(|other| other == id))
        };
        Some(Self { model, nets: nets.clone(), unit: units.into_iter().find(has)?, levels, id })
    }

    /// The thinnest thicker conductor of its group's `power` lead with which the line holds, its
    /// own finding goes and no new one appears.
    pub fn thicker_lead(&self, group: &Group, trial: &mut Trial<'_>) -> Option<Gauge> {
        let power = group.power?;
        let mut copy = self.model.clone();
        thicker(self.model.powers[power].lead.gauge).find(|gauge| {
            copy.powers[power].lead.gauge = *gauge;
            self.holds(&copy)
                && trial.compiled(&copy).is_some_and(|(_, findings)| {
                    let clean = trial.first_new(&findings, true).is_none();
                    clean && self.is_cured(trial, &findings)
                })
        })
    }

    /// Whether the line's own finding is gone.
    fn is_cured(&self, trial: &Trial<'_>, findings: &[Diagnostic]) -> bool {
        let at = self.own().at.unwrap_or_default();
        trial.has_fewer(findings, "power/voltage", at)
    }

    fn own(&self) -> &NetSection {
        &self.nets.stretches[self.id]
    }

    /// The highest whole percent under its level at which the line holds. `None` where not even 1 %
    /// does, its own finding stays or a new one appears.
    pub fn lower_level(&mut self, plan: &Plan, trial: &Trial<'_>) -> Option<u32> {
        const PERCENT: u32 = 1_000;
        let (mut good, mut bad) = (0, self.own().level.div_ceil(PERCENT));
        while bad - good > 1 {
            let middle = good.midpoint(bad);
            self.nets.stretches[self.id].level = middle * PERCENT;
            if self.holds(self.model) {
                good = middle;
            } else {
                bad = middle;
            }
        }
        let level = (good > 0).then_some(good * PERCENT)?;
        self.nets.stretches[self.id].level = level;
        let mut sink = Sink::default();
        rules(self.model, plan, &self.nets, &mut sink);
        let findings = sink.finish();
        let clean = trial.first_new(&findings, true).is_none();
        (clean && self.is_cured(trial, &findings)).then_some(level)
    }

    /// Whether the line has its voltage in a display, solved with all that it is joined to.
    fn holds(&self, model: &Model) -> bool {
        holds(model, &self.nets, (&self.unit, &self.levels), self.id)
    }
}
