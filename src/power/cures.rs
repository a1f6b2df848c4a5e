//! What helps lines that get too little, for the findings about them.

use super::cure::LineCure;
use super::net::{FULL, Group, Nets};
use super::suggest::{Compile, Help, Trial, helps, is_huge};
use crate::loads::{Cure, From, Loads, Section, SectionId, Study, Verdict};
use crate::model::Model;
use crate::plan::Plan;

/// The most lines for which a cure is looked for: nobody reads more of them.
const MOST_CURES: usize = 40;

/// The most displays that are compiled to see whether thicker leads help.
const MOST_TRIALS: u32 = 60;

/// What helps lines that get too little.
pub struct Cures<'a> {
    model: &'a Model,
    plan: &'a Plan,
    nets: &'a Nets,
    loads: &'a Loads,
    /// The level of all nodes (thousandths of a percent), if one is asked for.
    all: Option<u32>,
    compile: &'a Compile<'a>,
    trial: Option<Trial<'a>>,
    allowed: Option<Vec<Help>>,
    left: usize,
}

impl<'a> Cures<'a> {
    /// Cures for a display whose currents are known.
    #[must_use]
    pub fn new(
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

    /// What helps a line. At `full` level that is injections only.
    pub fn of(&mut self, id: SectionId, full: bool) -> Option<Cure> {
        self.left = self.left.checked_sub(1)?;
        if full {
            let study = self.loads.full.as_ref()?;
            let own = |group: &Group| group.members.contains(&id);
            let at = (self.compile, Some(FULL));
            let helps = helps(self.model, self.nets, study, at, own);
            return Some(injections(&helps, id, study));
        }
        if self.allowed.is_none() {
            self.allowed = Some(self.helps_allowed());
        }
        let helps = self.allowed.as_deref().unwrap_or_default();
        let mut cure = injections(helps, id, &self.loads.allowed);
        let group = self.nets.group(id);
        if cure.told_at.is_none() && !is_huge(self.nets, group) {
            let fresh = || Trial::new(self.model, self.compile, MOST_TRIALS);
            let trial = self.trial.get_or_insert_with(fresh);
            let mut line = LineCure::new(self.model, self.nets, id, self.all)?;
            cure.lead = line.thicker_lead(group, trial);
            if self.all.is_none() {
                cure.level = line.lower_level(self.plan, trial);
            }
        }
        Some(cure)
    }

    /// Injections for the first lines with a finding: at most [`MOST_CURES`].
    fn helps_allowed(&self) -> Vec<Help> {
        let study = &self.loads.allowed;
        let dark = |(_, one): &(SectionId, &Section)| one.dark.is_some() && one.from != From::Port;
        let first: Vec<SectionId> =
            study.sections.pairs().filter(dark).map(|(id, _)| id).take(MOST_CURES).collect();
        let wanted = |group: &Group| group.members.iter().any(|id| first.contains(id));
        helps(self.model, self.nets, study, (self.compile, self.all), wanted)
    }
}

/// The injections that help a line, or why there are none.
fn injections(helps: &[Help], id: SectionId, study: &Study) -> Cure {
    let own = |help: &&Help| help.lines.iter().any(|line| line.0 == id);
    let Some(help) = helps.iter().find(own) else {
        return Cure::default();
    };
    let mut lines = help.lines.iter().map(|line| line.0);
    let first = lines.find(|id| study.sections[*id].dark.is_some());
    let why_not = match &help.verdict {
        Verdict::Refused(reason) => Some(reason.clone()),
        Verdict::Fewest | Verdict::Found => None,
    };
    Cure {
        inject: help.all(),
        told_at: first.filter(|first| *first != id && why_not.is_none()),
        why_not,
        ..Cure::default()
    }
}
