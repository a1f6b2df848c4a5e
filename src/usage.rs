//! What a finished plan uses: slots of each universe, references to strings, what became of the
//! strings of the lock. It is for rules and tables, and decides nothing.

mod names;
mod overlaps;

pub use names::*;
pub use overlaps::*;

use crate::grid::{Body, Grid};
use crate::keyed::Keyed;
use crate::model::{ControllerId, Model, Output, PieceKind, StringId};
use crate::plan::{Placed, Plan, PortPlan};
use crate::source::Span;

/// A universe as one controller uses it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct UniverseUse {
    /// The universe, from 1.
    pub universe: u32,
    /// The controller whose strings lie there. A string that shows another's data does not count.
    pub controller: ControllerId,
    /// Slots in use, padding left out.
    pub used: u32,
    /// The first string there.
    pub first: StringId,
}

/// A display without errors has fewer pieces of strings in universes: strings and universes are
/// bounded, and each slot is used once. Pieces past this are left out; their slots clash, which is
/// reported.
const MOST_PIECES: usize = 600_000;

/// The universes in use, by universe, then by controller.
#[must_use]
pub fn universes(model: &Model, plan: &Plan) -> Vec<UniverseUse> {
    let mut rows: Vec<UniverseUse> = Vec::new();
    for port in &plan.ports {
        let controller = &model.controllers[port.controller];
        let grid = Grid::of_output(model, controller, port.output);
        for (id, placed) in own_strings(model, plan, port) {
            let Some(body) = Body::of(model, id) else {
                continue;
            };
            for segment in grid.segments(placed.start, body) {
                let universe = grid.universe(segment.start);
                if rows.len() >= MOST_PIECES || universe > *crate::protocol::UNIVERSES.end() {
                    break;
                }
                let row = UniverseUse {
                    universe,
                    controller: port.controller,
                    used: (segment.end - segment.start) as u32,
                    first: id,
                };
                // Most neighbouring strings share a universe; one row is enough for them.
                if !rows.last_mut().is_some_and(|last| joins(&row, last)) {
                    rows.push(row);
                }
            }
        }
    }
    let key = |row: &UniverseUse| (row.universe, row.controller);
    if !rows.is_sorted_by_key(key) {
        rows.sort_by_key(key);
        rows.dedup_by(|row, kept| joins(row, kept));
    }
    rows
}

/// Adds a row to the one before it, if both have the same universe and controller.
fn joins(row: &UniverseUse, kept: &mut UniverseUse) -> bool {
    let same = (row.universe, row.controller) == (kept.universe, kept.controller);
    if same {
        kept.used = kept.used.saturating_add(row.used);
    }
    same
}

/// A universe that a controller listens to.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Heard {
    /// The universe, from 1.
    pub universe: u32,
    /// The highest slot that it needs, from 1.
    pub highest: u32,
}

/// The universes that a controller must listen to, by number: those of its own strings, and those
/// of strings whose data its strings show.
#[must_use]
pub fn heard(model: &Model, plan: &Plan, id: ControllerId) -> Vec<Heard> {
    let controller = &model.controllers[id];
    let ports = plan.ports_of(id);
    let mut laid: Vec<(u64, u64, Output, StringId)> =
        Vec::with_capacity(ports.iter().map(|port| port.pieces.len()).sum());
    for port in ports {
        for (id, _) in strings(port) {
            let placed = plan.of(id);
            laid.extend(placed.map(|placed| (placed.start, placed.end, port.output, id)));
        }
    }
    // Strings with the same data lie on the same slots; one of them is enough.
    laid.sort_unstable();
    laid.dedup_by_key(|(start, end, ..)| (*start, *end));
    let mut rows: Vec<Heard> = Vec::new();
    for (start, _, output, id) in laid {
        let grid = Grid::of_output(model, controller, output);
        let Some(body) = Body::of(model, id) else {
            continue;
        };
        for segment in grid.segments(start, body) {
            let row = Heard {
                universe: grid.universe(segment.start),
                highest: grid.offset(segment.end - 1) as u32 + 1,
            };
            if rows.len() >= MOST_PIECES || row.universe > *crate::protocol::UNIVERSES.end() {
                break;
            }
            if !rows.last_mut().is_some_and(|last| widens(&row, last)) {
                rows.push(row);
            }
        }
    }
    if !rows.is_sorted() {
        rows.sort_unstable();
        rows.dedup_by(|row, kept| widens(row, kept));
    }
    rows
}

/// Adds a row to the one before it, if both have the same universe.
fn widens(row: &Heard, kept: &mut Heard) -> bool {
    let same = row.universe == kept.universe;
    if same {
        kept.highest = kept.highest.max(row.highest);
    }
    same
}

/// The placed strings of an output that have slots of their own.
pub fn own_strings<'a>(
    model: &'a Model,
    plan: &'a Plan,
    port: &'a PortPlan,
) -> impl Iterator<Item = (StringId, &'a Placed)> {
    strings(port).filter_map(|(id, _)| {
        let placed = plan.of(id)?;
        (model.strings[id].same_as.is_none()).then_some((id, placed))
    })
}

/// The strings of an output in chain order, each with its reference in the wire.
pub fn strings(port: &PortPlan) -> impl Iterator<Item = (StringId, Span)> {
    port.pieces.iter().filter_map(|piece| match piece.piece.kind {
        PieceKind::String(id, _) => Some((id, piece.piece.at)),
        PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    })
}

/// For each string the place of its reference in a wire, and of its pin if it has one.
#[must_use]
pub fn places(model: &Model, plan: &Plan) -> Keyed<StringId, (Span, Option<Span>)> {
    let mut places = model.strings.map(|_| (Span::default(), None));
    for piece in plan.ports.iter().flat_map(|port| &port.pieces) {
        if let PieceKind::String(id, pin) = piece.piece.kind {
            places[id] = (piece.piece.at, pin.map(|pin| pin.at));
        }
    }
    places
}

/// The universes of a string's output, as its controller fills them.
#[must_use]
pub fn grid_of(model: &Model, plan: &Plan, id: StringId) -> Option<Grid> {
    let port = plan.port_of(id)?;
    let controller = &model.controllers[port.controller];
    Some(Grid::of_output(model, controller, port.output))
}

/// The controller that a string hangs on.
#[must_use]
pub fn controller_of(plan: &Plan, id: StringId) -> Option<ControllerId> {
    plan.port_of(id).map(|port| port.controller)
}

/// What became of the strings that the lock holds.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Changes {
    /// Strings that lie where they did.
    pub kept: Vec<StringId>,
    /// Strings that lie elsewhere, as [`crate::plan::Past::moves`] has them.
    pub moved: Vec<StringId>,
    /// Strings that the lock does not hold.
    pub new: Vec<StringId>,
}

/// Sorts the placed strings by what became of them; `None` where there is no lock.
#[must_use]
pub fn changes(plan: &Plan) -> Option<Changes> {
    let past = plan.past.as_ref()?;
    let mut changes = Changes {
        moved: past.moves.iter().map(|moved| moved.string).collect(),
        ..Changes::default()
    };
    changes.moved.sort_unstable();
    for id in (0..plan.placed.len()).map(StringId::from) {
        if plan.of(id).is_none() || changes.moved.binary_search(&id).is_ok() {
            continue;
        }
        match past.of(id) {
            Some(_) => changes.kept.push(id),
            None => changes.new.push(id),
        }
    }
    Some(changes)
}
