//! `reserve`, `stored`, `renamed`, `supply`, `circuit`, `power` and `inject`.

use super::controllers::circuit;
use super::like::Lineage;
use super::makes::count;
use super::matching::{Reader, Value};
use super::names::Names;
use super::settings::{FAR_UM, FUSE_UA, Key, MOST_SLOTS, Scope};
use super::targets::Ports;
use super::{gaps, refs, settings_of, stated};
use crate::ast::{BlockKind, Feed, Inject, Power, Reference, Renamed, Reserve, ReserveKind, Where};
use crate::diagnostic::Sink;
use crate::model::{
    Circuit, FeedLead, InjectAt, Injection, Model, Output, PowerFeed, Rename, ReservedOutput,
    ReservedUniverses, Stated, Supply, SupplyId, Target,
};
use crate::rules;
use crate::source::Span;
use crate::unit::Dimension;
use std::collections::HashMap;
use unicode_normalization::UnicodeNormalization;

/// The efficiency of a supply that states none, in thousandths of a percent; common practice for
/// switching supplies.
const USUAL_EFFICIENCY: u32 = 85_000;

/// Reads the `supply` statements.
pub fn supplies(
    reader: &Reader<'_, '_>,
    lineage: &Lineage<'_, '_>,
    model: &mut Model,
    sink: &mut Sink,
) {
    let made = lineage.each(|_, row, like: Option<&Supply>| {
        let mut supply =
            like.cloned().unwrap_or(Supply { efficiency: USUAL_EFFICIENCY, ..Supply::default() });
        supply.name = row.name.as_ref().into();
        supply.at = row.block.name.span;
        let scope = Scope::Of(BlockKind::Supply);
        for set in settings_of(reader, scope, &row.block.settings, sink) {
            match (set.key, set.value(0)) {
                (Key::Volts, _) => supply.volts = Some(stated(&set, set.number(0))),
                (Key::Rated, _) => supply.rated = Some(stated(&set, set.number(0))),
                (Key::Fuse, _) => supply.fuse = Some(stated(&set, set.number(0))),
                (Key::Efficiency, _) => supply.efficiency = count(set.number(0)),
                (Key::Stands, Some(Value::Range(x, y))) => supply.stands = Some((x, y)),
                (Key::On, Some(Value::Word(word))) => supply.circuit = circuit(reader, word, sink),
                _ => {}
            }
        }
        supply
    });
    model.supplies = made.into();
}

/// Reads the `circuit` statements.
pub fn circuits(
    reader: &Reader<'_, '_>,
    lineage: &Lineage<'_, '_>,
    model: &mut Model,
    sink: &mut Sink,
) {
    let made = lineage.each(|_, row, like: Option<&Circuit>| {
        let mut circuit = like.cloned().unwrap_or_default();
        circuit.name = row.name.as_ref().into();
        circuit.at = row.block.name.span;
        let scope = Scope::Of(BlockKind::Circuit);
        for set in settings_of(reader, scope, &row.block.settings, sink) {
            match set.key {
                Key::Volts => circuit.volts = Some(stated(&set, set.number(0))),
                Key::Breaker => circuit.breaker = Some(stated(&set, set.number(0))),
                _ => {}
            }
        }
        circuit
    });
    model.circuits = made.into();
}

/// Resolves a `reserve`.
pub fn reserve(ports: &Ports<'_, '_>, reserve: &Reserve, model: &mut Model, sink: &mut Sink) {
    let reader = ports.reader;
    let reason: Option<Box<str>> = reserve.reason.map(|text| reader.names.said(text).into());
    match &reserve.what {
        ReserveKind::Universes(range) => {
            let bounds = (i64::MIN, i64::MAX);
            let ends = reader.range(range, "the universe", bounds, sink);
            let Some((first, last)) = ends else { return };
            let outside = [first, last].into_iter().find(|n| !super::controllers::is_universe(*n));
            if let Some(universe) = outside {
                sink.push(rules::address::range::universe(range.span, universe));
                return;
            }
            if first > last {
                sink.push(rules::syntax::number::backwards(range.span, first, last));
                return;
            }
            let (first, last) = (count(first), count(last));
            model.reserved_universes.push(ReservedUniverses {
                at: range.span,
                first,
                last,
                reason,
            });
        }
        ReserveKind::Port(reference) => {
            let at = reference.span;
            for (controller, output) in outputs(ports, reference, model, sink) {
                model.reserved_outputs.push(ReservedOutput {
                    at,
                    controller,
                    output,
                    slots: None,
                    reason: reason.clone(),
                });
            }
        }
        ReserveKind::Slots(reference, range) => {
            let most = i64::from(model.display.universe_slots.get());
            let ends = reader.rising(range, "the slot", (1, most), sink);
            let Some((first, last)) = ends.map(|(first, last)| (count(first), count(last))) else {
                return;
            };
            for (controller, output) in outputs(ports, reference, model, sink) {
                if let Output::Pixel(_) = output {
                    let at = reference.span;
                    sink.push(rules::wire::kind::reserved_slots(at));
                    return;
                }
                model.reserved_outputs.push(ReservedOutput {
                    at: range.span,
                    controller,
                    output,
                    slots: Some((first, last)),
                    reason: reason.clone(),
                });
            }
        }
    }
}

fn outputs(
    ports: &Ports<'_, '_>,
    reference: &Reference,
    model: &Model,
    sink: &mut Sink,
) -> Vec<(crate::model::ControllerId, Output)> {
    let targets = ports.named(reference, model, sink).unwrap_or_default();
    targets
        .into_iter()
        .filter_map(|target| match target {
            Target::Port(controller, port, _) => Some((controller, Output::Pixel(port))),
            Target::Dmx(controller, output) => Some((controller, Output::Dmx(output))),
            _ => None,
        })
        .collect()
}

/// Resolves a `stored`.
pub fn stored(reader: &Reader<'_, '_>, refs: &[Reference], model: &mut Model, sink: &mut Sink) {
    for reference in refs {
        let Some(picked) = refs::pick(reader, model, reference, sink) else {
            continue;
        };
        for id in picked.strings {
            model.strings[id].stored = true;
            model.stored_at.push((id, reference.span));
        }
    }
}

/// A reference as it is compared: in NFC, without blanks and comments.
fn bare(names: &Names<'_>, reference: &Reference) -> Box<str> {
    let lines = names.text_at(reference.span).lines();
    let words = lines.flat_map(|line| line.split('#').next()).flat_map(str::split_whitespace);
    words.flat_map(UnicodeNormalization::nfc).collect::<String>().into()
}

/// The first `renamed` for each old and each new name.
#[derive(Default)]
pub struct Renames<'a> {
    by_old: HashMap<Box<str>, &'a Renamed>,
    by_new: HashMap<Box<str>, &'a Renamed>,
}

impl<'a> Renames<'a> {
    /// Reads all `renamed` statements of a display, in file order.
    pub fn read(names: &Names<'a>, all: impl Iterator<Item = &'a Renamed>) -> Self {
        let mut renames = Self::default();
        for one in all {
            renames.by_old.entry(bare(names, &one.old)).or_insert(one);
            renames.by_new.entry(bare(names, &one.new)).or_insert(one);
        }
        renames
    }
}

/// Resolves a `renamed`. The new name must exist. The old one must not, unless another `renamed`
/// gives it to something else.
pub fn renamed(
    reader: &Reader<'_, '_>,
    all: &Renames<'_>,
    renamed: &Renamed,
    model: &mut Model,
    sink: &mut Sink,
) {
    let names = reader.names;
    let (old, new) = (&renamed.old, &renamed.new);
    let key = names.key(new.name);
    let controller = new.members.is_none()
        && new.part.is_none()
        && names.props.get(&key).is_none()
        && names.controllers.get(&key).is_some();
    if !controller && refs::pick(reader, model, new, sink).is_none() {
        return;
    }
    let (old_text, new_text) = (bare(names, old), bare(names, new));
    let firsts = [all.by_old.get(&old_text), all.by_new.get(&new_text)];
    let before = |other: &&Renamed| other.new.span.start < new.span.start;
    let other = firsts.into_iter().flatten().copied().filter(before);
    if let Some(other) = other.min_by_key(|other| other.new.span.start) {
        let (at, first, name) = if bare(names, &other.old) == old_text {
            (old.span, other.old.span, old_text)
        } else {
            (new.span, other.new.span, new_text)
        };
        sink.push(rules::name::taken::renamed_twice(at, first, &name));
        return;
    }
    // An old name that still exists is right only if another `renamed` gives that name.
    let whole = old.members.is_none() && old.part.is_none();
    let still = match controller {
        true => {
            names.controllers.get(&names.key(old.name)).and_then(|at| names.controllers.row(at))
        }
        false => names.props.get(&names.key(old.name)).and_then(|at| names.props.row(at)),
    };
    let gives = all.by_new.contains_key(&old_text);
    if let Some(row) = still.filter(|_| whole && !gives) {
        let declared = row.block.name.span;
        sink.push(rules::name::taken::still_there(old.span, &old_text, &new_text, declared));
        return;
    }
    model.renames.push(Rename {
        at: old.span.to(new.span),
        old: old_text,
        old_at: old.span,
        new: new_text,
        new_at: new.span,
    });
}

fn feed<'a>(reader: &Reader<'_, 'a>, feed: &'a Feed, sink: &mut Sink) -> Option<FeedLead> {
    let names = reader.names;
    let supply = names.find(&names.supplies, feed.supply, sink);
    let far = (0, FAR_UM);
    let length = reader.measure_of(&feed.length, Dimension::Length, "the lead", far, sink);
    let gauge = reader.gauge_of(&feed.gauge, sink);
    let fuse = match &feed.fuse {
        Some(fuse) => {
            let value = reader.measure_of(fuse, Dimension::Current, "the fuse", FUSE_UA, sink)?;
            Some(Stated { value, at: fuse.span() })
        }
        None => None,
    };
    Some(FeedLead { supply: SupplyId(supply?), length_um: length?, gauge: gauge?, fuse })
}

/// Resolves a `power`.
pub fn power<'a>(
    ports: &Ports<'_, 'a>,
    power: &'a Power,
    at: Span,
    model: &mut Model,
    sink: &mut Sink,
) {
    if keep_power(ports, power, at, model, sink).is_none() {
        gaps::of_power(ports, &power.target, model);
    }
}

fn keep_power<'a>(
    ports: &Ports<'_, 'a>,
    power: &'a Power,
    at: Span,
    model: &mut Model,
    sink: &mut Sink,
) -> Option<()> {
    let lead = feed(ports.reader, &power.feed, sink);
    let targets = ports.named(&power.target, model, sink)?;
    let mut ends: Option<(crate::model::ControllerId, Option<crate::model::ReceiverId>, u32, u32)> =
        None;
    for target in targets {
        let Target::Port(controller, port, receiver) = target else {
            let at = power.target.span;
            sink.push(rules::wire::kind::power_to_dmx(at));
            return None;
        };
        let (first, last) = ends.map_or((port, port), |(_, _, a, b)| (a.min(port), b.max(port)));
        ends = Some((controller, receiver, first, last));
    }
    let (controller, receiver, first, last) = ends?;
    model.powers.push(PowerFeed { at, controller, receiver, first, last, lead: lead? });
    Some(())
}

/// Resolves an `inject`.
pub fn inject<'a>(
    reader: &Reader<'_, 'a>,
    inject: &'a Inject,
    at: Span,
    model: &mut Model,
    sink: &mut Sink,
) {
    if keep_injection(reader, inject, at, model, sink).is_none() {
        gaps::of_injection(reader, &inject.target, model);
    }
}

fn keep_injection<'a>(
    reader: &Reader<'_, 'a>,
    inject: &'a Inject,
    at: Span,
    model: &mut Model,
    sink: &mut Sink,
) -> Option<()> {
    let lead = feed(reader, &inject.feed, sink);
    let picked = refs::pick(reader, model, &inject.target, sink);
    let (place_at, place) = &inject.place;
    let mut number = |expr, what| {
        let read = reader.whole(expr, what, (1, MOST_SLOTS), sink);
        read.map(count)
    };
    let place = match place {
        Where::Start => Some(InjectAt::Start),
        Where::End => Some(InjectAt::End),
        Where::Node(n) => number(n, "the node").map(InjectAt::Node),
        Where::EveryNodes(n) => number(n, "the number of nodes").map(InjectAt::EveryNodes),
        Where::EveryStrands(n) => number(n, "the number of strands").map(InjectAt::EveryStrands),
    };
    let (lead, picked, place) = (lead?, picked?, place?);
    for &id in &picked.strings {
        let shape = model.shape(id);
        let step = match place {
            InjectAt::EveryNodes(step) => step,
            InjectAt::EveryStrands(step) => step.saturating_mul(shape.strand.unwrap_or(1)),
            InjectAt::Start | InjectAt::End | InjectAt::Node(_) => shape.nodes,
        };
        let points = shape.nodes.checked_div(step).unwrap_or(0).max(1);
        if !reader.names.may_inject(points, *place_at, sink) {
            return None;
        }
        let name = model.name_of(id);
        let finding = match place {
            _ if shape.node.is_none() => {
                Some(rules::wire::kind::injected_fixture(inject.target.span, &name, shape.at))
            }
            InjectAt::Node(n) if n > shape.nodes => Some(rules::syntax::number::no_such_node(
                *place_at,
                &name,
                n,
                shape.nodes,
                shape.at,
            )),
            InjectAt::EveryStrands(_) if shape.strand.is_none() => {
                Some(rules::syntax::unexpected::no_strands(*place_at, &name, shape.at))
            }
            _ => None,
        };
        if let Some(finding) = finding {
            sink.push(finding);
            return None;
        }
    }
    model.injections.push(Injection {
        at,
        strings: picked.strings,
        place,
        lead,
        apart: inject.apart.is_some(),
    });
    Some(())
}
