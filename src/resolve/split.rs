//! `split`: how many strings a prop is cut into.
//!
//! They are as few as the ports that it is wired to can drive, as even as possible, and cut only
//! between strands. The ports are read from the wires; a prop that no wire names may go to any
//! port. If so few strings find no room, the text is resolved again with more.

use super::matching::Reader;
use super::names::Names;
use crate::ast::{Chain, Item, Part, Reference, StatementKind, Written};
use crate::diagnostic::Sink;
use crate::limits::NodeTime;
use crate::model::{ControllerId, Model, NodeId, PortSettings};
use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::HashMap;

/// Cuts `units` strands of `nodes` nodes each into strings: `more` than the fewest with at most
/// `most` nodes. Returns the number of strands of each string, longer strings first. A strand of
/// more than `most` nodes is a string by itself.
#[must_use]
pub fn even(units: u32, nodes: u32, most: Option<u32>, more: u32) -> Vec<u32> {
    let longest = most.map_or(units, |most| (most / nodes.max(1)).clamp(1, units));
    let fewest = units.div_ceil(longest.max(1)).max(1);
    let strings = fewest.saturating_add(more).min(units.max(1));
    let (each, over) = (units / strings, units % strings);
    (0..strings).map(|at| each + u32::from(at < over)).collect()
}

/// How many ways to cut several props are tried at most.
const MOST_WAYS: usize = 100;

/// How many strings above the fewest each `split` needs until all fit. `most` is how many more each
/// can have; `None` if even those do not fit. The result begins with the last prop cut back as far
/// as possible; a way with a smaller total replaces it, first props cut least.
pub fn fewest(most: &[u32], fits: &dyn Fn(&[u32]) -> bool) -> Option<Vec<u32>> {
    if !fits(most) {
        return None;
    }
    // More strings never fit worse, so the least that fits is found by halving.
    let mut best = most.to_vec();
    for at in (0..best.len()).rev() {
        let (mut low, mut high) = (0, best.get(at).copied().unwrap_or(0));
        while low < high {
            let middle = low + (high - low) / 2;
            let mut tried = best.clone();
            if let Some(entry) = tried.get_mut(at) {
                *entry = middle;
            }
            if fits(&tried) {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        if let Some(entry) = best.get_mut(at) {
            *entry = high;
        }
    }
    // With one split that is the answer. With several, other ways may have a smaller total.
    let mut ways = 0;
    for total in 1..best.iter().sum::<u32>() {
        let mut way = vec![0; most.len()];
        while most.len() > 1 && next(&mut way, most, total) {
            ways += 1;
            if ways > MOST_WAYS {
                return Some(best);
            }
            if fits(&way) {
                return Some(way);
            }
        }
    }
    Some(best)
}

/// Steps to the next way to make a total; the first has as much as possible in the last entries. A
/// `way` of zeros becomes the first one. False if there is no further way.
fn next(way: &mut [u32], most: &[u32], total: u32) -> bool {
    let fill = |way: &mut [u32], from: usize, mut left: u32| {
        for (entry, most) in way.iter_mut().zip(most).skip(from).rev() {
            *entry = left.min(*most);
            left -= *entry;
        }
        left == 0
    };
    if way.iter().all(|entry| *entry == 0) {
        return fill(way, 0, total);
    }
    // Moves one from the entries after `at` to `at`, and theirs as far back as possible.
    for at in (0..way.len()).rev() {
        let behind: u32 = way.iter().skip(at + 1).sum();
        let (Some(entry), Some(most)) = (way.get_mut(at), most.get(at)) else {
            continue;
        };
        if behind > 0 && *entry < *most {
            *entry += 1;
            return fill(way, at + 1, behind - 1);
        }
    }
    false
}

/// The targets of the wires that name a prop, by the prop's name.
#[derive(Default)]
pub struct Targets<'a> {
    by_prop: HashMap<Cow<'a, str>, Vec<&'a Reference>>,
    /// The index in the model of each receiver declared.
    receivers: &'a [Option<u32>],
    /// The result of [`Targets::anywhere`] for each make of node.
    anywhere: RefCell<HashMap<NodeId, Option<Option<u32>>>>,
}

impl<'a> Targets<'a> {
    /// Reads the wires.
    #[must_use]
    pub fn read(ast: &'a Written, names: &Names<'a>, receivers: &'a [Option<u32>]) -> Self {
        let mut targets = Self { receivers, ..Self::default() };
        for statement in &ast.statements {
            let StatementKind::Wire(wire) = &statement.kind else {
                continue;
            };
            for item in wire.chains.iter().flat_map(|chain: &Chain| &chain.items) {
                if let Item::Reference(reference, ..) = item {
                    let prop = names.key(reference.name);
                    targets.by_prop.entry(prop).or_default().push(&wire.target);
                }
            }
        }
        targets
    }

    /// The limit of the strongest of all ports: `Some(None)` if one has none, `None` without ports.
    fn anywhere(&self, model: &Model, node: NodeId) -> Option<Option<u32>> {
        let mut known = self.anywhere.borrow_mut();
        *known.entry(node).or_insert_with(|| {
            let ids = (0..model.controllers.len()).map(ControllerId::from);
            let ports = ids.flat_map(|id| strongest(model, id, None, node));
            ports.reduce(|a, b| Some(a?.max(b?)))
        })
    }

    /// The most nodes that one string of a prop may have: what the weakest port that its wires name
    /// by number drives, and no more than the strongest of those it may be placed on. `None` if
    /// nothing limits it.
    #[must_use]
    pub fn most(
        &self,
        reader: &Reader<'_, '_>,
        model: &Model,
        prop: &str,
        node: NodeId,
    ) -> Option<u32> {
        let names = reader.names;
        let wired = self.by_prop.get(prop).map_or(&[][..], Vec::as_slice);
        let mut named: Vec<Option<u32>> = Vec::new();
        let mut open: Vec<Option<u32>> = Vec::new();
        for target in wired {
            let key = names.key(target.name);
            let controller = names.controllers.get(&key).map(ControllerId);
            let receiver = names
                .receivers
                .get(&key)
                .and_then(|at| self.receivers.get(at as usize).copied().flatten())
                .map(crate::model::ReceiverId);
            let place = match (controller, receiver) {
                (Some(controller), _) => Some((controller, None, 1)),
                (None, Some(id)) => {
                    let one = &model.receivers[id];
                    Some((one.controller, Some(id), one.first))
                }
                (None, None) => None,
            };
            match (place, &target.part) {
                (Some((controller, receiver, first)), Some(Part::Number(range))) => {
                    let mut quiet = Sink::default();
                    let bounds = (1, super::settings::MOST_PORTS);
                    if let Some((a, b)) = reader.ends(range, "", bounds, &mut quiet) {
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
                _ => open.extend(self.anywhere(model, node)),
            }
        }
        if wired.is_empty() {
            open.extend(self.anywhere(model, node));
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

fn strongest(
    model: &Model,
    id: ControllerId,
    receiver: Option<crate::model::ReceiverId>,
    node: NodeId,
) -> Vec<Option<u32>> {
    let carried = receiver.map(|id| &model.receivers[id]);
    let chip = model.nodes[node].chip;
    model.controllers[id]
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
    let time = NodeTime::of_kind(model, &model.nodes[node]).most(model.display.frame_rate_mhz);
    match (settings.nodes, time) {
        (Some(told), Some(time)) => Some(told.value.min(time)),
        (Some(told), None) => Some(told.value),
        (None, time) => time,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strands_are_cut_evenly() {
        assert_eq!(even(20, 25, Some(300), 0), [10, 10]);
        assert_eq!(even(20, 25, Some(300), 1), [7, 7, 6]);
        assert_eq!(even(20, 25, None, 0), [20]);
        assert_eq!(even(3, 500, Some(300), 0), [1, 1, 1]);
        assert_eq!(even(3, 500, Some(300), 9), [1, 1, 1]);
    }

    #[test]
    fn all_ways_are_tried_in_order() {
        let mut way = [0, 0, 0];
        let mut ways = Vec::new();
        while next(&mut way, &[1, 5, 2], 3) {
            ways.push(way);
        }
        assert_eq!(ways, [[0, 1, 2], [0, 2, 1], [0, 3, 0], [1, 0, 2], [1, 1, 1], [1, 2, 0]]);
    }

    #[test]
    fn the_fewest_are_found() {
        assert_eq!(fewest(&[9], &|more| more[0] >= 4), Some(vec![4]));
        assert_eq!(fewest(&[9], &|_| false), None);
        // Cutting back the last first leaves 6 of the first; 2 of the last alone do as well.
        let fits = |more: &[u32]| more[0] + 3 * more[1] >= 6;
        assert_eq!(fewest(&[6, 6], &fits), Some(vec![0, 2]));
    }
}
