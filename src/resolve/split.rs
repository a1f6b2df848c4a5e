//! `split`: how many strings a prop is cut into.
//!
//! The fewest that the ports it is wired to may drive, as even as can be, cut only between strands. Which
//! ports those are is read from the wires; a prop that no wire names may come to any port.

use super::arithmetic::Lets;
use super::names::Names;
use crate::ast::{Ast, Chain, Item, Part, Reference, StatementKind};
use crate::diagnostic::Sink;
use crate::limits::NodeTime;
use crate::model::{ControllerId, Model, NodeId, PortSettings};
use std::collections::HashMap;

/// Cuts `units` strands (of `nodes` nodes each) into the fewest strings of at most `most` nodes: the strands
/// of each string, longer strings first. A strand that is longer than that is a string by itself.
#[must_use]
pub fn even(units: u32, nodes: u32, most: Option<u32>) -> Vec<u32> {
    let longest = most.map_or(units, |most| (most / nodes.max(1)).clamp(1, units));
    let strings = units.div_ceil(longest.max(1)).max(1);
    let (each, over) = (units / strings, units % strings);
    (0..strings).map(|at| each + u32::from(at < over)).collect()
}

/// Where each prop that is named in a wire may go, by name: the targets of those wires.
#[derive(Default)]
pub struct Targets<'a> {
    by_prop: HashMap<&'a str, Vec<&'a Reference>>,
}

impl<'a> Targets<'a> {
    /// Reads the wires.
    #[must_use]
    pub fn read(ast: &'a Ast, names: &Names<'a>) -> Self {
        let mut targets = Self::default();
        for statement in &ast.statements {
            let StatementKind::Wire(wire) = &statement.kind else {
                continue;
            };
            for item in wire.chains.iter().flat_map(|chain: &Chain| &chain.items) {
                if let Item::Reference(reference, ..) = item {
                    let prop = names.text(reference.name);
                    targets.by_prop.entry(prop).or_default().push(&wire.target);
                }
            }
        }
        targets
    }

    /// The most nodes that one string of a prop may have: on the weakest port it is wired to by number, or
    /// else on the strongest it may be placed on. `None` where nothing limits it.
    #[must_use]
    pub fn most(
        &self,
        names: &Names<'a>,
        lets: &Lets<'a>,
        receivers: &[Option<u32>],
        model: &Model,
        prop: &str,
        node: NodeId,
    ) -> Option<u32> {
        let wired = self.by_prop.get(prop).map_or(&[][..], Vec::as_slice);
        let mut named: Vec<Option<u32>> = Vec::new();
        let mut open: Vec<Option<u32>> = Vec::new();
        for target in wired {
            let key = names.key(target.name);
            let controller = names.controllers.get(&key).map(ControllerId);
            let receiver = names
                .receivers
                .get(&key)
                .and_then(|at| receivers.get(at as usize).copied().flatten())
                .map(crate::model::ReceiverId);
            let place = match (controller, receiver) {
                (Some(controller), _) => Some((controller, None, 1)),
                (None, Some(id)) => model
                    .receivers
                    .get(id.index())
                    .map(|r| (r.controller, Some(id), r.first)),
                (None, None) => None,
            };
            match (place, &target.part) {
                (Some((controller, receiver, first)), Some(Part::Number(range))) => {
                    let mut quiet = Sink::default();
                    let bounds = (1, super::settings::MOST_PORTS);
                    if let Some((a, b)) = lets.ends(names, range, "", bounds, &mut quiet) {
                        let ports = a.min(b)..=a.max(b);
                        named.extend(
                            ports
                                .filter_map(|own| {
                                    model.port_settings(controller, first + own - 1, receiver)
                                })
                                .map(|settings| limit(model, &settings, node)),
                        );
                    }
                }
                (Some((controller, receiver, _)), None) => {
                    open.extend(strongest(model, controller, receiver, node));
                }
                _ => open.extend(anywhere(model, node)),
            }
        }
        if wired.is_empty() {
            open.extend(anywhere(model, node));
        }
        let weakest = named.iter().flatten().min().copied();
        // One port without a limit makes the strongest unlimited.
        let strongest = match open.iter().any(Option::is_none) {
            true => None,
            false => open.iter().flatten().max().copied(),
        };
        match (weakest, strongest) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }
}

fn anywhere(model: &Model, node: NodeId) -> Vec<Option<u32>> {
    (0..model.controllers.len())
        .flat_map(|at| strongest(model, ControllerId::from(at), None, node))
        .collect()
}

fn strongest(
    model: &Model,
    id: ControllerId,
    receiver: Option<crate::model::ReceiverId>,
    node: NodeId,
) -> Vec<Option<u32>> {
    let Some(controller) = model.controller(id) else {
        return Vec::new();
    };
    let carried = receiver.and_then(|r| model.receivers.get(r.index()));
    let chip = model.nodes.get(node.index()).and_then(|node| node.chip);
    controller
        .ports
        .iter()
        .filter(|port| carried.is_none_or(|r| (r.first..=r.last).contains(&port.number)))
        .filter_map(|port| model.port_settings(id, port.number, receiver))
        .filter(|settings| settings.slots.is_none())
        .filter(|settings| {
            settings.chips.is_empty()
                || chip.is_none_or(|chip| settings.chips.iter().any(|c| c.value == chip.value))
        })
        .map(|settings| limit(model, &settings, node))
        .collect()
}

fn limit(model: &Model, settings: &PortSettings, node: NodeId) -> Option<u32> {
    let time = model
        .nodes
        .get(node.index())
        .and_then(|node| NodeTime::of_kind(model, node).most(model.display.frame_rate_mhz));
    match (settings.nodes, time) {
        (Some(told), Some(time)) => Some(told.value.min(time)),
        (Some(told), None) => Some(told.value),
        (None, time) => time,
    }
}
