//! The table of props and members that have an address, as declared.

use super::View;
use super::stretch::{self, SlotRange};
use super::strings::runs;
use super::view::label_of;
use crate::diagnostic::words::shown;
use crate::model::{PieceKind, Prop, PropId, StringId};
use crate::table::{Column, Point, Row, Table, columns};
use crate::unit::counted;
use crate::usage::output_name;
use std::collections::BTreeMap;

/// One prop or member.
#[derive(Debug)]
pub struct PropRow<'a> {
    pub(crate) prop: &'a str,
    pub(crate) instance: Option<u32>,
    pub(crate) label: Option<&'a str>,
    pub(crate) strings: u32,
    pub(crate) nodes: Option<u64>,
    pub(crate) slots: u64,
    pub(crate) first: Point,
    pub(crate) last: Point,
    pub(crate) contiguous: bool,
    /// Strands, and the nodes of each where all have the same number; `None` for a fixture.
    pub(crate) strands: Option<(u64, Option<u32>)>,
    pub(crate) starts: String,
    pub(crate) ports: String,
    pub(crate) enters: String,
    pub(crate) dark_before: String,
    pub(crate) built: String,
    pub(crate) same_as: String,
}

pub(super) fn table<'v>(view: &'v View<'_>) -> Table<'v> {
    let about = "Props and members that have an address, as declared.";
    Table::of("props", about, || view.props())
}

impl PropRow<'_> {
    /// Its name as a person writes it.
    #[must_use]
    pub fn name(&self) -> String {
        match self.instance {
            Some(member) => format!("{}[{member}]", self.prop),
            None => self.prop.to_owned(),
        }
    }
}

impl Row for PropRow<'_> {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            people "prop" => row.name();
            text "prop" "Its prop." => row.prop;
            number "instance" "Its member from 1; null for a prop that is no family."
                => row.instance, maybe;
            number "strings" "How many strings it has; 0 for a fixture."
                => row.strings, shown("strings");
            number "strands" "How many strands it has; a string without strands is one. Null for a fixture."
                => row.strands.map(|(count, _)| count), maybe, shown("strands");
            number "nodes_per_strand" "Nodes of each strand; null where they differ."
                => row.strands.and_then(|(_, nodes)| nodes), maybe, shown("of");
            number "nodes" "Nodes that show something; null for a fixture."
                => row.nodes, maybe, shown("nodes");
            number "slots" "Slots of its strings." => row.slots, shown("slots");
            people "channels" => format!("{} to {}", row.first.channel, row.last.channel), right;
            point "first" "Its lowest slot." => row.first;
            point "last" "Its highest slot." => row.last;
            number "first_channel" "Its lowest channel, from 1." => row.first.channel, programs;
            number "last_channel" "Its highest channel, from 1." => row.last.channel, programs;
            flag "one_piece" "Whether every channel between the two is its own." => row.contiguous;
            text "starts" "Universe/slot at which each string starts, in the order of its strings."
                => &row.starts;
            people "starts" => few(&row.starts);
            text "ports" "The port of each string, in the same order." => &row.ports;
            people "ports" => few(&row.ports);
            text "enters" "Where data comes in: one place for all strings, or one for each in order."
                => Some(&*row.enters).filter(|text| !text.is_empty()), maybe;
            text "label" "Its label." => row.label, maybe;
            flag "contiguous" "The same as `one_piece`." => row.contiguous;
            text "dark_before" "Dark nodes before each string, in the order of its strings; empty without any."
                => &row.dark_before;
            text "built" "The runs of each string as a display writes them, in the same order; \
                          empty where all are plain and alike." => &row.built;
            text "same_as" "The strings whose data its own show, in the same order." => &row.same_as;
        }
    }

    fn remark(&self) -> String {
        let mut remarks = Vec::new();
        if let Some(label) = self.label {
            remarks.push(format!("\"{}\"", shown(label)));
        }
        if !self.contiguous {
            remarks.push("other slots in between".to_owned());
        }
        if !self.enters.is_empty() {
            remarks.push(format!("data in at {}", shown(&self.enters)));
        }
        if !self.same_as.is_empty() {
            remarks.push(format!("same as {}", shown(&few(&self.same_as))));
        }
        remarks.join(", ")
    }
}

/// A list as people see it: neighbours that are equal once, and only the first entry where all do
/// not fit a column.
fn few(list: &str) -> String {
    let mut all: Vec<&str> = list.split(", ").collect();
    all.dedup();
    match all.as_slice() {
        [first, rest @ ..] if rest.len() > 1 || first.len() > 9 && !rest.is_empty() => {
            format!("{first} …")
        }
        all => all.join(", "),
    }
}

impl<'a> View<'a> {
    /// Props and members that have an address, in the order declared.
    pub fn props(&self) -> impl Iterator<Item = PropRow<'a>> {
        let (props, dark) = (self.model.props.pairs(), self.dark_before());
        let members = |(id, prop): (PropId, &'a Prop)| {
            (1..=prop.members_count()).map(move |member| (id, prop, member))
        };
        props
            .flat_map(members)
            .filter_map(move |(id, prop, member)| self.prop_row((id, member), prop, &dark))
    }

    /// Dark nodes on the data line before each string that has any, back to the string before it.
    fn dark_before(&self) -> BTreeMap<StringId, u32> {
        let mut before = BTreeMap::new();
        for port in self.plan.ports.iter() {
            let mut dark = 0_u32;
            for piece in &port.pieces {
                match piece.piece.kind {
                    PieceKind::Skip(nodes) => dark = dark.saturating_add(nodes),
                    PieceKind::Lead(..) => {}
                    PieceKind::String(id, _) if dark > 0 => {
                        before.insert(id, std::mem::take(&mut dark));
                    }
                    PieceKind::String(..) => {}
                }
            }
        }
        before
    }

    /// Whether a string is in the display: of a `stock` prop only what is named is.
    fn is_there(&self, prop: &Prop, string: StringId) -> bool {
        !prop.stock || self.plan.of(string).is_some()
    }

    fn prop_row(
        &self,
        (id, member): (PropId, u32),
        prop: &'a Prop,
        dark: &BTreeMap<StringId, u32>,
    ) -> Option<PropRow<'a>> {
        let own = |s: &StringId| self.model.strings[*s].prop == id && self.is_there(prop, *s);
        let ids = || prop.strings_of(member).map(StringId).filter(own);
        if self.only.is_some() && !ids().any(|s| self.shows(s)) {
            return None;
        }
        let mut pieces: Vec<SlotRange> = Vec::new();
        let (mut strings, mut nodes, mut slots) = (0, None, 0);
        let mut strands: Option<(u64, Option<u32>)> = None;
        for string in ids() {
            let shape = self.model.shape(string);
            if shape.node.is_some() {
                strings += 1;
                nodes = Some(nodes.unwrap_or(0) + u64::from(shape.nodes));
                let each = shape.strand.filter(|each| *each > 0).unwrap_or(shape.nodes);
                let (count, alike) = strands.unwrap_or((0, Some(each)));
                let count = count + u64::from(shape.nodes.div_ceil(each.max(1)));
                strands = Some((count, alike.filter(|alike| *alike == each)));
            }
            slots += u64::from(shape.slots);
            stretch::each(self.model, self.plan, string, |stretch| pieces.push(stretch));
        }
        let placed = || ids().filter_map(|s| self.plan.of(s));
        let first = placed().map(|p| p.start).min()?;
        let last = placed().map(|p| p.end).max()?;
        pieces.sort_unstable();
        let starts = placed().map(|p| self.plan.universe_slots.place(p.start));
        let ports = ids().filter_map(|s| {
            let port = self.plan.port_of(s)?;
            Some(output_name(self.model, port.controller, port.output))
        });
        let shapes = || ids().map(|s| self.model.shape(s)).filter(|shape| shape.node.is_some());
        let size = shapes().next().map(|shape| shape.nodes);
        let plain = shapes().all(|shape| shape.runs.is_empty() && Some(shape.nodes) == size);
        let built = shapes().map(|shape| match &shape.runs[..] {
            [] => counted(shape.nodes, "node"),
            all => runs(all),
        });
        let before = ids().map(|s| dark.get(&s).copied().unwrap_or(0));
        let same = ids().filter_map(|s| self.model.strings[s].same_as);
        Some(PropRow {
            prop: &prop.name,
            instance: prop.count.map(|_| member),
            label: label_of(prop, member),
            strings,
            nodes,
            slots,
            first: self.point(first),
            last: self.point(last),
            contiguous: self.covered(&pieces) == last + 1 - first,
            strands,
            enters: prop.enters_at(member).join(", "),
            starts: starts.collect::<Vec<_>>().join(", "),
            ports: ports.collect::<Vec<_>>().join(", "),
            dark_before: match before.clone().all(|dark| dark == 0) {
                true => String::new(),
                false => before.map(|dark| dark.to_string()).collect::<Vec<_>>().join(", "),
            },
            built: if plain { String::new() } else { built.collect::<Vec<_>>().join(", ") },
            same_as: same.map(|s| self.model.name_of(s)).collect::<Vec<_>>().join(", "),
        })
    }

    /// How many different slots some stretches hold. The stretches are in order.
    fn covered(&self, stretches: &[SlotRange]) -> u64 {
        let slots = self.plan.universe_slots.each();
        let (mut end, mut sum) = (0, 0);
        for stretch in stretches {
            let base = u64::from(stretch.universe.saturating_sub(1)) * slots;
            let last = base + u64::from(stretch.last);
            sum += last.saturating_sub(end.max(base + u64::from(stretch.first) - 1));
            end = end.max(last);
        }
        sum
    }
}
