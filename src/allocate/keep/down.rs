//! Lays the units of a controller, and its strings without a choice: the pinned ones.

use super::units::{Form, Unit};
use super::{Keeper, Old};
use crate::allocate::addresses::{Layer, Run};
use crate::allocate::chain::{Chain, items};
use crate::allocate::dmx;
use crate::grid::Grid;
use crate::model::{Addressing, Controller, Output};
use crate::plan::{ControllerPlan, PortPlan, Why};

impl Layer<'_> {
    /// Lays a controller of which something stays.
    pub fn kept(
        &mut self,
        keeper: &mut Keeper<'_>,
        index: usize,
        declared: &Controller,
        plan: &ControllerPlan,
    ) {
        let grid = Grid::of(self.model, declared);
        let begin = grid.begin(plan.begins);
        let starts = keeper.place(self.model, self.ports, &self.fixed, index, begin);
        let stays = keeper.stays(index);
        let old = keeper.old;
        let run = |owner: u32| Run { grid, controller: index, declared, owner, first: false };
        let mut covered = vec![false; plan.ports.len()];
        for ((unit, start), stays) in keeper.units_of(index).iter().zip(starts).zip(stays) {
            let mut at = start;
            // The first string of what moves as a whole is at a free place; the others follow it.
            let mut why = if stays { Why::Follows } else { Why::Free };
            for owner in unit.ports.clone() {
                let place = owner.saturating_sub(plan.ports.start) as usize;
                if let Some(covered) = covered.get_mut(place) {
                    *covered = true;
                }
                at = self.unit_on(&run(owner), unit, old, (at, why));
                why = Why::Follows;
            }
        }
        self.laid.clear();
        self.searched = None;
        self.pins = self.fixed.pins(index);
        let mut cursor = begin;
        let mut first = true;
        for (owner, covered) in plan.ports.clone().zip(covered) {
            let ports = self.ports;
            let Some(port) = ports.get(owner as usize) else {
                continue;
            };
            let run = Run { first, ..run(owner) };
            match port.output {
                Output::Dmx(_) if !covered => dmx::kept(self, &run, port, begin, old),
                Output::Pixel(_) if declared.addressing == Addressing::PerProp => {
                    self.pinned_of(&run, port);
                }
                Output::Pixel(_) if !covered => cursor = self.pixel_port(&run, port, cursor),
                Output::Dmx(_) | Output::Pixel(_) => {}
            }
            first = first && declared.addressing != Addressing::Consecutive && !self.took(port);
        }
        self.tell_kept(old, index, plan);
    }

    /// Lays what a unit has on one output; returns where it goes on.
    fn unit_on(&mut self, run: &Run<'_>, unit: &Unit, old: &Old<'_>, (at, why): (u64, Why)) -> u64 {
        let ports = self.ports;
        let Some(port) = ports.get(run.owner as usize) else {
            return at;
        };
        match unit.form {
            Form::Universe => {
                dmx::kept(self, run, port, at, old);
                at
            }
            Form::Single(_) => {
                let Some(item) = unit.items.first() else {
                    return at;
                };
                let stretch = run.grid.lay(at, item.body);
                self.set(run, item, &stretch, Why::Free);
                stretch.end
            }
            Form::Chain => {
                let consecutive = run.declared.addressing == Addressing::Consecutive;
                let items = items(self.model, port, consecutive);
                let chain = Chain::new(run.grid, run.declared, &items);
                self.put(run, &chain, at, why)
            }
        }
    }

    fn pinned_of(&mut self, run: &Run<'_>, port: &PortPlan) {
        for item in items(self.model, port, false) {
            if let Some(pin) = item.pin {
                self.pinned(run, &item, pin);
            }
        }
    }

    /// Marks as kept all strings that lie where they lay.
    fn tell_kept(&mut self, old: &Old<'_>, index: usize, plan: &ControllerPlan) {
        let ports = plan.ports.start as usize..plan.ports.end as usize;
        for port in self.ports.get(ports).unwrap_or(&[]) {
            for (id, _) in crate::usage::strings(port) {
                let target = old.target(id, index);
                if let Some(Some(placed)) = self.placed.get_mut(id.index())
                    && target == Some(placed.start)
                    && !matches!(placed.why, Why::Pinned(_) | Why::SameAs(_))
                {
                    placed.why = Why::Kept;
                }
            }
        }
    }

    /// Notes where a controller of which nothing stays was laid.
    pub fn note(&self, keeper: &mut Keeper<'_>, index: usize, plan: &ControllerPlan) {
        let ports = plan.ports.start as usize..plan.ports.end as usize;
        for port in self.ports.get(ports).unwrap_or(&[]) {
            for (id, _) in crate::usage::strings(port) {
                let own = self.model.string(id).is_some_and(|one| one.same_as.is_none());
                if let Some(Some(placed)) = self.placed.get(id.index()).filter(|_| own) {
                    keeper.note(index, &(placed.start..placed.end.saturating_add(1)));
                }
            }
        }
    }
}
