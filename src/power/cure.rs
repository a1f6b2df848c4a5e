//! What else would help a line whose nodes get too little: a thicker lead, or a lower level. Each is tried in a copy of
//! the display before it is offered.

use super::net::{Group, Nets, Stretch};
use super::rules;
use super::solve::{Ladder, Solved};
use super::study::{Part, solved};
use super::suggest::Trial;
use crate::cable::thicker;
use crate::diagnostic::{Diagnostic, Sink};
use crate::model::{FeedLead, Model};
use crate::plan::Plan;
use crate::unit::Gauge;

/// A line of a group, with all that it is joined to by itself.
pub struct Line<'a> {
    model: &'a Model,
    nets: Nets,
    group: Group,
    /// The line, as an index of the group's stretches.
    index: usize,
    /// The same, as an index of all stretches.
    stretch: usize,
}

impl<'a> Line<'a> {
    /// A stretch of a group; its nodes and those of its group at `all` (thousandths of a percent), where that is said.
    #[must_use]
    pub fn new(
        model: &'a Model,
        nets: &Nets,
        group: &Group,
        stretch: usize,
        all: Option<u32>,
    ) -> Self {
        let mut members = group.members.iter();
        let index = members.position(|index| *index == stretch).unwrap_or(0);
        let members = group.members.iter();
        let members = members.filter_map(|index| nets.stretches.get(*index));
        let mut stretches: Vec<Stretch> = members.cloned().collect();
        for stretch in &mut stretches {
            stretch.level = stretch.level(all);
        }
        Self {
            model,
            group: Group {
                members: (0..stretches.len()).collect(),
                ..group.clone()
            },
            nets: Nets::new(nets.makes.clone(), stretches, Vec::new()),
            index,
            stretch,
        }
    }

    /// The thinnest of the thicker conductors with which its `power` lead is enough, and nothing else is found.
    pub fn thicker_lead(&mut self, trial: &mut Trial<'_>) -> Option<Gauge> {
        let lead = self.group.lead?;
        let power = self.group.power? as usize;
        let found = thicker(lead.gauge).find(|gauge| {
            self.group.lead = Some(FeedLead {
                gauge: *gauge,
                ..lead
            });
            self.holds() && {
                let mut copy = self.model.clone();
                if let Some(power) = copy.powers.get_mut(power) {
                    power.lead.gauge = *gauge;
                }
                trial.compiled(&copy).is_some_and(|(_, findings)| {
                    let clean = trial.first_new(&findings, true).is_none();
                    clean && self.is_cured(trial, &findings)
                })
            }
        });
        self.group.lead = Some(lead);
        found
    }

    /// Whether the line's own finding is there no more.
    fn is_cured(&self, trial: &Trial<'_>, findings: &[Diagnostic]) -> bool {
        let at = self.own().and_then(|stretch| stretch.at);
        trial.has_fewer(findings, "power/voltage", at.unwrap_or_default())
    }

    fn own(&self) -> Option<&Stretch> {
        self.nets.stretches.get(self.index)
    }

    /// The highest whole percent at which it holds, and nothing else is found; `None` where not even 1 % does.
    pub fn lower_level(&mut self, plan: &Plan, nets: &Nets, trial: &Trial<'_>) -> Option<u32> {
        const PERCENT: u32 = 1_000;
        let now = self.own()?.level;
        let (mut good, mut bad) = (0, now.div_ceil(PERCENT));
        while bad - good > 1 {
            let middle = good.midpoint(bad);
            self.nets.stretches.get_mut(self.index)?.level = middle * PERCENT;
            if self.holds() {
                good = middle;
            } else {
                bad = middle;
            }
        }
        self.nets.stretches.get_mut(self.index)?.level = now;
        let level = (good > 0).then_some(good * PERCENT)?;
        let mut dimmed = nets.clone();
        dimmed.stretches.get_mut(self.stretch)?.level = level;
        let mut sink = Sink::default();
        rules(self.model, plan, &dimmed, &mut sink);
        let findings = sink.finish();
        let clean = trial.first_new(&findings, true).is_none();
        (clean && self.is_cured(trial, &findings)).then_some(level)
    }

    /// Whether the line has its voltage, all that it is joined to being solved with it.
    fn holds(&self) -> bool {
        let Some(parts) = solved(self.model, &self.nets, &self.group, None) else {
            return false;
        };
        let stretches = self.nets.stretches.iter().enumerate();
        let held = stretches.filter(|(_, stretch)| !stretch.left_out);
        let mut mine = held.map(|(index, _)| index).zip(&parts);
        let mine = mine.find(|(index, _)| *index == self.index);
        mine.is_some_and(|(_, part): (usize, &Part)| holds(&part.ladder, &part.solved))
    }
}

fn holds(ladder: &Ladder, solved: &Solved) -> bool {
    let mut rows = ladder.points.iter().zip(solved.volts.iter().skip(1));
    rows.all(|(point, volts)| {
        let draws = point.draw.amps > 0.0 || point.draw.watts > 0.0;
        !draws || *volts >= point.draw.floor
    })
}
