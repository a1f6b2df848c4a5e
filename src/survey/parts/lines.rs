//! Parts of the data lines: strings, fixtures, leads, joints, and the boxes they begin at.

use super::PartRow;
use crate::diagnostic::words::few;
use crate::model::{Model, NodeId, Output, PieceKind, PropId, Shape, ShapeRun, StringId};
use crate::plan::{Plan, PortPlan};
use crate::unit::{self, Dimension, Gauge};
use std::collections::BTreeMap;

/// Every string and fixture with an address, and its shape.
fn placed<'a>(model: &'a Model, plan: &Plan) -> impl Iterator<Item = (StringId, &'a Shape)> {
    let placed = model.strings.ids().filter(|id| plan.of(*id).is_some());
    placed.map(|id| (id, model.shape(id)))
}

/// Strings by make and length, and the total of nodes of each make.
pub fn strings(model: &Model, plan: &Plan) -> Vec<PartRow> {
    // By make, lit nodes and dark nodes: how many strings, and how many of these are stored.
    let mut kinds: BTreeMap<(NodeId, u32, u32), (u64, u64)> = BTreeMap::new();
    let mut nodes: BTreeMap<NodeId, u64> = BTreeMap::new();
    for (id, shape) in placed(model, plan) {
        let Some(node) = shape.node else { continue };
        let stored = !model.is_up(id);
        let kind = kinds.entry((node, shape.nodes, shape.skips)).or_insert((0, 0));
        kind.0 += 1;
        kind.1 += u64::from(stored);
        *nodes.entry(node).or_insert(0) += u64::from(shape.nodes) + u64::from(shape.skips);
    }
    let mut rows = Vec::new();
    for (node, total) in &nodes {
        let make = &model.nodes[*node].name;
        for ((_, lit, dark), (count, stored)) in
            kinds.range((*node, 0, 0)..=(*node, u32::MAX, u32::MAX))
        {
            let length = unit::counted(i64::from(*lit), "node");
            let mut notes = Vec::new();
            if *dark > 0 {
                notes.push(format!("and {dark} dark within it"));
            }
            if *stored > 0 {
                notes.push(format!("{stored} of them stored"));
            }
            let row = PartRow::counted(
                "strings",
                format!("{make}, string of {length}"),
                *count,
                "pieces",
            );
            rows.push(row.note(notes.join(", ")));
        }
        let row = PartRow::counted("strings", format!("{make}, in all"), *total, "nodes");
        rows.push(row.note(make_of(model, *node)));
    }
    rows
}

/// A make of node in words: chip, colour order, voltage.
fn make_of(model: &Model, node: NodeId) -> String {
    let kind = &model.nodes[node];
    let mut words = Vec::new();
    words.extend(kind.chip.map(|chip| model.chips[chip.value].name.to_string()));
    words.push(kind.colour.to_string());
    words.extend(kind.volts.map(|volts| unit::quantity(volts.value, Dimension::Voltage)));
    words.join(", ")
}

/// Fixtures by prop.
pub fn fixtures(model: &Model, plan: &Plan) -> Vec<PartRow> {
    let mut kinds: BTreeMap<(PropId, u32), (u64, u64)> = BTreeMap::new();
    for (id, shape) in placed(model, plan) {
        if shape.node.is_none() {
            let string = &model.strings[id];
            let kind = kinds.entry((string.prop, shape.slots)).or_insert((0, 0));
            kind.0 += 1;
            kind.1 += u64::from(string.stored);
        }
    }
    let rows = kinds.into_iter().map(|((prop, slots), (count, stored))| {
        let prop = &model.props[prop].name;
        let mut note = unit::counted(i64::from(slots), "slot");
        if stored > 0 {
            note.push_str(&format!(", {stored} of them stored"));
        }
        PartRow::counted("fixtures", format!("{prop}, fixture"), count, "pieces").note(note)
    });
    rows.collect()
}

/// Leads of one gauge: how many, their total length and the longest; lengths in micrometres.
#[derive(Default)]
pub struct Run {
    count: u64,
    total: u64,
    longest: i64,
}

impl Run {
    /// Counts `count` leads of one length.
    pub fn add(&mut self, length: i64, count: u64) {
        self.count += count;
        let length_um = u64::try_from(length).unwrap_or(0);
        self.total = self.total.saturating_add(length_um.saturating_mul(count));
        self.longest = self.longest.max(length);
    }

    /// These leads as a row of the list.
    pub fn row(&self, item: String) -> PartRow {
        let pieces = match self.count {
            1 => "in one piece".to_owned(),
            count => format!(
                "in {count} pieces, the longest {}",
                unit::quantity(self.longest, Dimension::Length)
            ),
        };
        let mut row = PartRow::counted("leads", item, self.total, "m").note(pieces);
        row.amount.per = 1_000_000;
        row
    }
}

/// A gauge as a key that sorts thick before thin, numbers before areas, and no gauge last.
pub fn thickness(gauge: Option<Gauge>) -> (u8, u32) {
    match gauge {
        Some(Gauge::Awg(number)) => (0, u32::from(number)),
        Some(Gauge::Area(area)) => (1, u32::MAX - area),
        None => (2, 0),
    }
}

/// A gauge in words, for the name of an item.
pub fn gauge_words(gauge: Option<Gauge>) -> String {
    gauge.map_or_else(|| "gauge not given".to_owned(), Gauge::words)
}

/// Leads of the data lines by gauge: those between strings and those within strings as built.
pub fn leads(model: &Model, plan: &Plan) -> Vec<PartRow> {
    let usual = model.display.lead.map(|lead| lead.value);
    let mut runs: BTreeMap<(u8, u32), (Option<Gauge>, Run)> = BTreeMap::new();
    let mut add = |length: i64, gauge: Option<Gauge>| {
        let gauge = gauge.or(usual);
        let (_, run) = runs.entry(thickness(gauge)).or_insert_with(|| (gauge, Run::default()));
        run.add(length, 1);
    };
    for piece in plan.ports.iter().flat_map(|port| &port.pieces) {
        match piece.piece.kind {
            PieceKind::Lead(length, gauge) => add(length, gauge),
            PieceKind::Skip(_) => {}
            PieceKind::String(id, _) => {
                for run in &model.shape(id).runs {
                    if let ShapeRun::Lead(length, gauge) = run {
                        add(*length, *gauge);
                    }
                }
            }
        }
    }
    runs.into_values()
        .map(|(gauge, run)| run.row(format!("data lead, {}", gauge_words(gauge))))
        .collect()
}

/// Joints of the data lines: one before every string, lead and dark node that hangs on a port this
/// season, one at every fixture; dark nodes; and a terminator for each DMX line.
pub fn joints(model: &Model, plan: &Plan) -> Vec<PartRow> {
    let (mut pixel, mut dmx, mut ends, mut dark) = (0, 0, 0, 0);
    for port in &plan.ports {
        let mut here = 0;
        for piece in &port.pieces {
            match piece.piece.kind {
                PieceKind::String(id, _) => {
                    here += u64::from(model.is_up(id));
                }
                PieceKind::Lead(..) => here += 1,
                PieceKind::Skip(nodes) => {
                    here += 1;
                    dark += u64::from(nodes);
                }
            }
        }
        match port.output {
            Output::Pixel(_) => pixel += here,
            Output::Dmx(_) => {
                dmx += here;
                ends += u64::from(here > 0);
            }
        }
    }
    let all = [
        ("plug and socket of a pixel line", pixel, "before each string, lead and dark node"),
        ("dark node between strings", dark, "lights nothing, carries the data on"),
        ("plug of a DMX line", dmx, "one into each fixture and lead"),
        ("DMX terminator", ends, "one at the end of each line"),
    ];
    all.into_iter()
        .filter(|(_, amount, _)| *amount > 0)
        .map(|(item, amount, note)| {
            PartRow::counted("joints", item.to_owned(), amount, "pieces").note(note)
        })
        .collect()
}

/// Controllers and receivers with the ports they use.
pub fn boxes(model: &Model, plan: &Plan) -> Vec<PartRow> {
    let mut rows = Vec::new();
    for (id, controller) in model.controllers.pairs() {
        let (mut pixel, mut dmx) = (0, 0);
        for port in plan.ports_of(id) {
            match port.output {
                Output::Pixel(_) => pixel += 1,
                Output::Dmx(_) => dmx += 1,
            }
        }
        if pixel + dmx == 0 && controller.stock {
            continue;
        }
        let has = [
            (pixel, controller.ports.len(), "pixel port"),
            (dmx, controller.dmx.len(), "DMX output"),
        ];
        let notes: Vec<String> = has
            .iter()
            .filter(|(_, has, _)| *has > 0)
            .map(|(used, has, word)| format!("{used} of {}", unit::counted(*has, word)))
            .collect();
        let row =
            PartRow::counted("boxes", format!("{}, controller", controller.name), 1, "pieces");
        rows.push(row.note(format!("{} in use", notes.join(", "))));
    }
    for (id, receiver) in model.receivers.pairs() {
        let here = |port: &&PortPlan| port.pieces.iter().any(|piece| piece.receiver == Some(id));
        let ports = plan.ports_of(receiver.controller).iter().filter(here).count();
        if ports == 0 && receiver.stock {
            continue;
        }
        let has = receiver.last.saturating_sub(receiver.first).saturating_add(1);
        let row = PartRow::counted("boxes", format!("{}, receiver", receiver.name), 1, "pieces");
        rows.push(row.note(format!("{ports} of {} in use", unit::counted(has, "port"))));
    }
    let ports: Vec<String> = plan
        .ports
        .iter()
        .filter(|port| !port.pieces.is_empty())
        .map(|port| crate::usage::plug_name(model, port, None))
        .collect();
    if !ports.is_empty() {
        let amount = ports.len() as u64;
        let row = PartRow::counted("boxes", "ports in use".to_owned(), amount, "ports");
        rows.push(row.note(few(&ports)));
    }
    rows
}
