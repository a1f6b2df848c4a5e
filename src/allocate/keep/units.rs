//! What moves as a whole, and the places at which it would keep something.
//!
//! `per port`: a port. `per prop`: a string. `consecutive`: all pixel ports together. A DMX output:
//! its universe. A lawful place is within the controller's universes, on nothing reserved or
//! pinned.

use super::super::chain::{Chain, Item, items};
use super::super::fixed::{Fixed, universe_pin};
use super::Old;
use crate::grid::{Body, Grid};
use crate::model::{Addressing, Controller, ControllerId, Model, Output, PieceKind};
use crate::plan::PortPlan;
use crate::source::Span;
use std::ops::Range;

/// What moves as a whole.
#[derive(Debug)]
pub(in crate::allocate) struct Unit {
    /// Its controller.
    pub controller: usize,
    /// Its outputs, as a stretch of the plan's.
    pub ports: Range<u32>,
    /// Its strings in data order.
    pub items: Vec<Item>,
    /// How it lies.
    pub form: Form,
    /// The places at which it keeps something, the one that keeps most first.
    pub choices: Vec<Place>,
    /// Why the place that would keep most is not lawful, where that is so.
    pub refused: Option<Refused>,
}

/// How a unit lies.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::allocate) enum Form {
    /// A chain of strings with no gaps but padding and alignment.
    Chain,
    /// One string, perhaps at the first slot of a universe.
    Single(bool),
    /// A whole universe.
    Universe,
}

/// A place at which a unit keeps something.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::allocate) struct Place {
    /// First channel.
    pub start: u64,
    /// The channel after the last.
    pub end: u64,
    /// Slots of the strings that stay with it.
    pub kept: u64,
}

/// Why a place is not lawful.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::allocate) enum Refused {
    /// Reserved, or pinned for another; the place that says so.
    Taken(Span),
    /// Outside the controller's universes.
    Outside,
    /// Not where `align` or `whole nodes` let it begin.
    Align,
}

/// At most this many places of a unit are looked at.
const MOST_PLACES: usize = 24;

impl Unit {
    /// The stretch it takes from the first lawful channel at or after one.
    pub fn lay(&self, model: &Model, at: u64) -> Range<u64> {
        let Some(declared) = model.controllers.as_slice().get(self.controller) else {
            return at..at;
        };
        let grid = Grid::of(model, declared);
        match self.form {
            Form::Chain => {
                let chain = Chain::new(grid, declared, &self.items);
                chain.stretch(chain.begin(0, at))
            }
            Form::Single(aligned) => {
                let at = if aligned { grid.up(at) } else { at };
                let body = self.items.first().map(|item| item.body);
                body.map_or(at..at, |body| grid.lay(at, body))
            }
            Form::Universe => grid.up(at)..grid.up(grid.up(at).saturating_add(1)),
        }
    }

    /// Slots of all its strings that lay somewhere before.
    pub fn old_slots(&self, old: &Old<'_>) -> u64 {
        self.items.iter().map(|item| old.slots(item.id)).sum()
    }
}

/// All units that have a choice, by controller, then by output.
pub(super) fn gather(
    model: &Model,
    old: &Old<'_>,
    ports: &[PortPlan],
    spans: &[Range<u32>],
    fixed: &Fixed,
) -> Vec<Unit> {
    let mut units = Vec::new();
    for (index, (declared, span)) in model.controllers.iter().zip(spans).enumerate() {
        let from = units.len();
        one(model, ports, span, (index, declared), &mut units);
        let made = units.get_mut(from..).unwrap_or(&mut []);
        let window = old.window(model, index, made);
        for unit in made {
            places(model, old, fixed, unit, &window);
        }
    }
    units
}

fn one(
    model: &Model,
    ports: &[PortPlan],
    span: &Range<u32>,
    (index, declared): (usize, &Controller),
    units: &mut Vec<Unit>,
) {
    let unit = |ports: Range<u32>, items: Vec<Item>, form: Form| Unit {
        controller: index,
        ports,
        items,
        form,
        choices: Vec::new(),
        refused: None,
    };
    let consecutive = declared.addressing == Addressing::Consecutive;
    let mut whole: Vec<Item> = Vec::new();
    let mut last = span.start;
    for owner in span.clone() {
        let Some(port) = ports.get(owner as usize) else {
            continue;
        };
        if let Output::Dmx(_) = port.output {
            let fixtures = items_of_output(model, port);
            if universe_pin(model, port).is_none() && !fixtures.is_empty() {
                units.push(unit(owner..owner + 1, fixtures, Form::Universe));
            }
            continue;
        }
        let items = items(model, port, consecutive);
        match declared.addressing {
            Addressing::Consecutive => {
                whole.extend(items);
                last = owner + 1;
            }
            Addressing::PerPort => {
                if items.first().is_some_and(|item| item.pin.is_none()) {
                    units.push(unit(owner..owner + 1, items, Form::Chain));
                }
            }
            Addressing::PerProp => {
                let grid = Grid::of(model, declared);
                let chain = Chain::new(grid, declared, &items);
                for (at, item) in items.iter().enumerate() {
                    if item.pin.is_none() {
                        let form = Form::Single(chain.aligned(at));
                        units.push(unit(owner..owner + 1, vec![*item], form));
                    }
                }
            }
        }
    }
    // A consecutive controller has no choice if its first string is pinned or shows another's data.
    if whole.first().is_some_and(|item| item.pin.is_none() && item.same.is_none()) {
        units.push(unit(span.start..last, whole, Form::Chain));
    }
}

/// The fixtures of a DMX output that have slots of their own.
pub(super) fn items_of_output(model: &Model, port: &PortPlan) -> Vec<Item> {
    let pieces = port.pieces.iter().map(|piece| piece.piece);
    let strings = pieces.filter_map(|piece| match piece.kind {
        PieceKind::String(id, _) => Some((id, piece)),
        PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    });
    let items = strings.zip(1..).filter_map(|((id, piece), position)| {
        let string = model.string(id).filter(|string| string.same_as.is_none())?;
        Some(Item {
            id,
            at: piece.at,
            position,
            pin: None,
            body: Body::of(model, id)?,
            prop: string.prop,
            same: None,
        })
    });
    items.collect()
}

/// Finds the lawful places of a unit.
fn places(model: &Model, old: &Old<'_>, fixed: &Fixed, unit: &mut Unit, window: &Range<u64>) {
    let declared = &model.controllers[ControllerId::from(unit.controller)];
    let grid = Grid::of(model, declared);
    let targets: Vec<Option<u64>> = unit
        .items
        .iter()
        .map(|item| old.target(item.id, unit.controller).filter(|_| item.same.is_none()))
        .collect();
    let (mut found, mut refused) = match unit.form {
        Form::Universe => (universes(old, grid, &unit.items, &targets), None),
        Form::Chain | Form::Single(_) => chains(old, grid, declared, unit, &targets),
    };
    // Of equal places, the one that keeps what hangs nearest the port comes first.
    found.sort_by_key(|place| std::cmp::Reverse(place.kept));
    found.retain(|place| {
        let stretch = place.start..place.end;
        let why = if stretch.start < window.start || stretch.end > window.end {
            Some(Refused::Outside)
        } else {
            // No unit is pinned, so a pin on its own port is in its way too.
            let block = fixed.touched(unit.controller, &stretch, None);
            block.map(|block| Refused::Taken(block.at))
        };
        refused = refused.or(why);
        why.is_none()
    });
    unit.refused = refused;
    unit.choices = found;
}

/// The universes that fixtures of an output lay in.
fn universes(old: &Old<'_>, grid: Grid, items: &[Item], targets: &[Option<u64>]) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for (item, target) in items.iter().zip(targets) {
        let Some(target) = target else {
            continue;
        };
        let whole = grid.universes(&(*target..target.saturating_add(1)));
        if let Some(place) = places.iter_mut().find(|place| place.start == whole.start) {
            place.kept += old.slots(item.id);
        } else if places.len() < MOST_PLACES {
            places.push(Place { start: whole.start, end: whole.end, kept: old.slots(item.id) });
        }
    }
    places
}

/// The starts at which at least one string of a chain lies where it lay.
fn chains(
    old: &Old<'_>,
    grid: Grid,
    declared: &Controller,
    unit: &Unit,
    targets: &[Option<u64>],
) -> (Vec<Place>, Option<Refused>) {
    let mut refused = None;
    let mut places: Vec<Place> = Vec::new();
    let mut covered = vec![false; targets.len()];
    let chain = match unit.form {
        Form::Single(false) => Chain::unaligned(grid, &unit.items),
        // A string by itself is aligned as the first of a port is.
        Form::Single(true) | Form::Chain | Form::Universe => {
            Chain::new(grid, declared, &unit.items)
        }
    };
    for (index, target) in targets.iter().enumerate() {
        let Some(target) = target.filter(|_| !covered.get(index).copied().unwrap_or(true)) else {
            continue;
        };
        if places.len() >= MOST_PLACES {
            break;
        }
        let start = match start_for(&chain, index, target) {
            Ok(start) => start,
            Err(why) => {
                refused = refused.or(Some(why));
                continue;
            }
        };
        let mut place = Place { start, end: start, kept: 0 };
        for (((item, stretch), target), covered) in
            chain.stretches(start).zip(targets).zip(&mut covered)
        {
            place.end = stretch.end;
            if *target == Some(stretch.start) {
                place.kept += old.slots(item.id);
                *covered = true;
            }
        }
        if places.iter().all(|other| other.start != start) {
            places.push(place);
        }
    }
    (places, refused)
}

/// Where a chain must begin so that one of its strings lies at a channel.
fn start_for(chain: &Chain<'_>, index: usize, target: u64) -> Result<u64, Refused> {
    let before: u64 = chain.items.iter().take(index).map(|item| item.body.slots()).sum();
    let falls = |start: u64| -> Option<u64> {
        let start = chain.begin(0, start);
        let mut stretches = chain.stretches(start);
        stretches.nth(index).map(|(_, stretch)| stretch.start)
    };
    let plain = chain.grid.back(target, before).ok_or(Refused::Outside)?;
    let (mut start, mut at) = (plain, falls(plain));
    let late = at.map_or(0, |at| at.saturating_sub(target));
    if late > 0 {
        // Whole nodes and alignment only make a chain longer: find the last start that is early
        // enough, which is seldom much further back than `plain` is late.
        let (mut back, mut high) = (late, plain.saturating_sub(1));
        let mut low = plain.saturating_sub(back);
        while low > 0 && falls(low).is_some_and(|at| at > target) {
            high = low - 1;
            back = back.saturating_mul(2);
            low = low.saturating_sub(back);
        }
        while low < high {
            let middle = high - (high - low) / 2;
            if falls(middle).is_some_and(|at| at <= target) {
                low = middle;
            } else {
                high = middle - 1;
            }
        }
        (start, at) = (low, falls(low));
    }
    let first = chain.one(0, start).start;
    let right = at == Some(target) && first == start;
    right.then_some(start).ok_or(Refused::Align)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Body;
    use crate::model::{Align, PropId, StringId};
    use crate::protocol::UniverseSlots;

    /// Every start is tried; of those that put a string at a channel the last one counts.
    #[test]
    fn a_start_is_the_last_that_puts_a_string_where_it_lay() {
        let bodies = [(30, 3), (7, 4), (140, 3), (9, 3), (55, 4)];
        let items: Vec<Item> = (0..)
            .zip(bodies)
            .map(|(at, (nodes, each))| Item {
                id: StringId(at),
                at: Span::default(),
                position: at + 1,
                pin: None,
                body: Body { nodes, each },
                prop: PropId(at / 2),
                same: None,
            })
            .collect();
        for (whole, used) in [(false, 512), (false, 507), (true, 512), (true, 100)] {
            let grid = Grid::new(UniverseSlots::ALL, whole).using(used);
            for align in [Align::Off, Align::Port, Align::Prop] {
                let chain = Chain { grid, align, items: &items };
                for index in 0..items.len() {
                    for target in (0..4_000).step_by(211).chain([511, 512, 513, 1_024]) {
                        let falls = |start: u64| {
                            let at = chain.stretches(start).nth(index)?.1.start;
                            (chain.one(0, start).start == start).then_some(at)
                        };
                        let mut starts = (0..=target).rev();
                        let last = starts.find(|start| falls(*start) == Some(target));
                        assert_eq!(start_for(&chain, index, target).ok(), last);
                    }
                }
            }
        }
    }
}
