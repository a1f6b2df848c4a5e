//! References to ports: `boathouse.3`, `jetty.1..4`, `boathouse.dmx1`, `boathouse`, `any`.

use super::matching::Reader;
use super::settings::MOST_PORTS;
use crate::ast::{Part, Reference};
use crate::diagnostic::{Sink, words};
use crate::model::{Controller, ControllerId, Model, ReceiverId, Target};
use crate::rules;
use crate::rules::wire::no_port::{self, Missing};
use crate::source::Span;

/// What a reference to ports means.
#[derive(Debug, Clone)]
pub enum Spot {
    /// One port or output.
    One(Target),
    /// A range of ports, in the order written.
    Range(Vec<Target>),
    /// Any port of a controller or receiver, or any at all.
    Open(Target),
}

impl Spot {
    /// Its targets.
    pub fn targets(&self) -> &[Target] {
        match self {
            Self::One(target) | Self::Open(target) => std::slice::from_ref(target),
            Self::Range(targets) => targets,
        }
    }

    /// Makes a controller and receiver that a wire names part of the display, if from `stock`.
    pub fn name_in(&self, model: &mut Model) {
        let (controller, receiver) = match self.targets().first() {
            Some(Target::Port(controller, _, receiver)) => (Some(*controller), *receiver),
            Some(Target::Dmx(controller, _) | Target::Controller(controller)) => {
                (Some(*controller), None)
            }
            Some(Target::Receiver(receiver)) => {
                (Some(model.receivers[*receiver].controller), Some(*receiver))
            }
            Some(Target::Any) | None => (None, None),
        };
        if let Some(id) = controller {
            model.controllers[id].stock = false;
        }
        if let Some(id) = receiver {
            model.receivers[id].stock = false;
        }
    }
}

/// Finds ports by name.
pub struct Ports<'p, 'a> {
    /// Reads names and numbers.
    pub reader: &'p Reader<'p, 'a>,
    /// The index in the model of each receiver declared, if it is there.
    pub receivers: &'p [Option<u32>],
}

impl Ports<'_, '_> {
    /// What a reference means; `None` once reported, or if what it names is known to be broken.
    pub fn find(&self, reference: &Reference, model: &Model, sink: &mut Sink) -> Option<Spot> {
        let names = self.reader.names;
        let key = names.key(reference.name);
        let controller = names.controllers.get(&key).map(ControllerId);
        let receiver = match controller {
            Some(_) => None,
            None => names.receivers.get(&key),
        };
        if let Some(selector) = &reference.members {
            let target = names.text(reference.name);
            sink.push(rules::syntax::unexpected::target_members(selector.span, target));
            return None;
        }
        let receiver = match receiver {
            Some(index) => Some(ReceiverId(self.receivers.get(index as usize).copied()??)),
            None => None,
        };
        match (controller, receiver) {
            (Some(id), _) => self.of_controller(reference, id, model, sink),
            (None, Some(id)) => self.of_receiver(reference, id, model, sink),
            (None, None) if key == "any" && reference.part.is_none() => {
                Some(Spot::Open(Target::Any))
            }
            (None, None) => {
                let unnamed = names.has_unnamed("controller") || names.has_unnamed("receiver");
                if !names.is_mentioned(&key) && !unnamed {
                    let known = names.held(&names.controllers);
                    let known = known.chain(names.held(&names.receivers));
                    let at = reference.name.span;
                    let kind = "controller or receiver";
                    if let Some((name, number)) = numbered(&key)
                        && (names.controllers.get(name).is_some()
                            || names.receivers.get(name).is_some())
                    {
                        let meant = format!("{name}.{number}");
                        sink.push(rules::name::unknown::numbered(at, kind, &key, &meant));
                        return None;
                    }
                    sink.push(rules::name::unknown::name(
                        at,
                        kind,
                        &key,
                        known,
                        names.kind_of(&key),
                    ));
                }
                None
            }
        }
    }

    /// The ports and outputs that a reference names; one that leaves the port open is reported.
    pub fn named(
        &self,
        reference: &Reference,
        model: &Model,
        sink: &mut Sink,
    ) -> Option<Vec<Target>> {
        match self.find(reference, model, sink)? {
            Spot::Open(_) => {
                let at = reference.span;
                let written = self.reader.names.text_at(at);
                sink.push(rules::syntax::unexpected::port_wanted(at, written));
                None
            }
            spot => Some(spot.targets().to_vec()),
        }
    }

    fn of_controller(
        &self,
        reference: &Reference,
        id: ControllerId,
        model: &Model,
        sink: &mut Sink,
    ) -> Option<Spot> {
        let controller = &model.controllers[id];
        match &reference.part {
            None => Some(Spot::Open(Target::Controller(id))),
            Some(Part::Name(word)) => {
                let written = self.reader.names.text(*word);
                let number = written.strip_prefix("dmx").and_then(|n| n.parse::<u32>().ok());
                let there = number.filter(|n| controller.dmx.iter().any(|out| out.value == *n));
                if let Some(number) = there {
                    return Some(Spot::One(Target::Dmx(id, number)));
                }
                if !model.gaps.outputs.contains(&id) {
                    let missing = number.map_or(Missing::Other(written), Missing::Dmx);
                    let has = match missing {
                        Missing::Dmx(_) => dmx_outputs(controller),
                        _ => outputs(controller),
                    };
                    let (name, at) = (&controller.name, controller.at);
                    let finding = no_port::beyond(word.span, name, missing, has.as_deref(), at);
                    sink.push(finding);
                }
                None
            }
            Some(Part::Number(range)) => {
                let (from, to) = ends(self.reader, range, sink)?;
                if range.to.is_none() && controller.port(from).is_some() {
                    return Some(Spot::One(Target::Port(id, from, None)));
                }
                let numbers = numbers(from, to);
                let lacks = |number: &&u32| controller.port(**number).is_none();
                let missing: Vec<u32> = numbers.iter().filter(lacks).copied().collect();
                if let Some(missing) = stretch(&missing) {
                    if !model.gaps.outputs.contains(&id) {
                        let has = outputs(controller);
                        sink.push(no_port::beyond(
                            range.span,
                            &controller.name,
                            Missing::Ports(missing.0, missing.1),
                            has.as_deref(),
                            controller.at,
                        ));
                    }
                    return None;
                }
                Some(spots(range.to.is_some(), numbers, |n| Target::Port(id, n, None)))
            }
        }
    }

    fn of_receiver(
        &self,
        reference: &Reference,
        id: ReceiverId,
        model: &Model,
        sink: &mut Sink,
    ) -> Option<Spot> {
        let receiver = &model.receivers[id];
        let own = receiver.last - receiver.first + 1;
        let has = ports_in_words(&(1..=own).collect::<Vec<_>>());
        let mut lacks = |at: Span, missing: Missing<'_>| {
            let (name, at_name) = (&receiver.name, receiver.at);
            sink.push(no_port::beyond(at, name, missing, Some(&has), at_name));
        };
        match &reference.part {
            None => Some(Spot::Open(Target::Receiver(id))),
            Some(Part::Name(word)) => {
                lacks(word.span, Missing::Other(self.reader.names.text(*word)));
                None
            }
            Some(Part::Number(range)) => {
                let mut found = Sink::default();
                let Some((from, to)) = ends(self.reader, range, &mut found) else {
                    for finding in found.finish() {
                        sink.push(finding);
                    }
                    return None;
                };
                let numbers = numbers(from, to);
                let beyond: Vec<u32> = numbers.iter().copied().filter(|n| *n > own).collect();
                if let Some((first, last)) = stretch(&beyond) {
                    lacks(range.span, Missing::Carried(first, last));
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

/// The ends of a range of ports as written, which may fall.
fn ends(
    reader: &Reader<'_, '_>,
    range: &crate::ast::SelRange,
    sink: &mut Sink,
) -> Option<(u32, u32)> {
    reader.ends(range, "the port", (1, MOST_PORTS), sink)
}

fn numbers(from: u32, to: u32) -> Vec<u32> {
    if from <= to { (from..=to).collect() } else { (to..=from).rev().collect() }
}

/// A name that ends in a number, cut before it: `shed`, `3`. A `-` or `_` between them is dropped.
pub fn numbered(name: &str) -> Option<(&str, &str)> {
    let stem = name.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = name.get(stem.len()..).filter(|number| !number.is_empty())?;
    Some((stem.trim_end_matches(['-', '_']), number))
}

/// The smallest and the largest of some numbers, if there are any.
fn stretch(numbers: &[u32]) -> Option<(u32, u32)> {
    Some((*numbers.iter().min()?, *numbers.iter().max()?))
}

/// The outputs of a controller in words, `ports 1 to 16 and output dmx1`; `None` without outputs.
fn outputs(controller: &Controller) -> Option<String> {
    let numbers: Vec<u32> = controller.ports.iter().map(|port| port.number).collect();
    let ports = (!numbers.is_empty()).then(|| ports_in_words(&numbers));
    let both: Vec<String> = ports.into_iter().chain(dmx_outputs(controller)).collect();
    (!both.is_empty()).then(|| words::list(&both, "and"))
}

/// The DMX outputs of a controller in words; `None` if it has none.
fn dmx_outputs(controller: &Controller) -> Option<String> {
    let dmx: Vec<u32> = controller.dmx.iter().map(|out| out.value).collect();
    match runs(&dmx).as_slice() {
        [] => None,
        [(one, last)] if one == last => Some(format!("output dmx{one}")),
        runs => {
            let words: Vec<String> = runs
                .iter()
                .map(|(first, last)| match first == last {
                    true => format!("dmx{first}"),
                    false => format!("dmx{first} to dmx{last}"),
                })
                .collect();
            Some(format!("outputs {}", words::list(&words, "and")))
        }
    }
}

/// Ports in words, by rising numbers: `port 1`, `ports 1 to 4 and 9 to 12`.
pub fn ports_in_words(numbers: &[u32]) -> String {
    let words: Vec<String> = runs(numbers)
        .iter()
        .map(|(first, last)| match first == last {
            true => first.to_string(),
            false => format!("{first} to {last}"),
        })
        .collect();
    let kind = if numbers.len() == 1 { "port" } else { "ports" };
    format!("{kind} {}", words::list(&words, "and"))
}

/// Rising numbers as runs of neighbours.
fn runs(numbers: &[u32]) -> Vec<(u32, u32)> {
    numbers
        .chunk_by(|a, b| a.checked_add(1) == Some(*b))
        .filter_map(|run| Some((*run.first()?, *run.last()?)))
        .collect()
}
