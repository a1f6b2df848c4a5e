//! Where a controller's units may lie: what is in the way of a unit, and what it should avoid.

use super::Old;
use super::taken::Taken;
use super::units::{Form, Unit};
use crate::allocate::fixed::Fixed;
use crate::allocate::space::{Block, Blocks};
use crate::grid::Grid;
use crate::model::{Addressing, Align, Controller, Model, PieceKind, Start};
use crate::plan::PortPlan;
use std::ops::Range;

/// The ground for the units of one controller.
pub(super) struct Ground<'a> {
    /// The display.
    pub model: &'a Model,
    /// The outputs in use.
    pub ports: &'a [PortPlan],
    /// What is fixed beforehand.
    pub fixed: &'a Fixed,
    /// The controller.
    pub declared: &'a Controller,
    /// Spare room after ports that stay, by port.
    pub spare: Blocks,
    /// The controller's index.
    pub index: usize,
}

impl Ground<'_> {
    /// Slots that are to be left free after a port.
    pub fn spare_of(&self, port: u32) -> u64 {
        if self.declared.addressing == Addressing::Consecutive {
            return 0;
        }
        let pieces = self.ports.get(port as usize).map(|port| &port.pieces);
        let last = pieces.into_iter().flatten().rev().find_map(|piece| match piece.piece.kind {
            PieceKind::String(id, _) => self.model.node_of(id),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
        last.map_or(0, |node| u64::from(self.model.display.spare_nodes) * u64::from(node.slots))
    }

    /// The channel after what a unit must not lie on.
    pub fn blocked(&self, unit: &Unit, stretch: &Range<u64>, taken: &Taken) -> Option<u64> {
        let taken = taken.touched(self.index, stretch);
        // A consecutive controller steps over what is laid, not over what the display fixes.
        let fixed =
            if self.declared.addressing == Addressing::Consecutive && unit.form == Form::Chain {
                None
            } else {
                // No unit is pinned, so a pin on its own port is in its way too.
                self.fixed.touched(self.index, stretch, None)
            };
        taken.into_iter().chain(fixed.map(|block| block.end)).max()
    }

    /// The channel after what a unit should avoid: spare room of another port, what others ask for.
    pub fn soft(
        &self,
        unit: &Unit,
        stretch: &Range<u64>,
        asked: &Blocks,
        taken: &Taken,
    ) -> Option<u64> {
        let spare = self.spare.touched(stretch, Some(unit.ports.start));
        let grid = Grid::of(self.model, self.declared);
        let owner = u32::try_from(self.index).unwrap_or(u32::MAX);
        let asked = asked.touched(&grid.universes(stretch), Some(owner));
        let taken = taken.touched(self.index, stretch);
        let blocks = spare.into_iter().chain(asked).map(|block| block.end);
        blocks.chain(taken).max()
    }

    /// Units lie alike from two channels that are a multiple of this apart.
    pub fn grid(&self, units: &[Unit]) -> u64 {
        let grid = Grid::of(self.model, self.declared);
        let universes = units.iter().any(|unit| unit.form == Form::Universe);
        match self.declared.align == Align::Off && !universes && grid.is_plain() {
            true => 1,
            false => self.model.display.universe_slots.each(),
        }
    }

    /// The stretches of a window that nothing fixes and nothing has taken.
    pub fn gaps(&self, window: &Range<u64>, taken: &Taken) -> Vec<Range<u64>> {
        let blocked = |stretch: &Range<u64>| {
            let fixed = self.fixed.touched(self.index, stretch, None);
            let fixed = fixed.map(|block| block.end);
            taken.touched(self.index, stretch).into_iter().chain(fixed).max()
        };
        let mut gaps = Vec::new();
        let mut at = window.start;
        while at < window.end {
            if let Some(end) = blocked(&(at..at + 1)) {
                at = end.max(at + 1);
                continue;
            }
            // The longest stretch from here that nothing blocks.
            let (mut low, mut high) = (at + 1, window.end);
            while low < high {
                let middle = high - (high - low) / 2;
                if blocked(&(at..middle)).is_none() {
                    low = middle;
                } else {
                    high = middle - 1;
                }
            }
            gaps.push(at..low);
            at = low;
        }
        gaps
    }
}

/// Which controllers need no new setting if all that they have stays.
pub(super) fn calm(model: &Model, old: &Old<'_>, units: &[Unit]) -> Vec<bool> {
    let mut calm = vec![true; model.controllers.len()];
    let mut unsettle = |controller: usize| {
        if let Some(entry) = calm.get_mut(controller) {
            *entry = false;
        }
    };
    for unit in units {
        let whole = unit.old_slots(old);
        let kept = unit.choices.first().map_or(0, |place| place.kept);
        let same = unit.items.iter().all(|item| {
            let was = old.past.of(item.id);
            was.is_some_and(|was| was.slots >= item.body.slots())
        });
        if kept < whole || !same {
            unsettle(unit.controller);
        }
    }
    for freed in &old.past.freed {
        if let Some(controller) = freed.was.controller {
            unsettle(controller.index());
        }
    }
    calm
}

/// The universes that controllers say they begin with, as many as they need: others avoid them.
pub(super) fn asked(model: &Model, ports: &[PortPlan]) -> Blocks {
    let slots = model.display.universe_slots.each();
    let mut needs = vec![0_u64; model.controllers.len()];
    for port in ports {
        if let Some(need) = needs.get_mut(port.controller.index()) {
            *need = need.saturating_add(u64::from(port.slots));
        }
    }
    let spare = u64::from(model.display.spare_universes);
    let rows = model.controllers.iter().zip(needs).enumerate();
    let rows = rows.filter_map(|(index, (controller, need))| {
        let (first, last) = match controller.start {
            Start::Range(first, last) => (first, u64::from(last)),
            Start::From(first) => {
                (first, u64::from(first.max(1)) - 1 + need.div_ceil(slots) + spare)
            }
            Start::Auto | Start::After(_) => return None,
        };
        let block = Block {
            end: last * slots,
            owner: u32::try_from(index).unwrap_or(u32::MAX),
            at: controller.at,
        };
        Some((u64::from(first.max(1) - 1) * slots, block))
    });
    Blocks::new(rows.collect())
}
