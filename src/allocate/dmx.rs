//! A DMX output: one universe of its own, fixtures from slot 1 in chain order or where pinned.

use super::addresses::{Layer, Run};
use super::chain::Item;
use super::fixed::{self, universe_pin};
use super::keep::fixtures::Footprint;
use super::keep::{self, Old};
use super::space::{Block, Blocks, Laid, NOBODY};
use crate::model::{Model, Output, PieceKind, PinPlace, Pinned};
use crate::plan::{PortPlan, Why};
use crate::rules;
use crate::source::Span;
use std::ops::Range;

/// A fixture of the output; its first slot, counted from 0, where it is pinned or keeps it.
struct Fixture {
    item: Item,
    pin: Option<(u64, Pinned)>,
    kept: Option<u64>,
}

/// Lays an output at or after a channel; returns where the next goes on.
pub(super) fn output(layer: &mut Layer<'_>, run: &Run<'_>, port: &PortPlan, cursor: u64) -> u64 {
    let mut fixtures = fixtures(layer.model, port);
    if fixtures.is_empty() {
        return cursor;
    }
    let free = free_universe(layer, run, cursor);
    let pinned = universe_pin(layer.model, port);
    let begin = pinned.map_or(free, |(begin, _)| begin);
    if let Some((begin, first)) = pinned {
        for fixture in &mut fixtures {
            if let Some((channel, at)) = fixture.item.pin
                && run.grid.universe(channel) != run.grid.universe(begin)
            {
                let one = (fixture.item.id, fixture.item.at);
                let universes = (run.grid.universe(channel), run.grid.universe(begin));
                let finding =
                    rules::address::pin::two_universes(layer.model, one, universes, (at, first));
                layer.sink.push(finding);
                // Its slot there would be another's here.
                fixture.pin = None;
            }
        }
    }
    fill(layer, run, port, begin, &fixtures);
    run.grid.up(free.saturating_add(1))
}

/// Lays an output into a universe, around what its fixtures had before.
pub(super) fn kept(
    layer: &mut Layer<'_>,
    run: &Run<'_>,
    port: &PortPlan,
    begin: u64,
    old: &Old<'_>,
) {
    let mut fixtures = fixtures(layer.model, port);
    let begin = universe_pin(layer.model, port).map_or(begin, |(begin, _)| begin);
    let unpinned: Vec<Footprint> = fixtures
        .iter()
        .filter(|fixture| fixture.pin.is_none())
        .map(|fixture| (fixture.item.id, fixture.item.body.slots()))
        .collect();
    let taken = taken_stretches(layer.model, run, port, &fixtures);
    let stretches: Vec<Range<u64>> = taken.iter().map(|(start, end, _)| *start..*end).collect();
    let slots = keep::fixtures::slots(layer.model, old, &unpinned, &stretches);
    let unpinned = fixtures.iter_mut().filter(|fixture| fixture.pin.is_none());
    for (fixture, slot) in unpinned.zip(slots.unwrap_or_default()) {
        fixture.kept = Some(slot);
    }
    fill(layer, run, port, begin, &fixtures);
}

/// The first universe at or after a channel that nothing fixed touches, this output's pin left out.
fn free_universe(layer: &Layer<'_>, run: &Run<'_>, cursor: u64) -> u64 {
    let mut begin = run.grid.up(cursor);
    loop {
        let universe = begin..run.grid.up(begin.saturating_add(1));
        match layer.touched(run.controller, &universe, Some(run.owner)) {
            Some((end, _)) => begin = run.grid.up(end),
            None => return begin,
        }
    }
}

fn fixtures(model: &Model, port: &PortPlan) -> Vec<Fixture> {
    let slots = model.display.universe_slots.each();
    let pieces = port.pieces.iter().map(|piece| piece.piece);
    let strings = pieces.filter_map(|piece| match piece.kind {
        PieceKind::String(id, pin) => Some((id, pin, piece)),
        PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    });
    let fixtures = strings.zip(1..).filter_map(|((id, pin, piece), position)| {
        let slot = pin.and_then(|pin| match pin.place {
            PinPlace::Slot(slot) => Some((u64::from(slot.max(1)) - 1, pin)),
            PinPlace::Channel(channel) => {
                fixed::lawful(model, channel).then_some((channel % slots, pin))
            }
        });
        let item = Item::of(model, id, piece, position)?;
        Some(Fixture { item, pin: slot, kept: None })
    });
    fixtures.filter(|fixture| fixture.item.same.is_none()).collect()
}

/// The slots of an output, counted from 0, that fixtures without a pin step over.
fn taken(model: &Model, run: &Run<'_>, port: &PortPlan, fixtures: &[Fixture]) -> Blocks {
    let rows = taken_stretches(model, run, port, fixtures);
    let rows = rows.into_iter().map(|(start, end, at)| {
        let owner = NOBODY;
        (start, Block { end, owner, at })
    });
    Blocks::new(rows.collect())
}

/// The same as stretches, with the places that say so.
fn taken_stretches(
    model: &Model,
    run: &Run<'_>,
    port: &PortPlan,
    fixtures: &[Fixture],
) -> Vec<(u64, u64, Span)> {
    let pins = fixtures.iter().filter_map(|fixture| {
        let (slot, pin) = fixture.pin?;
        let end = slot + fixture.item.body.slots();
        Some((slot, end, pin.at))
    });
    let reserved = model.reserved_outputs.iter().filter_map(|row| {
        let here = row.controller.index() == run.controller && row.output == port.output;
        let (first, last) = row.slots.filter(|_| here)?;
        Some((u64::from(first.max(1)) - 1, u64::from(last), row.at))
    });
    pins.chain(reserved).collect()
}

/// Lays fixtures.
fn fill(layer: &mut Layer<'_>, run: &Run<'_>, port: &PortPlan, begin: u64, fixtures: &[Fixture]) {
    let model = layer.model;
    let room = model.display.universe_slots.each();
    let taken = taken(model, run, port, fixtures);
    let asked: u64 = fixtures.iter().map(|fixture| fixture.item.body.slots()).sum();
    // A pin may send the chain back to slots before those that are laid already.
    let mut laid = Laid::default();
    let mut cursor = 0;
    let mut told = false;
    for fixture in fixtures {
        let item = &fixture.item;
        let one = (item.id, item.at);
        let (stretch, why) = match (fixture.pin, fixture.kept) {
            (Some((slot, pin)), _) => (slot..slot + item.body.slots(), Why::Pinned(pin.at)),
            (None, Some(slot)) => (slot..slot + item.body.slots(), Why::Free),
            (None, None) => {
                free(&taken, &laid, cursor..cursor + item.body.slots(), run.first && cursor == 0)
            }
        };
        cursor = stretch.end;
        if stretch.end <= room {
            if fixture.pin.is_none() {
                laid.add(&stretch, NOBODY, item.at);
            }
            let here = begin.saturating_add(stretch.start)..begin.saturating_add(stretch.end);
            layer.set(run, item, &here, why);
            continue;
        }
        let over = rules::dmx::footprint::Over {
            one,
            controller: run.controller,
            output: port.output,
            first: stretch.start + 1,
            last: stretch.end,
            pin: fixture.pin.map(|(_, pin)| pin.at),
        };
        let alone = fixture.pin.is_some() || item.body.slots() > room;
        if alone {
            layer.sink.push(rules::dmx::footprint::over(model, &over));
        } else if !told {
            told = true;
            layer.sink.push(if asked > room {
                rules::dmx::full::full(model, &over, asked, fixtures.len())
            } else {
                rules::dmx::footprint::over(model, &over)
            });
        }
    }
}

/// The first stretch as long as one, and not before it, that touches nothing taken or laid.
fn free(taken: &Blocks, laid: &Laid, mut stretch: Range<u64>, first: bool) -> (Range<u64>, Why) {
    let mut why = if first { Why::First } else { Why::Follows };
    while let Some(block) = taken.touched(&stretch, None).or_else(|| laid.touched(&stretch, None)) {
        stretch = block.end..block.end + (stretch.end - stretch.start);
        why = Why::Stepped(block.at);
    }
    (stretch, why)
}

/// Whether an output is a DMX output.
pub(super) fn is_dmx(port: &PortPlan) -> bool {
    matches!(port.output, Output::Dmx(_))
}
