//! The table of strings and fixtures, by controller as declared, output, position.

use super::View;
use super::view::label_of;
use crate::diagnostic::words::shown;
use crate::model::{Output, PieceKind, ShapeRun, StringId};
use crate::plan::{ChainPiece, PortPlan};
use crate::table::{Cell, Column, Decimal, Head, Kind, Point, Row, Table, columns};
use crate::unit::{Dimension, counted, quantity};

/// The runs of a string as built.
const RUNS: Kind = Kind::List(&Kind::Either(&[
    Kind::Object(|| {
        let name = Head::new("name", Kind::Text, "Its name.");
        let nodes = Head::new("nodes", Kind::Number, "Nodes that show something.");
        vec![name.maybe(), nodes]
    }),
    Kind::Object(|| vec![Head::new("skip", Kind::Number, "Nodes that show nothing.")]),
    Kind::Object(|| vec![Head::new("lead_mm", Kind::Decimal, "Cable.")]),
]));

/// One string or fixture.
#[derive(Debug)]
pub struct StringRow<'a> {
    pub(crate) prop: &'a str,
    pub(crate) instance: Option<u32>,
    pub(crate) string: Option<u32>,
    pub(crate) controller: &'a str,
    pub(crate) port: Output,
    pub(crate) position: u32,
    pub(crate) nodes: Option<u32>,
    pub(crate) slots: u32,
    pub(crate) start: Point,
    pub(crate) end: Point,
    pub(crate) name: String,
    pub(crate) label: Option<&'a str>,
    pub(crate) string_name: Option<&'a str>,
    pub(crate) node: Option<&'a str>,
    pub(crate) chip: Option<&'a str>,
    pub(crate) colour: Option<&'a str>,
    pub(crate) skips: u32,
    pub(crate) skip_before: u32,
    pub(crate) lead_before_um: i64,
    /// The receiver whose port it comes out of, and that port.
    pub(crate) receiver: Option<(&'a str, u32)>,
    pub(crate) strands: Option<(u32, u32)>,
    pub(crate) enters: Option<&'a str>,
    pub(crate) runs: &'a [ShapeRun],
    pub(crate) stored: bool,
    pub(crate) same_as: Option<String>,
}

pub(super) fn table<'v>(view: &'v View<'_>) -> Table<'v> {
    let about = "Strings and fixtures, by controller as declared, port, position.";
    Table::of("strings", about, || view.strings())
}

impl Row for StringRow<'_> {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            people "prop" => &row.name;
            people "port" => format!("{}.{}", row.controller, row.port.name());
            text "prop" "Its prop, without `[ ]`." => row.prop;
            number "instance" "Its member from 1; null for a prop that is no family."
                => row.instance, maybe;
            number "string" "Its number from 1; null for a fixture." => row.string, maybe;
            text "controller" "Its controller." => row.controller;
            text "port" "A pixel port by number (`3`), or a DMX output (`dmx1`)."
                => row.port.name();
            number "position" "Its place among the strings of the output, from 1."
                => row.position, shown("pos");
            number "nodes" "Nodes that show something; null for a fixture."
                => row.nodes, maybe, shown("nodes");
            number "slots" "Slots it takes." => row.slots;
            point "start" "Its first slot." => row.start, shown("start");
            point "end" "Its last slot." => row.end, shown("end");
            people "channels" => format!("{} to {}", row.start.channel, row.end.channel), right;
            text "name" "Its name as a person writes it." => &row.name;
            text "label" "The label of its member or prop." => row.label, maybe;
            text "string_name" "Its name within its prop (`eaves`)." => row.string_name, maybe;
            text "node" "Its make of node." => row.node, maybe;
            text "chip" "Its chip." => row.chip, maybe;
            text "colour" "The letters of its node in slot order." => row.colour, maybe;
            number "skips" "Nodes within it that show nothing." => row.skips;
            number "skip_before"
                "Nodes before it on its output that show nothing, since the string before it."
                => row.skip_before;
            decimal "lead_before_mm" "Cable before it on its output, since the string before it."
                => Decimal::new(row.lead_before_um, 1_000);
            text "receiver" "The receiver whose port it comes out of."
                => row.receiver.map(|(name, _)| name), maybe;
            number "receiver_port" "The port there, from 1."
                => row.receiver.map(|(_, port)| port), maybe;
            (RUNS) "runs" "The runs it is built of, in data order; empty for a plain string."
                => Cell::List(row.runs.iter().map(run).collect()), programs;
            number "strands" "How many strands it is made of; null where that is not said."
                => row.strands.map(|(count, _)| count), maybe;
            number "nodes_per_strand" "Nodes of each strand." => row.strands.map(|(_, nodes)| nodes), maybe;
            text "built" "The same runs as a display writes them." => runs(row.runs), sheets;
            text "enters" "Where data comes in." => row.enters, maybe;
            flag "stored" "Not put up this season." => row.stored;
            text "same_as" "The string whose data it shows." => row.same_as.as_deref(), maybe;
        }
    }

    fn group(&self) -> &str {
        self.controller
    }

    fn remark(&self) -> String {
        let mut remarks = Vec::new();
        if let Some(label) = self.label {
            remarks.push(format!("\"{}\"", shown(label)));
        }
        if let Some((receiver, port)) = self.receiver {
            remarks.push(format!("at {receiver}.{port}"));
        }
        if self.nodes.is_none() {
            remarks.push(counted(self.slots, "slot"));
        }
        if self.skip_before > 0 {
            remarks.push(format!("skip {} before", self.skip_before));
        }
        if self.lead_before_um > 0 {
            let length = quantity(self.lead_before_um, Dimension::Length);
            remarks.push(format!("lead {length} before"));
        }
        if let Some(other) = &self.same_as {
            remarks.push(format!("same as {other}"));
        }
        if self.stored {
            remarks.push("stored".to_owned());
        }
        remarks.join(", ")
    }
}

/// Runs as a display writes them: `left 34 nodes -> skip 1 -> gable 22 nodes`.
pub(super) fn runs(runs: &[ShapeRun]) -> String {
    runs.iter().map(run_words).collect::<Vec<_>>().join(" -> ")
}

/// A run in words: `gable 22 nodes`, `skip 1`, `lead 3 m of 18 AWG`.
#[must_use]
pub fn run_words(run: &ShapeRun) -> String {
    match run {
        ShapeRun::Nodes(None, nodes) => counted(*nodes, "node"),
        ShapeRun::Nodes(Some(name), nodes) => format!("{name} {}", counted(*nodes, "node")),
        ShapeRun::Skip(nodes) => format!("skip {nodes}"),
        ShapeRun::Lead(length, gauge) => {
            let of = gauge.map_or_else(String::new, |gauge| format!(" of {}", gauge.words()));
            format!("lead {}{of}", quantity(*length, Dimension::Length))
        }
    }
}

fn run(run: &ShapeRun) -> Cell<'_> {
    Cell::Object(match run {
        ShapeRun::Nodes(name, nodes) => {
            vec![("name", name.as_deref().into()), ("nodes", (*nodes).into())]
        }
        ShapeRun::Skip(nodes) => vec![("skip", (*nodes).into())],
        ShapeRun::Lead(length, _) => vec![("lead_mm", Decimal::new(*length, 1_000).into())],
    })
}

impl<'a> View<'a> {
    /// Strings and fixtures by controller as declared, output, position.
    pub fn strings(&self) -> impl Iterator<Item = StringRow<'a>> {
        let ports = self.plan.ports.iter();
        ports.flat_map(|port| self.strings_on(port))
    }

    fn strings_on(&self, port: &'a PortPlan) -> impl Iterator<Item = StringRow<'a>> {
        let before = (0_u32, 0_i64);
        let rows = port.pieces.iter().scan(before, move |(skip, lead), piece| {
            Some(match piece.piece.kind {
                PieceKind::Skip(nodes) => {
                    *skip = skip.saturating_add(nodes);
                    None
                }
                PieceKind::Lead(length, _) => {
                    *lead = lead.saturating_add(length);
                    None
                }
                PieceKind::String(id, _) => {
                    let before = (std::mem::take(skip), std::mem::take(lead));
                    let shown = self.shows(id);
                    shown.then(|| self.string_row(port, piece, id, before)).flatten()
                }
            })
        });
        rows.flatten()
    }

    fn string_row(
        &self,
        port: &PortPlan,
        piece: &ChainPiece,
        id: StringId,
        (skip_before, lead_before_um): (u32, i64),
    ) -> Option<StringRow<'a>> {
        let model = self.model;
        let placed = self.plan.of(id)?;
        let (string, prop, shape) = (&model.strings[id], model.prop(id), model.shape(id));
        let node = model.node_of(id);
        let receiver = piece.receiver.map(|id| &model.receivers[id]);
        Some(StringRow {
            prop: &prop.name,
            instance: (string.member > 0).then_some(string.member),
            string: (string.number > 0).then_some(string.number),
            controller: &model.controllers[port.controller].name,
            port: port.output,
            position: placed.position,
            nodes: shape.node.map(|_| shape.nodes),
            slots: shape.slots,
            start: self.point(placed.start),
            end: self.point(placed.end),
            name: model.name_of(id),
            label: label_of(prop, string.member),
            string_name: shape.name.as_deref(),
            node: node.map(|node| &*node.name),
            chip: model.chip_of(id).map(|chip| &*chip.name),
            colour: node.map(|node| &*node.colour),
            skips: shape.skips,
            skip_before,
            lead_before_um,
            receiver: receiver.and_then(|receiver| match port.output {
                Output::Pixel(number) => {
                    Some((&*receiver.name, number.checked_sub(receiver.first)? + 1))
                }
                Output::Dmx(_) => None,
            }),
            strands: shape.strand.filter(|each| *each > 0).map(|each| (shape.nodes / each, each)),
            enters: model.enters(id),
            runs: &shape.runs,
            stored: string.stored,
            same_as: string.same_as.map(|other| model.name_of(other)),
        })
    }
}
