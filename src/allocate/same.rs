//! Strings that show another's data take its place. They are laid last, after all others.

use super::addresses::{Layer, Run};
use super::chain::{Chain, Item, items};
use super::dmx::is_dmx;
use crate::grid::Grid;
use crate::model::{Addressing, Controller, ControllerId, Model, StringId};
use crate::plan::{Placed, PortPlan, Why};
use crate::rules::address::pin;

/// Lays them.
pub(super) fn lay(layer: &mut Layer<'_>) {
    let model = layer.model;
    if model.strings.iter().all(|string| string.same_as.is_none()) {
        return;
    }
    let roots = roots(model);
    for (owner, port) in layer.ports.iter().enumerate() {
        let items = items(model, port, true);
        if items.iter().all(|item| item.same.is_none()) {
            continue;
        }
        let Some(declared) = model.controller(port.controller) else {
            continue;
        };
        let run = Run {
            grid: Grid::of(model, declared),
            controller: port.controller.index(),
            declared,
            owner: owner as u32,
            first: false,
        };
        output(layer, &run, port, &items, &roots);
    }
}

/// For each string the one whose place it takes in the end: itself, if it shows no other's data.
fn roots(model: &Model) -> Vec<StringId> {
    let count = model.strings.len();
    let mut roots: Vec<Option<StringId>> = vec![None; count];
    let mut way = Vec::new();
    for index in 0..count {
        let mut at = StringId::from(index);
        let root = loop {
            if let Some(root) = roots.get(at.index()).copied().flatten() {
                break root;
            }
            match model.string(at).and_then(|string| string.same_as) {
                // A ring was refused before; only a ring makes a path as long as the table.
                Some(next) if way.len() < count => {
                    way.push(at);
                    at = next;
                }
                Some(_) | None => break at,
            }
        };
        way.push(at);
        for id in way.drain(..) {
            if let Some(entry) = roots.get_mut(id.index()) {
                *entry = Some(root);
            }
        }
    }
    let rooted = roots.into_iter().enumerate();
    rooted.map(|(index, root)| root.unwrap_or(StringId::from(index))).collect()
}

fn output(
    layer: &mut Layer<'_>,
    run: &Run<'_>,
    port: &PortPlan,
    items: &[Item],
    roots: &[StringId],
) {
    let alone = items.iter().all(|item| item.same.is_some());
    // Where an unbroken port goes on; `None` at its start.
    let mut chain_at: Option<u64> = None;
    let chain = Chain::new(run.grid, run.declared, items);
    let mut universe = (!alone)
        .then(|| items.iter().find_map(|item| own_place(layer, item)))
        .flatten()
        .map(|placed| run.grid.universe(placed.start));
    for (index, item) in items.iter().enumerate() {
        let Some(shown) = item.same else {
            continue;
        };
        let root = roots.get(shown.index()).copied().unwrap_or(shown);
        let Some(place) = layer.placed.get(root.index()).copied().flatten() else {
            continue;
        };
        let falls = match run.declared.addressing {
            _ if is_dmx(port) => None,
            Addressing::PerProp => None,
            Addressing::Consecutive => own_place(layer, item).map(|placed| placed.start),
            // Own nodes on the line would be out of step with those of another string.
            Addressing::PerPort if !alone => Some(u64::MAX),
            Addressing::PerPort => {
                chain_at.map(|at| run.grid.lay(chain.begin(index, at), item.body).start)
            }
        };
        if let Some(falls) = falls
            && falls != place.start
        {
            report(layer, run, item, shown, alone);
        } else if is_dmx(port) {
            let here = run.grid.universe(place.start);
            let first = *universe.get_or_insert(here);
            if first != here {
                let one = (item.id, item.at);
                let finding = pin::other_universe(layer.model, one, shown, (here, first));
                layer.sink.push(finding);
            }
        }
        tell_cut(layer, run, item, root, &place);
        if let Some((channel, at)) = item.pin
            && channel != place.start
        {
            let finding = pin::not_the_shown(
                layer.model,
                (item.id, item.at),
                shown,
                (channel, at),
                place.start,
            );
            layer.sink.push(finding);
        }
        layer.set(run, item, &(place.start..place.end + 1), Why::SameAs(shown));
        chain_at = Some(place.end + 1);
    }
}

fn report(layer: &mut Layer<'_>, run: &Run<'_>, item: &Item, shown: StringId, alone: bool) {
    // Where something before it is missing, it may only seem misplaced.
    let port = layer.ports.get(run.owner as usize);
    let output = port.map(|port| port.output);
    let id = ControllerId::from(run.controller);
    if alone && output.is_some_and(|output| layer.model.gaps.of_line(id, output)) {
        return;
    }
    let one = (item.id, item.at);
    let finding = pin::port_of_its_own(layer.model, one, shown, run.controller, alone);
    layer.sink.push(finding);
}

/// Reports a string that shows the data of a string on a controller which uses more or fewer slots
/// of each universe, or keeps nodes whole, where this controller would read it from other slots.
fn tell_cut(layer: &mut Layer<'_>, run: &Run<'_>, item: &Item, root: StringId, place: &Placed) {
    let model = layer.model;
    let Some(theirs) = layer.ports.get(place.port as usize) else {
        return;
    };
    let Some(other) = model.controller(theirs.controller).filter(|_| !is_dmx(theirs)) else {
        return;
    };
    let all = model.display.universe_slots;
    let slots = (run.declared.slots_used(all), other.slots_used(all));
    let whole = |one: &Controller| model.display.whole_nodes || one.whole_nodes;
    let alike = slots.0 == slots.1 && whole(run.declared) == whole(other);
    let read = run.grid.lay(place.start, item.body);
    if !alike && read != (place.start..place.end + 1) {
        let whose = (run.declared, other);
        let finding = pin::other_cut(model, (item.id, item.at), root, whose, slots);
        layer.sink.push(finding);
    }
}

fn own_place(layer: &Layer<'_>, item: &Item) -> Option<Placed> {
    layer.placed.get(item.id.index()).copied().flatten()
}
