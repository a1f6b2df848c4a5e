//! What a reference to ports means: `boathouse.3`, `jetty.1..4`, `boathouse.dmx1`, `boathouse`, `any`.

use super::matching::Reader;
use super::settings::MOST_PORTS;
use crate::ast::{Part, Reference};
use crate::diagnostic::Sink;
use crate::model::{ControllerId, Model, ReceiverId, Target};
use crate::rules;
use crate::source::Span;

/// What a target is.
#[derive(Debug, Clone)]
pub enum Spot {
    /// One port or output.
    One(Target),
    /// A range of ports, in the order written.
    Range(Vec<Target>),
    /// A controller, receiver or anything.
    Open(Target),
}

impl Spot {
    /// What a wire names is part of the display, from `stock` or not.
    pub fn name_in(&self, model: &mut Model) {
        let first = match self {
            Self::One(target) | Self::Open(target) => Some(*target),
            Self::Range(targets) => targets.first().copied(),
        };
        let (controller, receiver) = match first {
            Some(Target::Port(controller, _, receiver)) => (Some(controller), receiver),
            Some(Target::Dmx(controller, _) | Target::Controller(controller)) => {
                (Some(controller), None)
            }
            Some(Target::Receiver(receiver)) => {
                let controller = model.receivers.get(receiver.index()).map(|r| r.controller);
                (controller, Some(receiver))
            }
            Some(Target::Any) | None => (None, None),
        };
        if let Some(one) = controller.and_then(|id| model.controllers.get_mut(id.index())) {
            one.stock = false;
        }
        if let Some(one) = receiver.and_then(|id| model.receivers.get_mut(id.index())) {
            one.stock = false;
        }
    }
}

/// Finds ports by name.
pub struct Ports<'p> {
    /// The receiver in the model of each receiver declared, if it has its place there.
    pub receivers: &'p [Option<u32>],
}

impl Ports<'_> {
    /// What a reference means; `None` once told, or where what it names is known to be broken.
    pub fn find(
        &self,
        reader: &Reader<'_, '_>,
        reference: &Reference,
        model: &Model,
        sink: &mut Sink,
    ) -> Option<Spot> {
        let names = reader.names;
        let key = names.key(reference.name);
        let controller = names.controllers.use_name(&key).map(ControllerId);
        let receiver = match controller {
            Some(_) => None,
            None => names.receivers.use_name(&key),
        };
        if let Some(selector) = &reference.members {
            let target = names.text(reference.name);
            sink.push(rules::syntax::unexpected::target_members(
                selector.span,
                target,
            ));
            return None;
        }
        let receiver = match receiver {
            Some(index) => Some(ReceiverId(self.receivers.get(index as usize).copied()??)),
            None => None,
        };
        match (controller, receiver) {
            (Some(id), _) => self.of_controller(reader, reference, id, model, sink),
            (None, Some(id)) => self.of_receiver(reader, reference, id, model, sink),
            (None, None) if key == "any" && reference.part.is_none() => {
                Some(Spot::Open(Target::Any))
            }
            (None, None) => {
                if !names.is_mentioned(&key) {
                    let known = names.controllers.names().chain(names.receivers.names());
                    let at = reference.name.span;
                    let kind = "controller or receiver";
                    sink.push(rules::name::unknown::name(at, kind, &key, known));
                }
                None
            }
        }
    }

    fn of_controller(
        &self,
        reader: &Reader<'_, '_>,
        reference: &Reference,
        id: ControllerId,
        model: &Model,
        sink: &mut Sink,
    ) -> Option<Spot> {
        let controller = model.controller(id)?;
        match &reference.part {
            None => Some(Spot::Open(Target::Controller(id))),
            Some(Part::Name(word)) => {
                let written = reader.names.text(*word);
                let number = written
                    .strip_prefix("dmx")
                    .and_then(|n| n.parse::<u32>().ok());
                let there = number.filter(|n| controller.dmx.iter().any(|out| out.value == *n));
                match there {
                    Some(number) => Some(Spot::One(Target::Dmx(id, number))),
                    None => {
                        if !controller.broken {
                            let has = outputs(model, id);
                            let (name, at) = (&controller.name, controller.at);
                            let finding =
                                rules::wire::no_port::beyond(word.span, name, written, &has, at);
                            sink.push(finding);
                        }
                        None
                    }
                }
            }
            Some(Part::Number(range)) => {
                let numbers = numbers(reader, range, sink)?;
                for number in &numbers {
                    if controller.port(*number).is_none() {
                        if controller.broken {
                            return None;
                        }
                        let has = outputs(model, id);
                        let at = range.span;
                        let port = number.to_string();
                        let name = &controller.name;
                        sink.push(rules::wire::no_port::beyond(
                            at,
                            name,
                            &port,
                            &has,
                            controller.at,
                        ));
                        return None;
                    }
                }
                Some(spots(range.to.is_some(), numbers, |n| {
                    Target::Port(id, n, None)
                }))
            }
        }
    }

    fn of_receiver(
        &self,
        reader: &Reader<'_, '_>,
        reference: &Reference,
        id: ReceiverId,
        model: &Model,
        sink: &mut Sink,
    ) -> Option<Spot> {
        let receiver = model.receivers.get(id.index())?;
        let own = receiver.last - receiver.first + 1;
        let has = match own {
            1 => "port 1".to_owned(),
            own => format!("ports 1 to {own}"),
        };
        let mut missing = |at: Span, port: &str| {
            let (name, at_name) = (&receiver.name, receiver.at);
            sink.push(rules::wire::no_port::beyond(at, name, port, &has, at_name));
        };
        match &reference.part {
            None => Some(Spot::Open(Target::Receiver(id))),
            Some(Part::Name(word)) => {
                missing(word.span, reader.names.text(*word));
                None
            }
            Some(Part::Number(range)) => {
                let mut found = Sink::default();
                let Some(numbers) = numbers(reader, range, &mut found) else {
                    for finding in found.finish() {
                        sink.push(finding);
                    }
                    return None;
                };
                if let Some(over) = numbers.iter().find(|n| !(1..=own).contains(*n)) {
                    missing(range.span, &over.to_string());
                    return None;
                }
                let target =
                    |n| Target::Port(receiver.controller, receiver.first + n - 1, Some(id));
                Some(spots(range.to.is_some(), numbers, target))
            }
        }
    }
}

fn spots(is_range: bool, numbers: Vec<u32>, target: impl Fn(u32) -> Target) -> Spot {
    match (is_range, numbers.as_slice()) {
        (false, [one]) => Spot::One(target(*one)),
        _ => Spot::Range(numbers.into_iter().map(target).collect()),
    }
}

fn numbers(
    reader: &Reader<'_, '_>,
    range: &crate::ast::SelRange,
    sink: &mut Sink,
) -> Option<Vec<u32>> {
    let bounds = (1, MOST_PORTS);
    let (from, to) = reader
        .lets
        .ends(reader.names, range, "the port", bounds, sink)?;
    Some(if from <= to {
        (from..=to).collect()
    } else {
        (to..=from).rev().collect()
    })
}

/// The outputs a controller has, in words: `ports 1 to 16 and output dmx1`.
fn outputs(model: &Model, id: ControllerId) -> String {
    let Some(controller) = model.controller(id) else {
        return String::new();
    };
    let mut words = Vec::new();
    let numbers: Vec<u32> = controller.ports.iter().map(|port| port.number).collect();
    match numbers.as_slice() {
        [] => {}
        [one] => words.push(format!("port {one}")),
        [first, .., last] => words.push(format!("ports {first} to {last}")),
    }
    let dmx: Vec<u32> = controller.dmx.iter().map(|out| out.value).collect();
    match dmx.as_slice() {
        [] => {}
        [one] => words.push(format!("output dmx{one}")),
        [first, .., last] => words.push(format!("outputs dmx{first} to dmx{last}")),
    }
    match words.as_slice() {
        [] => "no ports".to_owned(),
        words => crate::diagnostic::words::list(words, "and"),
    }
}
