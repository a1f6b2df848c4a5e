//! Displays built by hand, for the tests of this folder.

use super::allocate;
use crate::diagnostic::Sink;
use crate::model::{
    Controller, ControllerId, Cut, Line, Model, NodeId, NodeKind, Piece, PieceKind, PinPlace,
    Pinned, Port, PortSettings, Prop, PropId, Shape, ShapeId, Start, Stated, StringDef, StringId,
    Target,
};
use crate::plan::Plan;
use crate::source::Span;
use std::sync::Arc;

/// A display as it grows, and where the next thing is written.
#[derive(Default)]
pub(super) struct Display {
    /// What it means.
    pub model: Model,
    at: u32,
}

/// Codes found, in order, and the plan.
pub(super) struct Outcome {
    /// The plan.
    pub plan: Plan,
    /// The codes.
    pub codes: Vec<&'static str>,
}

impl Display {
    /// With one make of node, `slots` slots each.
    pub fn new(slots: u32) -> Self {
        let mut display = Self::default();
        display.node(slots);
        display
    }

    pub fn spot(&mut self) -> Span {
        self.at += 10;
        Span::new(self.at, self.at + 5)
    }

    /// Adds a make of node.
    pub fn node(&mut self, slots: u32) -> NodeId {
        let at = self.spot();
        self.model.nodes.push(NodeKind {
            name: format!("node{slots}").into(),
            at,
            chip: None,
            colour: "RGB".into(),
            slots,
            bits: 8 * slots,
            volts: None,
            draw: None,
            idle_ua: 0,
            floor: None,
            pitch_um: None,
            gauge: None,
        });
        NodeId::from(self.model.nodes.len() - 1)
    }

    /// Adds a controller with `ports` ports and `dmx` DMX outputs.
    pub fn controller(&mut self, start: Start, ports: u32, dmx: u32) -> ControllerId {
        let at = self.spot();
        let settings = Arc::new(PortSettings::default());
        let port = |number| Port { number, at, settings: Arc::clone(&settings) };
        self.model.controllers.push(Controller {
            name: format!("box{}", self.model.controllers.len()).into(),
            at,
            start,
            start_at: Some(at),
            ports: (1..=ports).map(port).collect(),
            dmx: (1..=dmx).map(|value| Stated { value, at }).collect(),
            ..Controller::default()
        })
    }

    /// The controller, to set it up.
    pub fn set(&mut self, id: ControllerId) -> &mut Controller {
        &mut self.model.controllers[id]
    }

    /// Adds a prop: a string of `count` nodes of a make or (no make) a fixture of `count` slots.
    pub fn prop(&mut self, node: Option<NodeId>, count: u32) -> StringId {
        let at = self.spot();
        let each = node.map_or(1, |node| self.model.nodes[node].slots);
        self.model.shapes.push(Shape {
            at,
            name: None,
            node,
            nodes: node.map_or(0, |_| count),
            slots: count * each,
            skips: 0,
            strand: None,
            runs: Vec::new(),
            loads: node.map_or(crate::model::UNIT_LOAD, |_| 0),
        });
        let shape = ShapeId::from(self.model.shapes.len() - 1);
        let index = self.model.props.len();
        self.model.props.push(Prop {
            name: format!("prop{index}").into(),
            at,
            count: None,
            first: self.model.strings.len() as u32,
            cut: Cut::Even(1),
            details: None,
            broken: false,
            stock: false,
        });
        self.model.strings.push(StringDef {
            prop: PropId::from(index),
            member: 0,
            number: u32::from(node.is_some()),
            shape,
            stored: false,
            same_as: None,
        });
        StringId::from(self.model.strings.len() - 1)
    }

    /// A string of `nodes` nodes of the first make.
    pub fn string(&mut self, nodes: u32) -> StringId {
        self.prop(Some(NodeId(0)), nodes)
    }

    /// The string, to set it up.
    pub fn change(&mut self, id: StringId) -> &mut StringDef {
        &mut self.model.strings[id]
    }

    /// Wires strings, each with or without a pin.
    pub fn wire(&mut self, target: Target, chain: &[(StringId, Option<PinPlace>)]) {
        let at = self.spot();
        let from = self.model.pieces.len() as u32;
        for (id, place) in chain {
            let at = self.spot();
            let pin = place.map(|place| Pinned { place, at });
            let kind = PieceKind::String(*id, pin);
            self.model.pieces.push(Piece { at, kind });
        }
        let to = self.model.pieces.len() as u32;
        let group = self.model.lines.len() as u32;
        self.model.lines.push(Line {
            at,
            target,
            pieces: from..to,
            group,
            unasked: false,
            again: false,
        });
    }

    /// Wires strings to a port, unpinned.
    pub fn on(&mut self, controller: ControllerId, port: u32, chain: &[StringId]) {
        let chain: Vec<_> = chain.iter().map(|id| (*id, None)).collect();
        self.wire(Target::Port(controller, port, None), &chain);
    }

    /// Allocates and checks.
    pub fn plan(&self) -> Outcome {
        let mut sink = Sink::default();
        let plan = allocate(&self.model, None, &mut sink);
        crate::check::check(&self.model, &plan, &mut sink);
        let codes = sink.finish().into_iter().map(|finding| finding.code).collect();
        Outcome { plan, codes }
    }
}

impl Outcome {
    /// First and last slot of a string as `universe/slot`.
    pub fn of(&self, id: StringId) -> String {
        self.plan.of(id).map_or("nowhere".into(), |placed| {
            let (start, end) =
                [placed.start, placed.end].map(|channel| self.plan.universe_slot(channel)).into();
            format!("{}/{} {}/{}", start.0, start.1, end.0, end.1)
        })
    }
}
