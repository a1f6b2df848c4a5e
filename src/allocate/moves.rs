//! Why each string that kept its name lies somewhere else now.

use super::keep::units::{Form, Place, Refused, Unit};
use super::keep::{Old, Record};
use crate::grid::{Body, Grid};
use crate::model::{Addressing, ControllerId, Model, Output, PieceKind, PinPlace, StringId};
use crate::plan::{Cause, Change, Move, Placed, Plan, Unseated, Was, Why};
use std::collections::BTreeMap;

/// Every move with its cause, by string.
pub(super) fn find(model: &Model, plan: &Plan, old: &Old<'_>, record: &Record) -> Vec<Move> {
    let said = said(model);
    let moved: Vec<(StringId, Was, Placed)> = (0..model.strings.len())
        .map(StringId::from)
        .filter_map(|id| {
            // A string that shows another's data moves with it.
            let own = model.string(id)?.same_as.is_none();
            let was = *old.past.of(id).filter(|_| own)?;
            let placed = *plan.of(id)?;
            Some((id, was, placed))
        })
        .filter(|(id, was, placed)| {
            let said = said.get(id.index()).copied().unwrap_or(false);
            lies_elsewhere(model, old, was, placed) || !said && changed_output(plan, was, placed)
        })
        .collect();
    if moved.is_empty() {
        return Vec::new();
    }
    let mut causes = Causes::new(model, plan, old, record, said);
    let causes = moved
        .iter()
        .map(|(id, was, placed)| Move { string: *id, cause: causes.of(*id, was, placed) });
    causes.collect()
}

/// Whether a string has other slots than it had.
fn lies_elsewhere(model: &Model, old: &Old<'_>, was: &Was, placed: &Placed) -> bool {
    let (before, now) = (old.past.universe_slots, model.display.universe_slots);
    before.split(was.start) != now.split(placed.start)
        // In universes of another size, a string that begins where it did may still end elsewhere.
        || before != now && before.split(was.end().saturating_sub(1)) != now.split(placed.end)
}

/// Whether a string is on another output than it was. Where its controller is gone, that does not
/// count: the display removed it.
fn changed_output(plan: &Plan, was: &Was, placed: &Placed) -> bool {
    let port = plan.ports.as_slice().get(placed.port as usize);
    let here = port.map(|port| (port.controller, port.output));
    was.controller.is_some_and(|controller| here != Some((controller, was.output)))
}

/// By string: whether a wire names its output.
fn said(model: &Model) -> Vec<bool> {
    let mut said = vec![false; model.strings.len()];
    for line in &model.lines {
        if line.target.is_open() {
            continue;
        }
        for piece in model.pieces_of(line) {
            if let PieceKind::String(id, _) = piece.kind
                && let Some(entry) = said.get_mut(id.index())
            {
                *entry = true;
            }
        }
    }
    said
}

/// What is known about all units.
struct Causes<'a> {
    model: &'a Model,
    plan: &'a Plan,
    old: &'a Old<'a>,
    record: &'a Record,
    /// By string: whether a wire names its output.
    said: Vec<bool>,
    /// By string: its unit, and its place there.
    units: Vec<Option<(usize, usize)>>,
    /// By unit: what changed on its lines, by place.
    changes: BTreeMap<usize, Vec<(i64, Change)>>,
    /// By unit that keeps nothing: why.
    whole: BTreeMap<usize, Cause>,
    /// What is no longer on an output, with where it began.
    left: BTreeMap<(ControllerId, Output), Vec<(u64, Change)>>,
}

impl<'a> Causes<'a> {
    fn new(
        model: &'a Model,
        plan: &'a Plan,
        old: &'a Old<'a>,
        record: &'a Record,
        said: Vec<bool>,
    ) -> Self {
        let mut units = vec![None; model.strings.len()];
        for (at, unit) in record.units.iter().enumerate() {
            for (place, item) in unit.items.iter().enumerate() {
                if let Some(entry) = units.get_mut(item.id.index()) {
                    *entry = Some((at, place));
                }
            }
        }
        let mut left: BTreeMap<_, Vec<(u64, Change)>> = BTreeMap::new();
        for (index, freed) in (0..).zip(&old.past.freed) {
            if let Some(controller) = freed.was.controller {
                let row = left.entry((controller, freed.was.output)).or_default();
                row.push((freed.was.start, Change::Gone(index)));
            }
        }
        for (index, was) in old.past.was.iter().enumerate() {
            let id = StringId::from(index);
            let Some((was, controller)) = was.and_then(|was| Some((was, was.controller?))) else {
                continue;
            };
            let port =
                plan.of(id).and_then(|placed| plan.ports.as_slice().get(placed.port as usize));
            if port.is_some_and(|port| (port.controller, port.output) != (controller, was.output)) {
                let row = left.entry((controller, was.output)).or_default();
                row.push((was.start, Change::Left(id)));
            }
        }
        Self {
            model,
            plan,
            old,
            record,
            said,
            units,
            changes: BTreeMap::new(),
            whole: BTreeMap::new(),
            left,
        }
    }

    fn of(&mut self, id: StringId, was: &Was, placed: &Placed) -> Cause {
        if self.old.past.universe_slots != self.model.display.universe_slots {
            return Cause::UniverseSize(self.old.past.universe_slots.get());
        }
        if self.old.afresh(id) {
            return Cause::Compact;
        }
        if let Why::Pinned(at) = placed.why {
            return Cause::Pinned(at);
        }
        let shift = self.old.shift(id);
        let controller = was.controller.map_or(usize::MAX, |id| id.index());
        if shift != 0 && self.old.target(id, controller) == Some(placed.start) {
            return Cause::Shifted(shift);
        }
        let port = self.plan.ports.as_slice().get(placed.port as usize);
        let here = port.map(|port| (Some(port.controller), port.output));
        if here != Some((was.controller, was.output)) {
            return if self.said.get(id.index()).copied().unwrap_or(false) {
                Cause::Rewired
            } else {
                Cause::Replaced(self.unseated(id, was))
            };
        }
        if let Some(other) = self.old.lost.get(id.index()).copied().flatten() {
            return Cause::Shared(other);
        }
        let record = self.record;
        let at = self.units.get(id.index()).copied().flatten();
        let found = at.and_then(|(at, place)| Some((at, place, record.units.get(at)?)));
        let Some((at, place, unit)) = found else {
            return self.behind_a_pin(placed);
        };
        let picked = record.picked.get(at).copied().flatten();
        let wanted = record.wanted.get(at).copied().flatten();
        match (picked, wanted) {
            (Some(_), _) if unit.form == Form::Universe => self.in_universe(id, was, placed),
            (Some(_), _) => Cause::Before(self.change(at, place as i64)),
            (None, _) => {
                if let Some(cause) = self.whole.get(&at) {
                    return *cause;
                }
                let cause = match wanted {
                    Some(_) => self.made_room(at, unit),
                    None => self.unkept(at, unit, place as i64),
                };
                self.whole.insert(at, cause);
                cause
            }
        }
    }

    /// Why a string could not stay on the output that it had.
    fn unseated(&self, id: StringId, was: &Was) -> Unseated {
        let controller = was.controller.and_then(|at| Some((at, self.model.controller(at)?)));
        let Some((at, declared)) = controller else {
            return Unseated::Gone;
        };
        let mut reserved = self.model.reserved_outputs.iter();
        let whole = reserved
            .find(|row| (row.controller, row.output) == (at, was.output) && row.slots.is_none());
        if let Some(row) = whole {
            return Unseated::Reserved(row.at);
        }
        let Output::Pixel(number) = was.output else {
            let there = |number| declared.dmx.iter().any(|dmx| Output::Dmx(dmx.value) == number);
            return if there(was.output) { Unseated::Room } else { Unseated::Gone };
        };
        let receiver = self.model.receivers_of(at, number).map(|(id, ..)| id).next();
        let Some(settings) = self.model.port_settings(at, number, receiver) else {
            return Unseated::Gone;
        };
        let node = self.model.node_of(id);
        let chip = node.and_then(|node| node.chip).map(|chip| chip.value);
        let mut chips = settings.chips.iter();
        if chip.is_some() && !settings.chips.is_empty() && !chips.any(|one| Some(one.value) == chip)
        {
            return Unseated::Chip;
        }
        let volts = node.and_then(|node| node.volts).zip(settings.volts);
        match volts.is_some_and(|(node, port)| node.value != port.value) {
            true => Unseated::Volts,
            false => Unseated::Room,
        }
    }

    /// The cause for a string that follows a pin on its output.
    fn behind_a_pin(&self, placed: &Placed) -> Cause {
        let port = self.plan.ports.as_slice().get(placed.port as usize);
        let pieces = port.into_iter().flat_map(|port| &port.pieces);
        let mut pins = pieces.filter_map(|piece| match piece.piece.kind {
            PieceKind::String(_, Some(pin)) => Some(pin.at),
            PieceKind::String(_, None) | PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
        pins.next().map_or(Cause::Before(Change::Settings), Cause::Pinned)
    }

    /// The cause for a fixture that stays in its universe but has other slots there.
    fn in_universe(&self, id: StringId, was: &Was, placed: &Placed) -> Cause {
        let slots = self.model.display.universe_slots.each();
        let first = was.start % slots;
        let touches = |from: u64, to: u64| from < first + was.slots && first < to;
        let Some(port) = self.plan.ports.as_slice().get(placed.port as usize) else {
            return Cause::Before(Change::Settings);
        };
        let reserved = self.model.reserved_outputs.iter().find(|row| {
            let here = (row.controller, row.output) == (port.controller, port.output);
            let stretch = row.slots.filter(|_| here);
            stretch.is_some_and(|(from, to)| touches(u64::from(from.max(1)) - 1, u64::from(to)))
        });
        if let Some(row) = reserved {
            return Cause::Taken(row.at);
        }
        let mut other = None;
        for piece in &port.pieces {
            let PieceKind::String(string, pin) = piece.piece.kind else {
                continue;
            };
            let lies = self.plan.of(string).filter(|_| string != id);
            let over = lies.is_some_and(|lies| touches(lies.start % slots, lies.end % slots + 1));
            match pin {
                Some(pin)
                    if over && matches!(pin.place, PinPlace::Slot(_) | PinPlace::Channel(_)) =>
                {
                    return Cause::Taken(pin.at);
                }
                Some(_) | None if over => other = other.or(Some(string)),
                Some(_) | None => {}
            }
        }
        other.map_or(Cause::Before(Change::Length(id)), Cause::MadeRoom)
    }

    /// What a unit made room for: the first on its controller that had no place.
    fn made_room(&mut self, at: usize, unit: &Unit) -> Cause {
        let rows = self.record.units.iter().zip(&self.record.wanted);
        let homeless = rows
            .filter(|(other, wanted)| other.controller == unit.controller && wanted.is_none())
            .map(|(other, _)| other);
        let new = homeless.clone().flat_map(|other| &other.items);
        let mut new = new.filter(|item| self.old.past.of(item.id).is_none());
        let mut any = homeless.flat_map(|other| &other.items);
        match new.next().or_else(|| any.next()) {
            Some(item) => Cause::MadeRoom(item.id),
            None => Cause::Before(self.change(at, i64::MAX)),
        }
    }

    /// The cause for a unit that kept none of its places.
    fn unkept(&mut self, at: usize, unit: &Unit, line_place: i64) -> Cause {
        let Some(place) = unit.choices.first() else {
            return match unit.refused {
                Some(Refused::Taken(at)) => Cause::Taken(at),
                Some(Refused::Outside) => Cause::Outside,
                Some(Refused::Align) => Cause::Align,
                None => Cause::Before(self.change(at, line_place)),
            };
        };
        let blocker = self.blocker(at, unit, place);
        let before = blocker.is_some_and(|other| {
            let picked = self.record.picked.get(other).copied().flatten();
            let theirs = self.record.units.get(other).and_then(|u| u.choices.get(picked?));
            theirs.is_some_and(|theirs| theirs.start < place.start)
        });
        let first = blocker
            .and_then(|other| self.record.units.get(other)?.items.first())
            .map(|item| item.id);
        let own = self.change(at, i64::MAX);
        match (own, blocker, first) {
            (own, Some(other), Some(one)) if before || own == Change::Settings => {
                match self.change(other, i64::MAX) {
                    Change::Settings => Cause::NoRoom(own, first),
                    theirs => Cause::GaveWay(one, theirs),
                }
            }
            (own, _, first) => Cause::NoRoom(own, first),
        }
    }

    /// The unit that stays where this one would have kept a place.
    fn blocker(&self, at: usize, unit: &Unit, place: &Place) -> Option<usize> {
        let slots = self.model.display.universe_slots.each();
        let rows = self.record.units.iter().zip(&self.record.picked).enumerate();
        let mut over = rows.filter_map(|(other, (candidate, picked))| {
            let theirs = candidate.choices.get((*picked)?)?;
            let clash = if candidate.controller == unit.controller {
                theirs.start < place.end && place.start < theirs.end
            } else {
                theirs.start / slots < place.end.div_ceil(slots)
                    && place.start / slots < theirs.end.div_ceil(slots)
            };
            (other != at && clash).then_some(other)
        });
        over.next()
    }

    /// What changed on a unit's lines: the nearest change before a place, else the first after it.
    fn change(&mut self, at: usize, place: i64) -> Change {
        if !self.changes.contains_key(&at) {
            let unit = self.record.units.get(at);
            let changes = unit.map_or_else(Vec::new, |unit| self.changed(unit));
            self.changes.insert(at, changes);
        }
        let changes = self.changes.get(&at).map_or(&[][..], Vec::as_slice);
        let behind = changes.partition_point(|(at, _)| *at < place);
        let before = behind.checked_sub(1).and_then(|before| changes.get(before));
        let found = before.or_else(|| changes.get(behind));
        found.map_or(Change::Settings, |(_, change)| *change)
    }

    /// All that changed on a unit's lines, by place; what is gone comes before what followed it.
    fn changed(&self, unit: &Unit) -> Vec<(i64, Change)> {
        let mut changes = Vec::new();
        let mut starts = Vec::with_capacity(unit.items.len());
        let mut furthest = 0;
        for (at, item) in (0_i64..).zip(&unit.items) {
            let Some(was) = self.old.past.of(item.id) else {
                changes.push((at, Change::Added(item.id)));
                continue;
            };
            let stored = self.model.string(item.id).is_some_and(|s| s.stored);
            if stored && was.start < furthest {
                changes.push((at, Change::Stored(item.id)));
            } else if !self.on_lines(unit, was) || was.start < furthest {
                changes.push((at, Change::Order(item.id)));
            } else if self.is_longer(unit, item.id, was) {
                changes.push((at, Change::Length(item.id)));
            }
            furthest = furthest.max(was.start);
            starts.push((was.start, at));
        }
        starts.sort_unstable();
        for (start, change) in self.gone(unit) {
            let next = starts.partition_point(|(other, _)| *other <= start);
            let at = starts.get(next).map_or(unit.items.len() as i64, |(_, at)| *at);
            changes.push((at - 1, change));
        }
        changes.sort_by_key(|(at, _)| *at);
        changes
    }

    fn on_lines(&self, unit: &Unit, was: &Was) -> bool {
        let mut ports = unit.ports.clone();
        was.controller.is_none()
            || ports.any(|port| {
                let port = self.plan.ports.as_slice().get(port as usize);
                port.is_some_and(|port| {
                    (Some(port.controller), port.output) == (was.controller, was.output)
                })
            })
    }

    fn is_longer(&self, unit: &Unit, id: StringId, was: &Was) -> bool {
        let declared = self.model.controllers.as_slice().get(unit.controller);
        let laid = declared.and_then(|declared| {
            let grid = Grid::of_output(self.model, declared, was.output);
            Some(grid.lay(was.start, Body::of(self.model, id)?))
        });
        laid.is_some_and(|laid| laid.end - laid.start != was.slots)
    }

    /// What is no longer on the lines of a unit.
    fn gone(&self, unit: &Unit) -> Vec<(u64, Change)> {
        let id = ControllerId::from(unit.controller);
        let consecutive = self
            .model
            .controllers
            .as_slice()
            .get(unit.controller)
            .is_some_and(|c| c.addressing == Addressing::Consecutive);
        if consecutive && unit.form == Form::Chain {
            let pixel = (id, Output::Pixel(0))..=(id, Output::Pixel(u32::MAX));
            let rows = self.left.range(pixel).flat_map(|(_, rows)| rows);
            // What only went to another of its ports counts as a change of order.
            return rows
                .filter(|(_, change)| match change {
                    Change::Left(id) => unit.items.iter().all(|item| item.id != *id),
                    _ => true,
                })
                .copied()
                .collect();
        }
        let ports = unit.ports.clone();
        let ports = ports.filter_map(|port| self.plan.ports.as_slice().get(port as usize));
        let rows = ports.filter_map(|port| self.left.get(&(port.controller, port.output)));
        rows.flatten().copied().collect()
    }
}
