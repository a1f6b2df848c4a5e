//! The table of outputs in use, by controller as declared, pixel ports before DMX outputs, each by
//! number.

use super::View;
use crate::model::{Output, PieceKind, StringId};
use crate::plan::{Placed, PortPlan};
use crate::table::{Column, Point, Row, Table, columns};

/// One output in use.
#[derive(Debug)]
pub struct PortRow<'a> {
    pub(crate) controller: &'a str,
    pub(crate) port: Output,
    pub(crate) nodes: u32,
    pub(crate) skipped: u32,
    pub(crate) limit: Option<u32>,
    pub(crate) start: Point,
    pub(crate) end: Point,
    pub(crate) in_slots: bool,
    pub(crate) slots: u32,
    pub(crate) strings: u32,
    pub(crate) receivers: Vec<String>,
}

impl PortRow<'_> {
    /// What the limit counts.
    #[must_use]
    pub fn limit_in(&self) -> &'static str {
        if self.in_slots { "slots" } else { "nodes" }
    }

    /// What is left below the limit.
    #[must_use]
    pub fn left(&self) -> Option<u32> {
        let nodes = self.nodes.saturating_add(self.skipped);
        let taken = if self.in_slots { self.slots } else { nodes };
        self.limit.map(|limit| limit.saturating_sub(taken))
    }
}

pub(super) fn table<'v>(view: &'v View<'_>) -> Table<'v> {
    let about =
        "Used outputs, by controller as declared, pixel ports before DMX outputs, each by number.";
    Table::of("ports", about, || view.ports())
}

impl Row for PortRow<'_> {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            people "port" => format!("{}.{}", row.controller, row.port.name());
            people "strings" => row.strings, right;
            text "controller" "Its controller." => row.controller;
            text "port" "A pixel port by number (`3`), or a DMX output (`dmx1`)."
                => row.port.name();
            number "nodes" "Nodes that light, skips left out." => row.nodes, shown("nodes");
            number "skipped" "Nodes in the data line that show nothing."
                => row.skipped, shown("skipped");
            number "limit"
                "Most nodes, by the port's own limit and by the time of a frame; skips count \
                 against it. Slots where `limit_in` says so; null where nothing limits it."
                => row.limit, maybe, shown("limit");
            people "left" => row.left(), right;
            point "start" "The lowest slot of its strings." => row.start, shown("start");
            point "end" "The highest slot of its strings." => row.end, shown("end");
            people "channels" => format!("{} to {}", row.start.channel, row.end.channel), right;
            text "limit_in" "What the limit is counted in: `nodes` or `slots`." => row.limit_in();
            number "left" "What is left below the limit, in the same count." => row.left(), maybe;
            number "slots" "Slots of its strings." => row.slots;
            number "strings" "How many strings hang on it." => row.strings;
            texts "receivers" "The receivers it comes out at, in chain order."
                => row.receivers.as_slice();
        }
    }

    fn group(&self) -> &str {
        self.controller
    }

    fn remark(&self) -> String {
        let mut remarks: Vec<String> = self.receivers.iter().map(|at| format!("at {at}")).collect();
        if self.in_slots && self.limit.is_some() {
            remarks.push("limit in slots".to_owned());
        }
        remarks.join(", ")
    }
}

impl<'a> View<'a> {
    fn placed_on<'v>(
        &'v self,
        port: &'a PortPlan,
    ) -> impl Iterator<Item = (StringId, &'a Placed)> + 'v {
        port.pieces.iter().filter_map(|piece| match piece.piece.kind {
            PieceKind::String(id, _) => Some((id, self.plan.of(id)?)),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        })
    }

    /// The lowest first and the highest last slot of an output's strings, as channels from 0.
    pub(super) fn extent(&self, port: &'a PortPlan) -> Option<(u64, u64)> {
        let placed = || self.placed_on(port).map(|(_, placed)| placed);
        let start = placed().map(|placed| placed.start).min()?;
        Some((start, placed().map(|placed| placed.end).max()?))
    }

    pub(super) fn shows_port(&self, port: &'a PortPlan) -> bool {
        self.only.is_none() || self.placed_on(port).any(|(id, _)| self.shows(id))
    }

    /// Outputs with a string on them, by controller as declared, pixel ports first, by number.
    pub fn ports(&self) -> impl Iterator<Item = PortRow<'a>> {
        let ports = self.plan.ports.iter().filter(|port| self.shows_port(port));
        ports.filter_map(|port| self.port_row(port))
    }

    fn port_row(&self, port: &'a PortPlan) -> Option<PortRow<'a>> {
        let (start, end) = self.extent(port)?;
        let controller = &self.model.controllers[port.controller];
        let (in_slots, receivers) = match port.output {
            Output::Dmx(_) => (true, Vec::new()),
            Output::Pixel(number) => {
                let own = controller.port(number);
                let receivers = self.model.receivers_of(port.controller, number);
                let names = receivers.map(|(_, receiver, own)| format!("{}.{own}", receiver.name));
                (own.is_some_and(|port| port.settings.slots.is_some()), names.collect())
            }
        };
        Some(PortRow {
            controller: &controller.name,
            port: port.output,
            nodes: port.nodes,
            skipped: port.skipped,
            limit: port.limit,
            start: self.point(start),
            end: self.point(end),
            in_slots,
            slots: port.slots,
            strings: u32::try_from(self.placed_on(port).count()).unwrap_or(u32::MAX),
            receivers,
        })
    }
}
