//! The graph of a whole display, made from its model when it is asked for.

use super::{EdgeKind, Graph, VertexKind};
use crate::ast::BlockKind;
use crate::model::{
    Addressing, ControllerId, Model, Output, PieceKind, Prop, ReceiverId, Start, StringId, Target,
};
use std::collections::BTreeMap;

/// Things and what they depend on by what the display says: names, `like`, `after`, `include`, carried ports, the
/// order of chains, and of ports where a controller is `consecutive`.
///
/// Not in it is what only moves in a layout without a lock (the next port, the next controller), nor a port that the
/// compiler picks: those hang on the whole display, and a lock keeps them where they are.
#[must_use]
pub fn of(model: &Model) -> Graph {
    let mut build = Build {
        model,
        graph: Graph::default(),
    };
    build.things();
    build.props();
    build.lines();
    build.likes();
    build.feeds();
    build.graph
}

/// By output its wires: the receiver that they come out at, their place in the file, their first and last string.
type Joined = BTreeMap<(ControllerId, Output), Vec<(Option<ReceiverId>, usize, (usize, usize))>>;

struct Build<'m> {
    model: &'m Model,
    graph: Graph,
}

impl Build<'_> {
    fn things(&mut self) {
        let model = self.model;
        for (from, to) in &model.includes {
            let from = self.graph.vertex(VertexKind::File, from, None);
            let to = self.graph.vertex(VertexKind::File, to, None);
            self.graph.edge(from, to, EdgeKind::Includes);
        }
        for chip in &model.chips {
            self.graph.vertex(VertexKind::Chip, &chip.name, chip.at);
        }
        for node in &model.nodes {
            let at = self
                .graph
                .vertex(VertexKind::Node, &node.name, Some(node.at));
            if let Some(chip) = node
                .chip
                .and_then(|chip| model.chips.get(chip.value.index()))
            {
                let chip = self.graph.vertex(VertexKind::Chip, &chip.name, chip.at);
                self.graph.edge(at, chip, EdgeKind::Uses);
            }
        }
        for circuit in &model.circuits {
            self.graph
                .vertex(VertexKind::Circuit, &circuit.name, Some(circuit.at));
        }
        for supply in &model.supplies {
            let at = self
                .graph
                .vertex(VertexKind::Supply, &supply.name, Some(supply.at));
            if let Some(circuit) = supply.circuit.and_then(|id| model.circuits.get(id.index())) {
                let circuit = self.graph.vertex(VertexKind::Circuit, &circuit.name, None);
                self.graph.edge(at, circuit, EdgeKind::FedFrom);
            }
        }
        for controller in &model.controllers {
            let at = Some(controller.at);
            self.graph
                .vertex(VertexKind::Controller, &controller.name, at);
        }
        for controller in &model.controllers {
            if let Start::After(other) = controller.start {
                let at = self
                    .graph
                    .vertex(VertexKind::Controller, &controller.name, None);
                if let Some(other) = self.controller(other) {
                    self.graph.edge(at, other, EdgeKind::After);
                }
            }
        }
        for receiver in &model.receivers {
            let at = Some(receiver.at);
            let at = self.graph.vertex(VertexKind::Receiver, &receiver.name, at);
            if let Some(controller) = self.controller(receiver.controller) {
                self.graph.edge(at, controller, EdgeKind::Carries);
            }
        }
    }

    fn props(&mut self) {
        let model = self.model;
        for prop in &model.props {
            let whole = self
                .graph
                .vertex(VertexKind::Prop, &prop.name, Some(prop.at));
            for id in prop.strings().map(StringId) {
                let at = self.string(prop, id);
                if at != whole {
                    self.graph.edge(at, whole, EdgeKind::PartOf);
                }
                if let Some(node) = model.node_of(id) {
                    let node = self.graph.vertex(VertexKind::Node, &node.name, None);
                    self.graph.edge(at, node, EdgeKind::Uses);
                }
            }
        }
        for (index, string) in model.strings.iter().enumerate() {
            let Some(other) = string.same_as else {
                continue;
            };
            let id = StringId::from(index);
            if let (Some(own), Some(shown)) = (model.prop_of(id), model.prop_of(other)) {
                let (from, to) = (self.string(own, id), self.string(shown, other));
                self.graph.edge(from, to, EdgeKind::SameAs);
            }
        }
    }

    /// Each string hangs on what is before it on its line, the first on its port.
    fn lines(&mut self) {
        let model = self.model;
        let mut joined = Joined::new();
        for (index, line) in model.lines.iter().enumerate() {
            let mut ends: Option<(usize, usize)> = None;
            let mut before = match line.target {
                Target::Port(controller, port, receiver) => {
                    Some(self.port_at(controller, port, receiver))
                }
                Target::Dmx(controller, output) => Some(self.port(controller, Output::Dmx(output))),
                Target::Controller(controller) => self.controller(controller),
                Target::Receiver(id) => model
                    .receivers
                    .get(id.index())
                    .map(|one| self.graph.vertex(VertexKind::Receiver, &one.name, None)),
                Target::Any => None,
            };
            for piece in model.pieces_of(line) {
                let PieceKind::String(id, _) = piece.kind else {
                    continue;
                };
                let Some(prop) = model.prop_of(id) else {
                    continue;
                };
                let at = self.string(prop, id);
                if let Some(before) = before {
                    self.graph.edge(at, before, EdgeKind::Follows);
                }
                before = Some(at);
                ends = Some((ends.map_or(at, |(first, _)| first), at));
            }
            let output = match line.target {
                Target::Port(controller, port, at) => Some((controller, Output::Pixel(port), at)),
                Target::Dmx(controller, output) => Some((controller, Output::Dmx(output), None)),
                Target::Controller(_) | Target::Receiver(_) | Target::Any => None,
            };
            if let (Some((controller, output, receiver)), Some(ends)) = (output, ends) {
                let lines = joined.entry((controller, output)).or_default();
                lines.push((receiver, index, ends));
            }
        }
        self.joints(joined);
    }

    /// What several wires put on one output is one data line: by receiver as declared, then as they stand in the
    /// file. And on a `consecutive` controller a port begins where the one before it ends, lock or not.
    fn joints(&mut self, joined: Joined) {
        let mut before: Option<(ControllerId, usize)> = None;
        for ((controller, output), mut lines) in joined {
            lines.sort_unstable();
            for pair in lines.windows(2) {
                if let [(_, _, (_, last)), (_, _, (first, _))] = pair
                    && first != last
                {
                    self.graph.edge(*first, *last, EdgeKind::Follows);
                }
            }
            let consecutive = self
                .model
                .controller(controller)
                .is_some_and(|one| one.addressing == Addressing::Consecutive);
            let Some((_, _, (_, last))) = lines.last() else {
                continue;
            };
            if consecutive && matches!(output, Output::Pixel(_)) {
                if let Some((_, ends)) = before.filter(|(of, _)| *of == controller) {
                    let port = self.port(controller, output);
                    self.graph.edge(port, ends, EdgeKind::After);
                }
                before = Some((controller, *last));
            }
        }
    }

    fn likes(&mut self) {
        let model = self.model;
        for like in &model.likes {
            let name = |index: u32| {
                let index = index as usize;
                match like.kind {
                    BlockKind::Chip => model.chips.get(index).map(|x| (VertexKind::Chip, &x.name)),
                    BlockKind::Node => model.nodes.get(index).map(|x| (VertexKind::Node, &x.name)),
                    BlockKind::Controller => model
                        .controllers
                        .get(index)
                        .map(|x| (VertexKind::Controller, &x.name)),
                    // A receiver that is not whole has no place in the model, so its index may differ.
                    BlockKind::Receiver if !model.incomplete => model
                        .receivers
                        .get(index)
                        .map(|x| (VertexKind::Receiver, &x.name)),
                    BlockKind::Prop => model.props.get(index).map(|x| (VertexKind::Prop, &x.name)),
                    BlockKind::Supply => model
                        .supplies
                        .get(index)
                        .map(|x| (VertexKind::Supply, &x.name)),
                    BlockKind::Circuit => model
                        .circuits
                        .get(index)
                        .map(|x| (VertexKind::Circuit, &x.name)),
                    BlockKind::Display | BlockKind::Receiver => None,
                }
            };
            if let (Some((kind, child)), Some((_, parent))) = (name(like.child), name(like.parent))
            {
                let child = self.graph.vertex(kind, child, None);
                let parent = self.graph.vertex(kind, parent, None);
                self.graph.edge(child, parent, EdgeKind::Like);
            }
        }
    }

    fn feeds(&mut self) {
        let model = self.model;
        for power in &model.powers {
            let Some(supply) = model.supplies.get(power.lead.supply.index()) else {
                continue;
            };
            let supply = self.graph.vertex(VertexKind::Supply, &supply.name, None);
            for port in power.first..=power.last {
                let port = self.port_at(power.controller, port, power.receiver);
                self.graph.edge(port, supply, EdgeKind::FedFrom);
            }
        }
        for injection in &model.injections {
            let Some(supply) = model.supplies.get(injection.lead.supply.index()) else {
                continue;
            };
            let supply = self.graph.vertex(VertexKind::Supply, &supply.name, None);
            for id in &injection.strings {
                if let Some(prop) = model.prop_of(*id) {
                    let at = self.string(prop, *id);
                    self.graph.edge(at, supply, EdgeKind::FedFrom);
                }
            }
        }
    }

    fn controller(&mut self, id: ControllerId) -> Option<usize> {
        let controller = self.model.controller(id)?;
        Some(
            self.graph
                .vertex(VertexKind::Controller, &controller.name, None),
        )
    }

    fn port(&mut self, id: ControllerId, output: Output) -> usize {
        let controller = self.controller(id);
        let name = self.model.controller(id).map_or("", |c| &c.name);
        let name = format!("{name}.{}", output.name());
        let port = self.graph.vertex(VertexKind::Port, &name, None);
        if let Some(controller) = controller {
            self.graph.edge(port, controller, EdgeKind::PartOf);
        }
        port
    }

    /// A pixel port where it comes out: at the receiver that a wire names, else at its controller.
    fn port_at(&mut self, id: ControllerId, number: u32, receiver: Option<ReceiverId>) -> usize {
        let model = self.model;
        let port = self.port(id, Output::Pixel(number));
        let Some(receiver) = receiver.and_then(|id| model.receivers.get(id.index())) else {
            return port;
        };
        let own = (number + 1).saturating_sub(receiver.first);
        let name = format!("{}.{own}", receiver.name);
        let there = self.graph.vertex(VertexKind::Port, &name, None);
        let receiver = self
            .graph
            .vertex(VertexKind::Receiver, &receiver.name, None);
        self.graph.edge(there, receiver, EdgeKind::PartOf);
        self.graph.edge(there, port, EdgeKind::Carries);
        there
    }

    /// The vertex of a string: its prop's or member's own where that has just one.
    fn string(&mut self, prop: &Prop, id: StringId) -> usize {
        let name = self.model.name_of(id);
        if *name == *prop.name {
            return self.graph.vertex(VertexKind::Prop, &name, Some(prop.at));
        }
        let several = self.model.string(id).is_some_and(|string| {
            string.number > 0 && prop.strings_of(string.member.max(1)).len() > 1
        });
        if !several {
            return self.graph.vertex(VertexKind::Prop, &name, Some(prop.at));
        }
        let at = self.graph.vertex(VertexKind::String, &name, Some(prop.at));
        let member = name.rsplit_once('.').map_or("", |(member, _)| member);
        let owner = self.graph.vertex(VertexKind::Prop, member, Some(prop.at));
        self.graph.edge(at, owner, EdgeKind::PartOf);
        at
    }
}
