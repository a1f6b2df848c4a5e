//! What a finished plan uses: the slots of each universe, stretches that clash, where a string is named. For the
//! rules and the tables; it decides nothing.

use crate::grid::{Body, Grid};
use crate::loads::Remedy;
use crate::model::{
    ControllerId, InjectAt, Model, Output, PieceKind, PowerFeed, Receiver, ReceiverId, StringId,
};
use crate::plan::{Placed, Plan, PortPlan, Why};
use crate::source::Span;
use crate::unit::{Dimension, counted, quantity};
use std::ops::Range;

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

/// No lawful display has more pieces of strings in universes: strings and universes are bounded, and slots are used
/// once. What is past it lies on slots that are told to clash.
const MOST_PIECES: usize = 600_000;

/// The universes in use, by universe, then controller.
#[must_use]
pub fn universes(model: &Model, plan: &Plan) -> Vec<UniverseUse> {
    let mut rows: Vec<UniverseUse> = Vec::new();
    for port in &plan.ports {
        let Some(controller) = model.controller(port.controller) else {
            continue;
        };
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
                // Strings that follow one another mostly share a universe, and need one row for it.
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

/// Adds a row to the one before it, if they are of one universe and controller.
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
    /// The highest slot that it shows, from 1.
    pub highest: u32,
}

/// The universes that a controller must be set up for, by number: those of its own strings, and those of others
/// whose data its strings show.
#[must_use]
pub fn heard(model: &Model, plan: &Plan, id: ControllerId) -> Vec<Heard> {
    let (Some(controller), Some(taken)) = (model.controller(id), plan.controllers.get(id.index()))
    else {
        return Vec::new();
    };
    let ports = taken.ports.start as usize..taken.ports.end as usize;
    let ports = plan.ports.get(ports).unwrap_or(&[]).iter();
    let mut laid: Vec<(u64, u64, Output, StringId)> = ports
        .flat_map(|port| strings(port).map(|(id, _)| (port.output, id)))
        .filter_map(|(output, id)| {
            let placed = plan.of(id)?;
            Some((placed.start, placed.end, output, id))
        })
        .collect();
    // Strings with the same data lie on the same slots; one of them says it all.
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

/// Adds a row to the one before it, if they are of one universe.
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
        let own = model.string(id)?.same_as.is_none();
        plan.of(id).filter(|_| own).map(|placed| (id, placed))
    })
}

/// The strings of an output in chain order, each with the reference in the wire.
pub fn strings(port: &PortPlan) -> impl Iterator<Item = (StringId, Span)> {
    port.pieces
        .iter()
        .filter_map(|piece| match piece.piece.kind {
            PieceKind::String(id, _) => Some((id, piece.piece.at)),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        })
}

/// For each string the place of its pin, or that of its reference; and whether it is pinned.
#[must_use]
pub fn places(model: &Model, plan: &Plan) -> Vec<(Span, Option<Span>)> {
    let mut places = vec![(Span::default(), None); model.strings.len()];
    for piece in plan.ports.iter().flat_map(|port| &port.pieces) {
        if let PieceKind::String(id, pin) = piece.piece.kind
            && let Some(place) = places.get_mut(id.index())
        {
            *place = (piece.piece.at, pin.map(|pin| pin.at));
        }
    }
    places
}

/// Two strings that lie on one slot.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Clash {
    /// The one that lies there first.
    pub holder: StringId,
    /// The one that comes onto it.
    pub comer: StringId,
    /// The first slot of both, as a channel from 0.
    pub from: u64,
    /// How many slots they share.
    pub slots: u64,
}

/// Bits of an index in a packed key; 400,000 strings need 19.
const INDEX_BITS: u32 = 20;

/// Strings with slots of their own, by where they begin.
#[must_use]
pub fn by_start(model: &Model, plan: &Plan) -> Vec<StringId> {
    let strings = model.strings.iter().zip(&plan.placed).enumerate();
    let mut keys: Vec<u64> = strings
        .filter_map(|(index, (string, placed))| {
            let start = placed.filter(|_| string.same_as.is_none())?.start;
            // Far beyond the last universe, order no longer matters.
            Some(start.min(u64::MAX >> INDEX_BITS) << INDEX_BITS | index as u64)
        })
        .collect();
    keys.sort_unstable();
    let mask = (1 << INDEX_BITS) - 1;
    keys.into_iter()
        .map(|key| StringId::from((key & mask) as usize))
        .collect()
}

/// All clashes of strings that must not share a slot: each string with the one of its controller that reaches furthest
/// before it, and each pinned one with the pinned one of another controller that does.
///
/// Strings of two controllers that run into each other without two pins are left out: there the universes clash.
#[must_use]
pub fn clashes(model: &Model, plan: &Plan, by_start: &[StringId]) -> Vec<Clash> {
    let mut clashes = Vec::new();
    let mut furthest: Vec<Option<(StringId, u64)>> = vec![None; model.controllers.len()];
    let mut pinned: Option<(StringId, u64)> = None;
    for id in by_start {
        let (Some(placed), Some(controller)) = (plan.of(*id), controller_of(plan, *id)) else {
            continue;
        };
        let reaches =
            |before: Option<(StringId, u64)>| before.filter(|(_, end)| placed.start <= *end);
        let further =
            |before: Option<(StringId, u64)>| before.is_none_or(|(_, end)| placed.end > end);
        if let Some(own) = furthest.get_mut(controller.index()) {
            let holder = reaches(*own);
            clashes.extend(holder.and_then(|(holder, _)| clash(model, plan, holder, *id)));
            if further(*own) {
                *own = Some((*id, placed.end));
            }
        }
        if matches!(placed.why, Why::Pinned(_)) {
            let holder = reaches(pinned)
                .filter(|(holder, _)| controller_of(plan, *holder) != Some(controller));
            clashes.extend(holder.and_then(|(holder, _)| clash(model, plan, holder, *id)));
            if further(pinned) {
                pinned = Some((*id, placed.end));
            }
        }
    }
    clashes
}

/// The slots that two strings share; `None` where only padding of the one lies under the other.
fn clash(model: &Model, plan: &Plan, holder: StringId, comer: StringId) -> Option<Clash> {
    let mut ours = used(model, plan, holder)?.peekable();
    let mut from = None;
    let mut slots = 0;
    for theirs in used(model, plan, comer)? {
        while let Some(segment) = ours.peek() {
            let shared = segment.start.max(theirs.start)..segment.end.min(theirs.end);
            if shared.start < shared.end {
                from = from.or(Some(shared.start));
                slots += shared.end - shared.start;
            }
            if segment.end > theirs.end {
                break;
            }
            ours.next();
        }
    }
    from.map(|from| Clash {
        holder,
        comer,
        from,
        slots,
    })
}

fn used(model: &Model, plan: &Plan, id: StringId) -> Option<impl Iterator<Item = Range<u64>>> {
    let grid = grid_of(model, plan, id)?;
    // Beyond the last universe all is told by `address/range`.
    let most = *crate::protocol::UNIVERSES.end() as usize;
    Some(
        grid.segments(plan.of(id)?.start, Body::of(model, id)?)
            .take(most),
    )
}

/// The universes of a string's output, as its controller fills them.
#[must_use]
pub fn grid_of(model: &Model, plan: &Plan, id: StringId) -> Option<Grid> {
    let port = plan.ports.get(plan.of(id)?.port as usize)?;
    let controller = model.controller(port.controller)?;
    Some(Grid::of_output(model, controller, port.output))
}

/// The controller that a string hangs on.
#[must_use]
pub fn controller_of(plan: &Plan, id: StringId) -> Option<ControllerId> {
    let port = plan.ports.get(plan.of(id)?.port as usize)?;
    Some(port.controller)
}

/// An output as a wire names it: `boathouse.3`, `boathouse.dmx1`.
#[must_use]
pub fn output_name(model: &Model, controller: ControllerId, output: Output) -> String {
    let name = model.controller(controller).map_or("", |c| &*c.name);
    format!("{name}.{}", output.name())
}

/// A pixel port as it is named where its cable comes out: by its receiver where it has one, `pond.1`.
#[must_use]
pub fn port_name(
    model: &Model,
    controller: ControllerId,
    number: u32,
    receiver: Option<ReceiverId>,
) -> String {
    match receiver.and_then(|id| model.receivers.get(id.index())) {
        Some(receiver) => {
            let own = (number + 1).saturating_sub(receiver.first);
            format!("{}.{own}", receiver.name)
        }
        None => output_name(model, controller, Output::Pixel(number)),
    }
}

/// An output as it is named where one of its strings is plugged in: by its receiver where it has one. Without a string, by
/// the receiver that all its strings share.
#[must_use]
pub fn plug_name(model: &Model, port: &PortPlan, string: Option<StringId>) -> String {
    let Output::Pixel(number) = port.output else {
        return output_name(model, port.controller, port.output);
    };
    let mut receivers = port
        .pieces
        .iter()
        .filter_map(|piece| match piece.piece.kind {
            PieceKind::String(id, _) if string.is_none_or(|string| string == id) => {
                Some(piece.receiver)
            }
            PieceKind::String(..) | PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
    let first = receivers.next().flatten();
    let shared = first.filter(|first| receivers.all(|other| other == Some(*first)));
    port_name(model, port.controller, number, shared)
}

/// The plug of a string; empty for one without a place.
#[must_use]
pub fn plug_of(model: &Model, plan: &Plan, id: StringId) -> String {
    let port = plan
        .of(id)
        .and_then(|placed| plan.ports.get(placed.port as usize));
    port.map_or_else(String::new, |port| plug_name(model, port, Some(id)))
}

/// Strings of one prop as a chain names them: neighbours as a range.
#[must_use]
pub fn references(model: &Model, strings: &[StringId]) -> String {
    let of = |id: StringId| {
        model
            .string(id)
            .map(|string| (string.member, string.number))
    };
    let joins = |a: &StringId, b: &StringId| {
        let (Some((member, number)), Some(next)) = (of(*a), of(*b)) else {
            return false;
        };
        // Of a member with several strings, those; else members one by one.
        match model.name_of(*a).contains("].") || member == 0 {
            true => next == (member, number + 1),
            false => next == (member + 1, number),
        }
    };
    let runs = strings.chunk_by(joins).filter_map(|run| {
        let (first, last) = (model.name_of(*run.first()?), model.name_of(*run.last()?));
        let from = first.rfind(['[', '.']).map(|at| at + 1);
        Some(match from {
            Some(from) if run.len() > 1 => {
                let end = first.trim_end_matches(']');
                format!("{end}..{}", last.get(from..).unwrap_or(""))
            }
            _ => first,
        })
    });
    runs.collect::<Vec<_>>().join(" -> ")
}

/// An output as the lock has it, by the receiver where just one carries it.
#[must_use]
pub fn old_plug(model: &Model, controller: ControllerId, output: Output) -> String {
    let Output::Pixel(number) = output else {
        return output_name(model, controller, output);
    };
    let carries = |receiver: &Receiver| {
        receiver.controller == controller && (receiver.first..=receiver.last).contains(&number)
    };
    let mut carriers = (model.receivers.iter().enumerate()).filter(|(_, one)| carries(one));
    let only = carriers.next().filter(|_| carriers.next().is_none());
    port_name(
        model,
        controller,
        number,
        only.map(|(index, _)| ReceiverId::from(index)),
    )
}

/// The ports of a `power` statement as it names them: `boathouse.1..16`, `pond.2`.
#[must_use]
pub fn fed_ports(model: &Model, power: &PowerFeed) -> String {
    let first = port_name(model, power.controller, power.first, power.receiver);
    let last = port_name(model, power.controller, power.last, power.receiver);
    match last.rsplit_once('.') {
        Some((_, last)) if power.first != power.last => format!("{first}..{last}"),
        _ => first,
    }
}

/// A pixel port where it comes out: at its controller or at a receiver.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Outlet {
    /// The controller.
    pub controller: ControllerId,
    /// The receiver it comes out at.
    pub receiver: Option<ReceiverId>,
    /// Its number at the controller.
    pub port: u32,
}

/// The pixel port of an output of the plan, where it comes out at `receiver`; `None` for a DMX output.
#[must_use]
pub fn outlet(plan: &Plan, index: u32, receiver: Option<ReceiverId>) -> Option<Outlet> {
    let port = plan.ports.get(index as usize)?;
    match port.output {
        Output::Pixel(number) => Some(Outlet {
            controller: port.controller,
            receiver,
            port: number,
        }),
        Output::Dmx(_) => None,
    }
}

/// Ports as ranges in backticks, at most four of them: "`pier.1..4` and `pond.2`".
#[must_use]
pub fn outlets(model: &Model, ports: &[Outlet]) -> String {
    const MOST: usize = 4;
    let mut ports = ports.to_vec();
    ports.sort_unstable();
    ports.dedup();
    let name = |one: &Outlet| port_name(model, one.controller, one.port, one.receiver);
    let next = |a: &Outlet, b: &Outlet| {
        (a.controller, a.receiver, a.port + 1) == (b.controller, b.receiver, b.port)
    };
    let ranges: Vec<&[Outlet]> = ports.chunk_by(next).collect();
    let mut shown: Vec<String> = Vec::new();
    for range in ranges.iter().take(MOST) {
        if let [first, .., last] = range {
            let end = name(last);
            let end = end.rsplit_once('.').map_or("", |(_, end)| end);
            shown.push(format!("`{}..{end}`", name(first)));
        } else {
            shown.extend(range.first().map(|one| format!("`{}`", name(one))));
        }
    }
    let rest: usize = ranges.iter().skip(MOST).map(|range| range.len()).sum();
    if rest > 0 {
        shown.push(format!("{rest} more"));
    }
    crate::diagnostic::words::list(&shown, "and")
}

/// Where an injection goes in, as it is written: `at end`, `every 6 strands`.
#[must_use]
pub fn inject_place(place: InjectAt) -> String {
    match place {
        InjectAt::Start => "at start".into(),
        InjectAt::End => "at end".into(),
        InjectAt::Node(node) => format!("at node {node}"),
        InjectAt::EveryNodes(step) => format!("every {}", counted(i64::from(step), "node")),
        InjectAt::EveryStrands(step) => format!("every {}", counted(i64::from(step), "strand")),
    }
}

/// An injection as it is written.
#[must_use]
pub fn inject_statement(model: &Model, remedy: &Remedy) -> String {
    let supply = model
        .supplies
        .get(remedy.lead.supply.index())
        .map_or("", |supply| &*supply.name);
    let fuse = remedy.lead.fuse.map_or(String::new(), |fuse| {
        format!(" fuse {}", quantity(fuse.value, Dimension::Current))
    });
    format!(
        "inject {} {} from {supply} through {} of {}{fuse}",
        model.name_of(remedy.string),
        inject_place(remedy.place),
        quantity(remedy.lead.length_um, Dimension::Length),
        remedy.lead.gauge.words(),
    )
}

/// A channel as a pin is written: `12/1`.
#[must_use]
pub fn channel_name(model: &Model, channel: u64) -> String {
    let slots = u64::from(model.display.universe_slots.max(1));
    format!("{}/{}", channel / slots + 1, channel % slots + 1)
}

/// A stretch, its last channel included: `12/1 to 12/150`.
#[must_use]
pub fn stretch_name(model: &Model, first: u64, last: u64) -> String {
    format!(
        "{} to {}",
        channel_name(model, first),
        channel_name(model, last)
    )
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
