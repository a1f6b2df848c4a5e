//! What may be missing because a statement did not resolve, by the names in it.

use super::matching::Reader;
use super::refs;
use super::targets::{Ports, Spot, numbered};
use crate::ast::Reference;
use crate::diagnostic::Sink;
use crate::diagnostic::words::nearest;
use crate::model::{ControllerId, Model, PropId, ReceiverId, StringId, Target};

/// The controller with a name, or that of the receiver with this name.
pub fn controller_of(ports: &Ports<'_, '_>, key: &str, model: &Model) -> Option<ControllerId> {
    let names = ports.reader.names;
    if let Some(at) = names.controllers.get(key) {
        return Some(ControllerId(at));
    }
    let at = names.receivers.get(key)?;
    let at = ports.receivers.get(at as usize).copied()??;
    Some(model.receivers[ReceiverId(at)].controller)
}

/// The controllers that an unresolved target may mean: the one it names, or those with similar
/// names.
fn meant(ports: &Ports<'_, '_>, target: &Reference, model: &Model) -> Vec<ControllerId> {
    let names = ports.reader.names;
    let key = names.key(target.name);
    if let Some(id) = controller_of(ports, &key, model) {
        return vec![id];
    }
    let all = names.controllers.names().chain(names.receivers.names());
    let near = nearest(&key, all);
    near.iter().filter_map(|name| controller_of(ports, name, model)).collect()
}

/// Whether a target names a receiver. If its controller is not known, it may be on any.
fn is_receiver(reader: &Reader<'_, '_>, target: &Reference) -> bool {
    let key = reader.names.key(target.name);
    reader.names.receivers.get(&key).is_some()
}

/// Notes that the line of a wire to a target is missing.
pub fn of_wire(ports: &Ports<'_, '_>, target: &Reference, model: &mut Model) {
    let meant = meant(ports, target, model);
    model.gaps.anywhere |= meant.is_empty() && is_receiver(ports.reader, target);
    model.gaps.lines.extend(meant.into_iter().map(|id| (id, None)));
}

/// Notes that something is missing from what hangs on a target.
pub fn of_line(target: Target, model: &mut Model) {
    let carrier = match target {
        Target::Receiver(id) => Some(model.receivers[id].controller),
        _ => None,
    };
    model.gaps.line(target, || carrier);
}

/// Notes that a `power` for a target is missing.
pub fn of_power(ports: &Ports<'_, '_>, target: &Reference, model: &mut Model) {
    let spot = ports.find(target, model, &mut Sink::default());
    let mut found = false;
    for named in spot.iter().flat_map(Spot::targets) {
        if let Target::Port(id, port, _) = *named {
            found = true;
            model.gaps.feeds.insert((id, port, port));
        }
    }
    if !found {
        let meant = meant(ports, target, model);
        model.gaps.any_feed |= meant.is_empty() && is_receiver(ports.reader, target);
        model.gaps.feeds.extend(meant.into_iter().map(|id| (id, 0, u32::MAX)));
    }
}

/// Notes that an `inject` into a prop is missing.
pub fn of_injection(reader: &Reader<'_, '_>, target: &Reference, model: &mut Model) {
    let picked = refs::pick(reader, model, target, &mut Sink::default());
    let strings: Vec<_> = match picked {
        Some(picked) => picked.strings,
        None => {
            let prop = reader.names.props.get(&reader.names.key(target.name));
            let strings = prop.map_or(0..0, |at| model.props[PropId(at)].strings());
            strings.map(StringId).collect()
        }
    };
    model.gaps.injected.extend(strings);
}

/// The props that an unresolved reference may mean: the one it names, its family, or those with
/// similar names.
pub fn props_meant(reader: &Reader<'_, '_>, reference: &Reference) -> Vec<PropId> {
    let names = reader.names;
    let key = names.key(reference.name);
    let family = numbered(&key).and_then(|(family, _)| names.props.get(family));
    if let Some(at) = names.props.get(&key).or(family) {
        return vec![PropId(at)];
    }
    let near = nearest(&key, names.props.names());
    near.iter().filter_map(|name| names.props.get(name)).map(PropId).collect()
}
