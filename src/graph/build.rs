//! The graph of a whole display, made from its model when it is asked for.

use super::{EdgeKind, Graph, VertexKind};
use crate::ast::BlockKind;
use crate::model::{
    Addressing, ControllerId, Like, Model, Output, PieceKind, ReceiverId, Start, StringId, Target,
};
use crate::source::Span;
use crate::usage::{output_name, port_name};
use std::collections::BTreeMap;

/// What depends on what by the words of the display: names, `like`, `after`, `include`, carried
/// ports, the order of chains, and the order of ports on a `consecutive` controller.
///
/// What moves only in a layout without a lock (the next port, the next controller) is no
/// dependency, nor is a port that the compiler picks: the whole display decides these, and a lock
/// keeps them.
#[must_use]
pub fn of(model: &Model) -> Graph {
    let mut build = Build { model, graph: Graph::default() };
    build.things();
    build.props();
    build.lines();
    build.likes();
    build.feeds();
    build.graph
}

/// The wires of each output: receiver, index of the line, vertices of its first and last string.
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
            let at = self.declared(VertexKind::Node, &node.name, node.at);
            if let Some(chip) = node.chip {
                let chip = self.vertex(VertexKind::Chip, &model.chips[chip.value].name);
                self.graph.edge(at, chip, EdgeKind::Uses);
            }
        }
        for circuit in &model.circuits {
            self.declared(VertexKind::Circuit, &circuit.name, circuit.at);
        }
        for supply in &model.supplies {
            let at = self.declared(VertexKind::Supply, &supply.name, supply.at);
            if let Some(circuit) = supply.circuit {
                let circuit = self.vertex(VertexKind::Circuit, &model.circuits[circuit].name);
                self.graph.edge(at, circuit, EdgeKind::FedFrom);
            }
        }
        for controller in &model.controllers {
            self.declared(VertexKind::Controller, &controller.name, controller.at);
        }
        for (id, controller) in model.controllers.pairs() {
            if let Start::After(other) = controller.start {
                let (at, other) = (self.controller(id), self.controller(other));
                self.graph.edge(at, other, EdgeKind::After);
            }
        }
        for receiver in &model.receivers {
            let at = self.declared(VertexKind::Receiver, &receiver.name, receiver.at);
            let controller = self.controller(receiver.controller);
            self.graph.edge(at, controller, EdgeKind::Carries);
        }
    }

    fn props(&mut self) {
        let model = self.model;
        for prop in &model.props {
            let whole = self.declared(VertexKind::Prop, &prop.name, prop.at);
            for id in prop.strings().map(StringId) {
                let at = self.string(id);
                if at != whole {
                    self.graph.edge(at, whole, EdgeKind::PartOf);
                }
                if let Some(node) = model.node_of(id) {
                    let node = self.vertex(VertexKind::Node, &node.name);
                    self.graph.edge(at, node, EdgeKind::Uses);
                }
            }
        }
        for (id, string) in model.strings.pairs() {
            if let Some(other) = string.same_as {
                let (from, to) = (self.string(id), self.string(other));
                self.graph.edge(from, to, EdgeKind::SameAs);
            }
        }
    }

    /// Each string depends on the one before it on its line, the first on the wire's target.
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
                Target::Controller(controller) => Some(self.controller(controller)),
                Target::Receiver(id) => {
                    let name = &model.receivers[id].name;
                    Some(self.vertex(VertexKind::Receiver, name))
                }
                Target::Any => None,
            };
            for piece in model.pieces_of(line) {
                let PieceKind::String(id, _) = piece.kind else {
                    continue;
                };
                let at = self.string(id);
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

    /// Joins the wires of one output to one line, by receiver as declared, then by their order in
    /// the file. On a `consecutive` controller a port begins where the one before ends, lock or
    /// not.
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
            let addressing = self.model.controllers[controller].addressing;
            let consecutive = addressing == Addressing::Consecutive;
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
            let (kind, names) = match like.kind {
                BlockKind::Chip => {
                    (VertexKind::Chip, pair(model.chips.as_slice(), like, |x| &x.name))
                }
                BlockKind::Node => {
                    (VertexKind::Node, pair(model.nodes.as_slice(), like, |x| &x.name))
                }
                BlockKind::Controller => {
                    let names = pair(model.controllers.as_slice(), like, |x| &x.name);
                    (VertexKind::Controller, names)
                }
                // The model has no row for an incomplete receiver, so its indices may differ.
                BlockKind::Receiver if !model.incomplete => {
                    let names = pair(model.receivers.as_slice(), like, |x| &x.name);
                    (VertexKind::Receiver, names)
                }
                BlockKind::Prop => {
                    (VertexKind::Prop, pair(model.props.as_slice(), like, |x| &x.name))
                }
                BlockKind::Supply => {
                    (VertexKind::Supply, pair(model.supplies.as_slice(), like, |x| &x.name))
                }
                BlockKind::Circuit => {
                    (VertexKind::Circuit, pair(model.circuits.as_slice(), like, |x| &x.name))
                }
                BlockKind::Display | BlockKind::Receiver => continue,
            };
            if let Some((child, parent)) = names {
                let (child, parent) = (self.vertex(kind, child), self.vertex(kind, parent));
                self.graph.edge(child, parent, EdgeKind::Like);
            }
        }
    }

    fn feeds(&mut self) {
        let model = self.model;
        for power in &model.powers {
            let supply = self.vertex(VertexKind::Supply, &model.supplies[power.lead.supply].name);
            for port in power.first..=power.last {
                let port = self.port_at(power.controller, port, power.receiver);
                self.graph.edge(port, supply, EdgeKind::FedFrom);
            }
        }
        for injection in &model.injections {
            let supply = &model.supplies[injection.lead.supply];
            let supply = self.vertex(VertexKind::Supply, &supply.name);
            for id in &injection.strings {
                let at = self.string(*id);
                self.graph.edge(at, supply, EdgeKind::FedFrom);
            }
        }
    }

    /// The vertex of a declaration, with its place.
    fn declared(&mut self, kind: VertexKind, name: &str, at: Span) -> usize {
        self.graph.vertex(kind, name, Some(at))
    }

    fn vertex(&mut self, kind: VertexKind, name: &str) -> usize {
        self.graph.vertex(kind, name, None)
    }

    fn controller(&mut self, id: ControllerId) -> usize {
        self.vertex(VertexKind::Controller, &self.model.controllers[id].name)
    }

    fn port(&mut self, id: ControllerId, output: Output) -> usize {
        let controller = self.controller(id);
        let port = self.vertex(VertexKind::Port, &output_name(self.model, id, output));
        self.graph.edge(port, controller, EdgeKind::PartOf);
        port
    }

    /// The vertex of a pixel port: at the receiver that a wire names, else at its controller.
    fn port_at(&mut self, id: ControllerId, number: u32, receiver: Option<ReceiverId>) -> usize {
        let port = self.port(id, Output::Pixel(number));
        let Some(at) = receiver else { return port };
        let there = port_name(self.model, id, number, receiver);
        let there = self.vertex(VertexKind::Port, &there);
        let receiver = self.vertex(VertexKind::Receiver, &self.model.receivers[at].name);
        self.graph.edge(there, receiver, EdgeKind::PartOf);
        self.graph.edge(there, port, EdgeKind::Carries);
        there
    }

    /// The vertex of a string: that of its prop or member where this has only one string.
    fn string(&mut self, id: StringId) -> usize {
        let (string, prop) = (&self.model.strings[id], self.model.prop(id));
        let name = self.model.name_of(id);
        let several = string.number > 0 && prop.strings_of(string.member.max(1)).len() > 1;
        if *name == *prop.name || !several {
            return self.declared(VertexKind::Prop, &name, prop.at);
        }
        let at = self.declared(VertexKind::String, &name, prop.at);
        let member = name.rsplit_once('.').map_or("", |(member, _)| member);
        let owner = self.declared(VertexKind::Prop, member, prop.at);
        self.graph.edge(at, owner, EdgeKind::PartOf);
        if *member != *prop.name {
            let whole = self.declared(VertexKind::Prop, &prop.name, prop.at);
            self.graph.edge(owner, whole, EdgeKind::PartOf);
        }
        at
    }
}

/// The names of the block with `like` and of the block that it takes from.
fn pair<'a, T>(rows: &'a [T], like: &Like, name: fn(&T) -> &str) -> Option<(&'a str, &'a str)> {
    let of = |index: u32| rows.get(index as usize).map(name);
    Some((of(like.child)?, of(like.parent)?))
}
