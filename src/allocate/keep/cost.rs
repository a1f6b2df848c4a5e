//! What a way to hang lines costs: strings that change their port, limits that it breaks, and the
//! slots that move in any case.

use super::Old;
use crate::allocate::chains::Seat;
use crate::model::{
    Addressing, Align, Controller, ControllerId, Model, PieceKind, Start, StringId, Target,
};
use crate::plan::Plan;
use crate::usage;
use std::collections::BTreeMap;

/// The strings of a line.
pub(super) fn strings(model: &Model, line: usize) -> impl Iterator<Item = StringId> {
    let pieces = model.lines.get(line).map(|line| model.pieces_of(line));
    pieces.unwrap_or(&[]).iter().filter_map(|piece| match piece.kind {
        PieceKind::String(id, _) => Some(id),
        PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    })
}

/// Whether a line may stand anywhere on an unbroken port: nothing pinned, stored or another's.
pub(super) fn plain(model: &Model, line: usize) -> bool {
    let pieces = model.lines.get(line).map(|line| model.pieces_of(line));
    pieces.unwrap_or(&[]).iter().all(|piece| match piece.kind {
        PieceKind::String(_, Some(_)) => false,
        PieceKind::String(id, None) => {
            let string = model.string(id);
            string.is_some_and(|one| one.same_as.is_none() && !one.stored)
        }
        PieceKind::Skip(_) | PieceKind::Lead(..) => true,
    })
}

/// How many strings of a line change their port on a seat.
pub(super) fn plugs(model: &Model, old: &Old<'_>, line: usize, seat: Seat) -> u64 {
    let changed = |id: &StringId| {
        let was = old.past.of(*id).filter(|_| !old.afresh(*id));
        was.and_then(|was| Some((was.controller?, was.output)))
            .is_some_and(|was| was != (seat.controller, seat.output))
    };
    strings(model, line).filter(changed).count() as u64
}

/// How many controllers use more universes than they have.
pub(super) fn broken(model: &Model, plan: &Plan) -> u64 {
    let past = |(index, own): (usize, &Controller)| {
        let id = ControllerId::from(index);
        let last = plan.controllers.as_slice().get(index).and_then(|own| own.universes);
        let over =
            matches!((own.start, last), (Start::Range(_, end), Some((_, last))) if last > end);
        let most = own.most_universes.map(|most| most.value as usize);
        over || most.is_some_and(|most| usage::heard(model, plan, id).len() > most)
    };
    model.controllers.iter().enumerate().filter(|one| past(*one)).count() as u64
}

/// Slots that move in any case: of strings without a claim to their place, and of strings of one
/// line that lay otherwise to each other.
pub(super) fn least(model: &Model, old: &Old<'_>) -> u64 {
    let mut least = 0;
    for (index, line) in model.lines.iter().enumerate() {
        let controller = match line.target {
            Target::Port(id, ..) | Target::Dmx(id, _) | Target::Controller(id) => Some(id),
            Target::Receiver(id) => {
                model.receivers.as_slice().get(id.index()).map(|one| one.controller)
            }
            Target::Any => None,
        };
        let rigid = controller.and_then(|id| model.controller(id)).is_some_and(|one| {
            one.addressing != Addressing::PerProp && one.align != Align::Prop && !one.whole_nodes
        });
        let rigid = rigid
            && plain(model, index)
            && !model.display.whole_nodes
            && !matches!(line.target, Target::Dmx(..));
        let mut before = 0;
        let mut all = 0;
        let mut kept: BTreeMap<u64, u64> = BTreeMap::new();
        let mut apart = 0;
        for id in strings(model, index) {
            let own = model.string(id).is_some_and(|one| one.same_as.is_none());
            let slots = u64::from(model.shape_of(id).map_or(0, |shape| shape.slots));
            if let Some(was) = old.past.of(id).filter(|_| own) {
                all += was.slots;
                if old.has_claim(id) {
                    let begins = was.start.wrapping_sub(before);
                    *kept.entry(begins).or_default() += was.slots;
                    apart += was.slots;
                }
            }
            before += slots;
        }
        least += all - if rigid { kept.into_values().max().unwrap_or(0) } else { apart };
    }
    least
}
