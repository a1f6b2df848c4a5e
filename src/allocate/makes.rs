//! What strings on a port have in common, which outputs wires name, where something lay before.

use super::chains::Seat;
use super::outlets::{OutletRoom, Outlets, pieces};
use super::seek::Homes;
use crate::limits::Load;
use crate::model::{
    Addressing, ChipId, ControllerId, Model, Output, PieceKind, ReceiverId, StringId, Target,
};
use crate::plan::{Past, Was};
use std::collections::BTreeSet;

/// What strings that share a port have in common: chip, voltage, and bits and slots of a node.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct Make {
    chip: Option<ChipId>,
    volts: Option<i64>,
    bits: u32,
    slots: u32,
}

impl Make {
    /// That of a string; `None` for a fixture.
    pub fn of(model: &Model, id: StringId) -> Option<Self> {
        model.node_of(id).map(|node| Self {
            chip: node.chip.map(|chip| chip.value),
            volts: node.volts.map(|volts| volts.value),
            bits: node.bits,
            slots: node.slots,
        })
    }
}

/// Which makes of node hang on a port.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Hangs {
    /// None.
    Nothing,
    /// One.
    One(Make),
    /// Several.
    Unlike,
}

/// Controllers and receivers that a wire names.
pub(super) struct Named {
    /// Controllers, including those of the receivers.
    pub controllers: BTreeSet<ControllerId>,
    /// Receivers.
    pub receivers: BTreeSet<ReceiverId>,
}

impl Named {
    /// Of a display.
    pub fn of(model: &Model) -> Self {
        let mut named = Self { controllers: BTreeSet::new(), receivers: BTreeSet::new() };
        for line in &model.lines {
            let receiver = match line.target {
                Target::Port(id, _, receiver) => {
                    named.controllers.insert(id);
                    receiver
                }
                Target::Dmx(id, _) | Target::Controller(id) => {
                    named.controllers.insert(id);
                    None
                }
                Target::Receiver(id) => Some(id),
                Target::Any => None,
            };
            if let Some(id) = receiver {
                named.receivers.insert(id);
                let of = model.receivers.as_slice().get(id.index()).map(|r| r.controller);
                named.controllers.extend(of);
            }
        }
        named
    }
}

impl Outlets<'_> {
    /// Marks the outputs where a string that keeps its output, or had it, moves if a line joins.
    pub fn keep(&mut self, seats: &[Option<Seat>], past: &Past, homes: &Homes) {
        let model = self.model;
        for (line, seat) in model.lines.iter().zip(seats) {
            let Some(seat) = seat else {
                continue;
            };
            let addressing = model.controller(seat.controller).map(|c| c.addressing);
            let lay = pieces(model, &line.pieces).any(|piece| match piece {
                PieceKind::String(id, _) => past.of(id).is_some_and(|was| {
                    (was.controller, was.output) == (Some(seat.controller), seat.output)
                }),
                PieceKind::Skip(_) | PieceKind::Lead(..) => false,
            });
            if addressing != Some(Addressing::PerProp)
                && lay
                && let Some(at) = self.find(seat.controller, seat.output)
                && let Some(outlet) = self.rows.get_mut(at)
            {
                outlet.kept = true;
            }
        }
        for (row, _) in homes.values() {
            let unbroken = |outlet: &&mut OutletRoom| {
                let controller = model.controller(outlet.controller);
                controller.is_some_and(|one| one.addressing != Addressing::PerProp)
            };
            if let Some(outlet) = self.rows.get_mut(*row).filter(unbroken) {
                outlet.kept = true;
            }
        }
        let new = model.lines.iter().zip(seats).enumerate();
        let new = new.filter(|(index, (line, seat))| {
            line.target.is_open() && seat.is_none() && !homes.contains_key(index)
        });
        let mut load = Load::default();
        for piece in new.flat_map(|(_, (line, _))| pieces(model, &line.pieces)) {
            load.add(model, piece);
        }
        for (id, controller) in model.controllers.pairs() {
            if controller.addressing == Addressing::Consecutive {
                let free = || is_free_after(model, past, id, load.slots);
                self.keep_before_last(id.index(), free);
            }
        }
    }

    /// Marks the pixel ports of a controller up to the last on which something lay: on a
    /// `consecutive` controller, what joins there moves all after it. What joins the controller's
    /// last port moves nothing if the room after it is `free`.
    fn keep_before_last(&mut self, controller: usize, free: impl FnOnce() -> bool) {
        let span = self.spans.get(controller).cloned().unwrap_or(0..0);
        let rows = self.rows.get_mut(span).unwrap_or(&mut []);
        let used = |row: &OutletRoom| matches!(row.output, Output::Pixel(_)) && row.kept;
        let last = rows.iter().rposition(used).unwrap_or(0);
        let more = |row: &OutletRoom| matches!(row.output, Output::Pixel(_));
        let is_last = !rows.iter().skip(last + 1).any(more);
        for row in rows.iter_mut().take(last) {
            row.kept = true;
        }
        if let Some(row) = rows.get_mut(last).filter(|row| row.kept && is_last && free()) {
            row.kept = false;
        }
    }
}

/// Whether there is room for so many slots after the pixel strings of a `consecutive` controller:
/// nothing lay there and nothing is reserved. A string may have to begin in the next universe, so
/// twice the room is asked for.
fn is_free_after(model: &Model, past: &Past, id: ControllerId, slots: u64) -> bool {
    let own = |was: &&Was| was.controller == Some(id) && matches!(was.output, Output::Pixel(_));
    let all = || past.was.iter().flatten();
    let end = all().filter(own).map(Was::end).max().unwrap_or(0);
    let universe = model.display.universe_slots;
    let others = all().filter(|was| !own(was)).map(|was| was.start);
    let reserved = model.reserved_universes.iter().map(|row| universe.begin(row.first));
    let next = others.chain(reserved).filter(|start| *start >= end).min();
    let needed = (slots + universe.each()).saturating_mul(2);
    next.is_none_or(|next| next - end > needed)
}
