//! What may stay where the lock has it, and if something must move, the least.
//!
//! The rule, in prose. Every string is bound to its row of the lock by name ([`bind`](mod@bind));
//! an open line goes to the output that its strings had ([`seats`]). What moves as a whole is a
//! unit ([`units`]): a port; with `per prop` a string; on a `consecutive` controller all its pixel
//! ports; a DMX output's universe. Of the places where units would keep something, those that keep
//! the most slots are chosen ([`choose`]). What is new or must move goes to the first free place
//! ([`lay`]), if possible not on room that `spare` keeps. Where a controller's universes have no
//! gap that is long enough, as little as possible makes room ([`room`]).

mod bind;
mod choose;
mod claims;
mod cost;
mod down;
pub(super) mod fixtures;
mod ground;
mod lay;
mod names;
pub(super) mod queue;
mod room;
mod search;
pub(super) mod seats;
mod taken;
pub(super) mod units;

pub(super) use lay::{Keeper, Record};

use super::{decide, order};
use crate::diagnostic::Sink;
use crate::grid::Grid;
use crate::lock::{Lock, Relay};
use crate::model::{Controller, ControllerId, Model, Output, PieceKind, Start, StringId, Target};
use crate::plan::{Past, PortPlan, Trade};
use crate::protocol::UNIVERSES;
use crate::usage;
use std::cell::Cell;
use std::collections::BTreeSet;
use std::ops::Range;
use units::Unit;

/// What lay where.
pub(super) struct Old<'a> {
    /// What the lock held, by string.
    pub past: &'a Past,
    /// By string: the one that has the better claim to its old place.
    pub lost: Vec<Option<StringId>>,
    /// Whether universes have the size that they had.
    same_size: bool,
    /// By controller: the channels that it may use.
    ranges: Vec<Range<u64>>,
    /// By controller: whether it is laid out afresh.
    afresh: Vec<bool>,
    /// By controller: how many universes it moves as a whole; 0 where what it has may stay.
    shifts: Vec<i64>,
    /// How many looks are left for finding what must give way.
    room_looks: Cell<u64>,
    /// Whether a way is only tried, so that few steps are spent on it.
    quick: Cell<bool>,
}

/// Binds a lock to a display.
pub(super) fn bind(model: &Model, lock: &Lock) -> Past {
    bind::bind(model, lock)
}

impl<'a> Old<'a> {
    /// Of a display and what was bound to it.
    pub fn new(model: &Model, past: &'a Past, relay: &Relay) -> Self {
        let ranges = ranges(model, &owners(model, past));
        Self {
            past,
            lost: claims::lost(model, past),
            same_size: past.universe_slots == model.display.universe_slots,
            shifts: shifts(model, past, &ranges),
            ranges,
            afresh: model
                .controllers
                .iter()
                .map(|controller| relay.has(&controller.name))
                .collect(),
            room_looks: Cell::new(room::MOST_LOOKS),
            quick: Cell::new(false),
        }
    }

    /// Works out again which universes each controller may use, now that all outputs are decided.
    pub fn settle(&mut self, model: &Model, ports: &[PortPlan]) {
        let own = |port: &&PortPlan| usage::strings(port).any(|(id, _)| has_own_place(model, id));
        let own = ports.iter().filter(own);
        self.ranges = ranges(model, &own.map(|port| port.controller).collect());
    }

    /// From here on ways are only tried (`quick`), or laid as well as possible.
    fn only_try(&self, quick: bool) {
        self.quick.set(quick);
        self.room_looks.set(match quick {
            true => room::FEW_LOOKS,
            false => room::MOST_LOOKS,
        });
    }

    /// How many looks may be taken to choose what stays.
    fn choose_looks(&self) -> u64 {
        match self.quick.get() {
            true => choose::FEW_LOOKS,
            false => choose::MOST_LOOKS,
        }
    }

    /// Whether nothing stays.
    pub fn all_afresh(&self) -> bool {
        !self.afresh.is_empty() && self.afresh.iter().all(|afresh| *afresh)
    }

    /// Whether a string lay on a controller that is laid out afresh.
    pub fn afresh(&self, id: StringId) -> bool {
        let controller = self.past.of(id).and_then(|was| was.controller);
        controller.is_some_and(|c| self.afresh.get(c.index()).copied().unwrap_or(false))
    }

    /// Whether a string may keep its place at all.
    pub fn has_claim(&self, id: StringId) -> bool {
        let lost = self.lost.get(id.index()).copied().flatten();
        self.same_size && lost.is_none() && !self.afresh(id) && self.past.of(id).is_some()
    }

    /// Where a string on a controller would lie if it stayed; `None` where it has no claim to any.
    pub fn target(&self, id: StringId, controller: usize) -> Option<u64> {
        let afresh = self.afresh.get(controller).copied().unwrap_or(false);
        let was = self.past.of(id).filter(|_| self.has_claim(id) && !afresh)?;
        let here = was.controller.is_some_and(|old| old.index() == controller);
        let shift = if here { self.shift(id) } else { 0 };
        let slots = i64::from(self.past.universe_slots.get());
        was.start.checked_add_signed(shift.checked_mul(slots)?)
    }

    /// How many universes a string moves with all of its controller; below 0 for lower ones.
    pub fn shift(&self, id: StringId) -> i64 {
        let controller = self.past.of(id).and_then(|was| was.controller);
        let shift = controller.and_then(|c| self.shifts.get(c.index()).copied());
        shift.unwrap_or(0)
    }

    /// Slots that a string had; 0 for a new one.
    pub fn slots(&self, id: StringId) -> u64 {
        self.past.of(id).map_or(0, |was| was.slots)
    }

    /// The channels that a controller may use: its universes. With `universes at most` they begin
    /// where it may first keep something, if all that it may keep lies within that many.
    pub fn window(&self, model: &Model, controller: usize, units: &[Unit]) -> Range<u64> {
        let range = self.ranges.get(controller).cloned().unwrap_or(0..0);
        let Some(declared) = model.controllers.as_slice().get(controller) else {
            return range;
        };
        let Some(most) = declared.most_universes else {
            return range;
        };
        let grid = Grid::of(model, declared);
        let items = units.iter().flat_map(|unit| &unit.items);
        let lain = items.filter_map(|item| {
            let start = self.target(item.id, controller)?;
            let was = self.past.of(item.id)?;
            let here = was.controller.is_none_or(|old| old.index() == controller);
            let end = Some(start.saturating_add(was.slots)).filter(|_| here)?;
            range.contains(&start).then_some((start, end))
        });
        let reach = lain.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)));
        let first = reach.map_or(range.start, |(start, _)| grid.begin(grid.universe(start)));
        let last =
            first.saturating_add(u64::from(most.value) * model.display.universe_slots.each());
        match reach {
            Some((_, end)) if end > last => range,
            Some(_) | None => first..last.min(range.end),
        }
    }
}

/// Tries a trade in a copy of the display: what it costs and saves there, if it saves slots.
pub(super) fn trade(
    model: &Model,
    lock: Option<&Lock>,
    relay: &Relay,
    trade: Trade,
) -> Option<Trade> {
    let Output::Pixel(port) = trade.to.1 else {
        return None;
    };
    let mut changed = model.clone();
    changed.lines.get_mut(trade.line)?.target = Target::Port(trade.to.0, port, None);
    let mut sink = Sink::default();
    let plan = decide(&changed, lock, relay, &mut sink);
    let past = plan.past.as_deref().filter(|_| !sink.has_errors())?;
    let own = |id: &StringId| model.string(*id).is_some_and(|one| one.same_as.is_none());
    let ids = (0..model.strings.len()).map(StringId::from).filter(own);
    let rows = ids.filter_map(|id| Some((past.of(id)?, plan.of(id)?)));
    let (mut plugs, mut slots) = (0, 0);
    for (was, now) in rows {
        let port = plan.ports.as_slice().get(now.port as usize);
        let here = port.map(|port| (Some(port.controller), port.output));
        plugs += u64::from(was.controller.is_some() && here != Some((was.controller, was.output)));
        slots += if was.start == now.start { 0 } else { was.slots };
    }
    (slots < trade.slots.0).then_some(Trade {
        plugs: (trade.plugs.0, plugs),
        slots: (trade.slots.0, slots),
        ..trade
    })
}

/// Whether a controller says how many universes it has, so that it can be full.
pub(super) fn limited(declared: &Controller) -> bool {
    matches!(declared.start, Start::Range(..)) || declared.most_universes.is_some()
}

/// How many universes each controller moves as a whole: where the display writes another number for
/// its first universe than before and none of its strings could stay.
fn shifts(model: &Model, past: &Past, ranges: &[Range<u64>]) -> Vec<i64> {
    let mut stays = vec![false; model.controllers.len()];
    let freed = past.freed.iter().map(|freed| &freed.was);
    for was in past.was.iter().flatten().chain(freed) {
        let at = was.controller.map_or(usize::MAX, |id| id.index());
        let inside = |range: &Range<u64>| range.start <= was.start && was.end() <= range.end;
        if ranges.get(at).is_some_and(inside)
            && let Some(stays) = stays.get_mut(at)
        {
            *stays = true;
        }
    }
    let controllers = model.controllers.iter().zip(stays).enumerate();
    let shift = controllers.map(|(index, (controller, stays))| {
        let before = past.begins.get(&index.into()).filter(|_| !stays)?;
        Some(i64::from(controller.start.written()?) - i64::from(*before))
    });
    shift.map(Option::unwrap_or_default).collect()
}

/// Whether a string takes slots of its own.
fn has_own_place(model: &Model, id: StringId) -> bool {
    model.string(id).is_some_and(|string| string.same_as.is_none())
}

/// The controllers that have strings with slots of their own, by the display and the lock.
fn owners(model: &Model, past: &Past) -> BTreeSet<ControllerId> {
    let mut owners = BTreeSet::new();
    for line in &model.lines {
        let own = model.pieces_of(line).iter().any(|piece| match piece.kind {
            PieceKind::String(id, _) => has_own_place(model, id),
            PieceKind::Skip(_) | PieceKind::Lead(..) => false,
        });
        let controller = match line.target {
            Target::Controller(id) | Target::Port(id, ..) | Target::Dmx(id, _) => Some(id),
            Target::Receiver(id) => {
                model.receivers.as_slice().get(id.index()).map(|receiver| receiver.controller)
            }
            Target::Any => None,
        };
        owners.extend(controller.filter(|_| own));
    }
    let bound = (0..model.strings.len()).map(StringId::from);
    let bound = bound.filter(|id| has_own_place(model, *id));
    owners.extend(bound.filter_map(|id| past.of(id)?.controller));
    owners
}

/// The channels of the universes that each controller may use. `owners` have strings with slots of
/// their own.
fn ranges(model: &Model, owners: &BTreeSet<ControllerId>) -> Vec<Range<u64>> {
    let slots = model.display.universe_slots.each();
    let all = u64::from(*UNIVERSES.end()) * slots;
    let mut ranges = vec![0..all; model.controllers.len()];
    for index in order::of(model) {
        let Some(declared) = model.controllers.as_slice().get(index) else {
            continue;
        };
        let begin = |universe: u32| u64::from(universe.max(1) - 1) * slots;
        let range = match declared.start {
            Start::Auto => 0..all,
            Start::From(first) => begin(first)..all,
            Start::Range(first, last) => begin(first)..(u64::from(last) * slots).min(all),
            // After the first universe of the other, if strings of its own lie there. A gap between
            // the two controllers does no harm.
            Start::After(other) => {
                let first = ranges.get(other.index()).map_or(0, |range| range.start);
                let taken = if owners.contains(&other) { slots } else { 0 };
                first.saturating_add(taken)..all
            }
        };
        if let Some(entry) = ranges.get_mut(index) {
            *entry = range;
        }
    }
    ranges
}
