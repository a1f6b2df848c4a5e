//! The names of outputs, ports, strings, feeds and channels, as a display writes them.

use crate::loads::Remedy;
use crate::model::{
    ControllerId, InjectAt, Model, Output, PieceKind, PowerFeed, Receiver, ReceiverId, StringId,
};
use crate::plan::{Plan, PortId, PortPlan};
use crate::unit::{Dimension, counted, quantity};

/// An output as a wire names it: `boathouse.3`, `boathouse.dmx1`.
#[must_use]
pub fn output_name(model: &Model, controller: ControllerId, output: Output) -> String {
    format!("{}.{}", model.controllers[controller].name, output.name())
}

/// A pixel port by where it comes out: its receiver's port (`pond.1`), else its controller's.
#[must_use]
pub fn port_name(
    model: &Model,
    controller: ControllerId,
    number: u32,
    receiver: Option<ReceiverId>,
) -> String {
    match receiver {
        Some(id) => {
            let receiver = &model.receivers[id];
            let own = (number + 1).saturating_sub(receiver.first);
            format!("{}.{own}", receiver.name)
        }
        None => output_name(model, controller, Output::Pixel(number)),
    }
}

/// An output by where a string of it is plugged in: its receiver's port where it has a receiver.
/// Without a string, by the receiver that all its strings share.
#[must_use]
pub fn plug_name(model: &Model, port: &PortPlan, string: Option<StringId>) -> String {
    let Output::Pixel(number) = port.output else {
        return output_name(model, port.controller, port.output);
    };
    let mut receivers = port.pieces.iter().filter_map(|piece| match piece.piece.kind {
        PieceKind::String(id, _) if string.is_none_or(|string| string == id) => {
            Some(piece.receiver)
        }
        PieceKind::String(..) | PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    });
    let first = receivers.next().flatten();
    let shared = first.filter(|first| receivers.all(|other| other == Some(*first)));
    port_name(model, port.controller, number, shared)
}

/// The output that a string is plugged into, by [`plug_name`]; empty where it has no place.
#[must_use]
pub fn plug_of(model: &Model, plan: &Plan, id: StringId) -> String {
    let port = plan.port_of(id);
    port.map_or_else(String::new, |port| plug_name(model, port, Some(id)))
}

/// Strings of one prop as references of a chain, neighbours joined to ranges.
#[must_use]
pub fn references(model: &Model, strings: &[StringId]) -> String {
    let of = |id: StringId| {
        let string = &model.strings[id];
        (string.member, string.number)
    };
    let joins = |a: &StringId, b: &StringId| {
        let ((member, number), next) = (of(*a), of(*b));
        // Strings of one member (or of no family) are neighbours; else members are.
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

/// An output by its receiver, where exactly one receiver carries it.
#[must_use]
pub fn old_plug(model: &Model, controller: ControllerId, output: Output) -> String {
    let Output::Pixel(number) = output else {
        return output_name(model, controller, output);
    };
    let carries = |receiver: &Receiver| {
        receiver.controller == controller && (receiver.first..=receiver.last).contains(&number)
    };
    let mut carriers = model.receivers.pairs().filter(|(_, one)| carries(one));
    let only = carriers.next().filter(|_| carriers.next().is_none());
    port_name(model, controller, number, only.map(|(id, _)| id))
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

/// The outlet at `receiver` of an output of the plan; `None` for a DMX output.
#[must_use]
pub fn outlet(plan: &Plan, id: PortId, receiver: Option<ReceiverId>) -> Option<Outlet> {
    let port = &plan.ports[id];
    match port.output {
        Output::Pixel(number) => {
            Some(Outlet { controller: port.controller, receiver, port: number })
        }
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
        InjectAt::EveryNodes(step) => format!("every {}", counted(step, "node")),
        InjectAt::EveryStrands(step) => format!("every {}", counted(step, "strand")),
    }
}

/// A remedy as the statement of an injection.
#[must_use]
pub fn inject_statement(model: &Model, remedy: &Remedy) -> String {
    let supply = &model.supplies[remedy.lead.supply].name;
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

/// A channel in the form of a pin: `12/1`.
#[must_use]
pub fn channel_name(model: &Model, channel: u64) -> String {
    model.display.universe_slots.place(channel)
}

/// A range of channels, the last one included: `12/1 to 12/150`.
#[must_use]
pub fn stretch_name(model: &Model, first: u64, last: u64) -> String {
    format!("{} to {}", channel_name(model, first), channel_name(model, last))
}
