//! How large the strings of a row are, and of what nodes.

use super::{Facts, MOST_COUNT, MOST_NODES, MOST_SLOTS, Size, Stage, remarked};
use crate::import::Grade;
use crate::import::cells::{self, At, SheetPort};
use crate::import::headings::Kind;
use crate::import::makes;
use crate::import::sheet::SheetRow;
use crate::model::Output;
use crate::unit;

impl Stage<'_> {
    /// How large and of what make the strings of a row are; `None` where the row is left out.
    pub(super) fn facts(&mut self, row: &SheetRow, ports: Vec<SheetPort>) -> Option<Facts> {
        let mut facts = Facts { count: 1, ports, ..Facts::default() };
        let in_count = self.columns.cell(row, Kind::Count).and_then(cells::multiple);
        if in_count.is_none() {
            match self.number(row, Kind::Count, MOST_COUNT, "taken as 1") {
                Ok(Some(0)) => {
                    let what = "there are none; the row is left out";
                    self.left_out((row, Kind::Count), what, Grade::Lost);
                    return None;
                }
                Ok(count) => facts.count = count.unwrap_or(1),
                Err(()) => {}
            }
        }
        let strings = match self.columns.has(Kind::StringNumber) || self.columns.of_ports {
            true => None,
            false => self.number(row, Kind::Strings, MOST_COUNT, "taken as 1").unwrap_or(None),
        };
        let strings = strings.filter(|count| *count > 0);
        facts.slots = self.slots(row);
        let slots = facts.slots;
        match self.size(row, in_count, strings, &facts)? {
            Size::Nodes(sizes, _) if is_fixture(&facts, &sizes) => {
                facts.sizes = vec![self.footprint(row, &sizes, slots)];
            }
            Size::Nodes(sizes, strands) => {
                if let Some(of) = in_count.filter(|of| {
                    self.columns.cell(row, Kind::Nodes).is_none() && sizes == [of.each]
                }) {
                    facts.count = of.count;
                }
                (facts.sizes, facts.strands) = (sizes, strands);
                if strings.is_none() {
                    self.by_port(row, &mut facts);
                }
                let nodes = facts.sizes.iter().sum::<u64>().saturating_mul(facts.count);
                let slots = slots.or_else(|| self.by_width(row, nodes));
                facts.make = self.make(row, (nodes, facts.count), slots);
                if facts.make.is_none() {
                    // The slots are no whole number a node; addresses depend on them, so they stay.
                    facts.sizes = vec![slots.unwrap_or(1)];
                    facts.strands = 0;
                }
            }
            Size::Footprint(slots) => facts.sizes = vec![slots],
            Size::Slots => {
                let (of, whole) = (facts.count.max(1), slots.unwrap_or(0));
                let shared = self.columns.cell(row, Kind::Slots).is_some()
                    && of > 1
                    && whole.is_multiple_of(of)
                    && self.ends_as(row, whole);
                facts.sizes = vec![if shared { whole / of } else { whole }];
            }
        }
        Some(facts)
    }

    /// The slots of a row whose count stands on a DMX output.
    fn footprint(&mut self, row: &SheetRow, sizes: &[u64], slots: Option<u64>) -> u64 {
        let said = slots.or_else(|| self.span(row)).filter(|slots| *slots <= 512);
        said.unwrap_or_else(|| {
            let what = "a count on a DMX output; taken as the slots of a fixture";
            self.note((row, Kind::Nodes), what, Grade::Lost);
            sizes.iter().sum()
        })
    }

    /// The slots of a row's nodes: by those of one node, or four each where start and end say so.
    fn by_width(&self, row: &SheetRow, nodes: u64) -> Option<u64> {
        const SIZED: [Kind; 2] = [Kind::Nodes, Kind::NodesPerString];
        let each = self.columns.cell(row, Kind::SlotsPerNode).and_then(cells::whole);
        let beside = || SIZED.iter().find_map(|kind| cells::width(self.columns.cell(row, *kind)?));
        if let Some(each) = each.or_else(beside).filter(|each| (1..=12).contains(each)) {
            return nodes.checked_mul(each);
        }
        let said = [Kind::Make, Kind::Chip, Kind::Colour].map(|kind| self.columns.cell(row, kind));
        let span = self.span(row).filter(|_| said.iter().all(Option::is_none))?;
        (nodes.checked_mul(4)? == span).then_some(span)
    }

    /// The slots from a row's start to its end, where both are in one universe or are channels.
    fn span(&self, row: &SheetRow) -> Option<u64> {
        let cell = |kind| self.columns.cell(row, kind);
        let one = |[universe, slot, whole, channel]: [Kind; 4]| {
            let slot = cell(slot).and_then(cells::whole);
            let pair = cell(universe).and_then(cells::universes).zip(slot);
            let pair = pair.map(|((universe, _), slot)| At::Slot(universe, slot));
            let text = cell(whole).or(cell(channel)).or(cell(universe));
            let full = || match cells::spots(text?, cell(whole).is_none(), false)?.as_slice() {
                [(at, None)] => at.first().copied(),
                _ => None,
            };
            pair.or_else(full)
        };
        let from = one([Kind::Universe, Kind::Slot, Kind::Start, Kind::StartChannel])?;
        let to = one([Kind::EndUniverse, Kind::EndSlot, Kind::End, Kind::EndChannel])?;
        match (from, to) {
            (At::Slot(one, from), At::Slot(other, to)) if one == other => {
                (to + 1).checked_sub(from)
            }
            (At::Channel(from), At::Channel(to)) => (to + 1).checked_sub(from),
            _ => None,
        }
    }

    /// Gives a row with several ports and no number of strings one string on each port, if its
    /// nodes come out even.
    fn by_port(&mut self, row: &SheetRow, facts: &mut Facts) {
        let ports = facts.ports.len() as u64;
        let strings = ports / facts.count.max(1);
        let [size] = facts.sizes[..] else { return };
        if strings < 2 || !ports.is_multiple_of(facts.count) || self.columns.of_ports {
            return;
        }
        let per_string = self.columns.cell(row, Kind::NodesPerString).is_some();
        let whole = |number: u64| number < 2 || number.is_multiple_of(strings);
        if !(per_string || size.is_multiple_of(strings) && whole(facts.strands)) {
            return;
        }
        let (each, strands) = match per_string {
            true => (size, facts.strands),
            false => (size / strings, facts.strands / strings),
        };
        (facts.sizes, facts.strands) =
            (vec![each; facts.ports.len() / facts.count as usize], strands);
        let said = [Kind::Start, Kind::StartChannel].iter().any(|kind| {
            let starts = self.columns.cell(row, *kind);
            starts
                .and_then(|text| cells::spots(text, *kind == Kind::StartChannel, false))
                .is_some_and(|starts| starts.len() as u64 == ports)
        });
        let nodes = |nodes: u64| unit::counted(nodes, "node");
        let all = nodes(each.saturating_mul(ports));
        let what = format!("{all}: taken as a string of {} on each of {ports} ports", nodes(each));
        let grade = if said || per_string { Grade::Noted } else { Grade::Lost };
        self.note((row, Kind::Port), what, grade);
    }

    /// Whether a row has this many slots from its start to its end.
    pub(super) fn ends_as(&self, row: &SheetRow, slots: u64) -> bool {
        let number = |kind| self.columns.cell(row, kind).and_then(cells::whole);
        let both = [(Kind::StartChannel, Kind::EndChannel), (Kind::Slot, Kind::EndSlot)];
        both.iter().any(|(from, to)| {
            number(*from)
                .zip(number(*to))
                .is_some_and(|(from, to)| (to + 1).checked_sub(from) == Some(slots))
        })
    }

    /// The slots of a row by its own cell: a count, or a range of channels.
    pub(super) fn slots(&mut self, row: &SheetRow) -> Option<u64> {
        let text = self.columns.cell(row, Kind::Slots)?;
        if let Some(slots) = cells::whole(text).filter(|slots| *slots <= MOST_SLOTS) {
            return Some(slots).filter(|slots| *slots > 0);
        }
        match cells::spots(text, true, false).as_deref() {
            Some([(from, Some(to))]) => match (from.as_slice(), to.as_slice()) {
                ([At::Channel(from)], [At::Channel(to)]) => {
                    (to + 1).checked_sub(*from).filter(|slots| (1..=MOST_SLOTS).contains(slots))
                }
                _ => None,
            },
            _ => {
                self.note((row, Kind::Slots), "no number that fits here", Grade::Lost);
                None
            }
        }
    }

    /// What one cell says alone: channels of a fixture (`4 ch`), or a multiple (`16x50`).
    /// `Some(None)` where the row is to be left out.
    fn in_one_cell(
        &mut self,
        row: &SheetRow,
        strings: Option<u64>,
        facts: &Facts,
    ) -> Option<Option<Size>> {
        let [per_string, nodes] = [Kind::NodesPerString, Kind::Nodes]
            .map(|kind| self.columns.cell(row, kind).map(str::to_owned));
        let is_slots = |text: &String| {
            let lower = text.to_lowercase();
            ["ch", "slot"].iter().any(|word| lower.contains(word)) && cells::whole(text).is_some()
        };
        if let Some(text) = nodes
            .as_ref()
            .filter(|text| is_slots(text))
            .or(per_string.as_ref().filter(|text| is_slots(text)))
        {
            let slots = cells::whole(text).filter(|slots| (1..=512).contains(slots));
            return Some(match slots {
                Some(slots) => Some(Size::Footprint(slots)),
                None => {
                    self.left_out(
                        (row, Kind::Nodes),
                        "no footprint that fits a universe; the row is left out",
                        Grade::Lost,
                    );
                    None
                }
            });
        }
        for (kind, text) in [(Kind::NodesPerString, &per_string), (Kind::Nodes, &nodes)] {
            let Some(of) = text.as_deref().and_then(cells::multiple) else {
                continue;
            };
            let total = nodes.as_deref().and_then(cells::whole);
            let each = of.count.saturating_mul(of.each);
            if let (Kind::NodesPerString, Some(strings)) = (kind, strings)
                && each <= MOST_NODES
                && total.is_none_or(|total| total == each.saturating_mul(strings))
            {
                let count = usize::try_from(strings).unwrap_or(1);
                return Some(Some(Size::Nodes(vec![each; count], of.count)));
            }
            return Some(match self.multiple(of, strings, facts) {
                Some((sizes, strands)) => Some(Size::Nodes(sizes, strands)),
                None => {
                    let what = format!(
                        "{} pieces can't be spread evenly over {} strings; the row is left out",
                        of.count,
                        strings.unwrap_or(1)
                    );
                    self.left_out((row, kind), &what, Grade::Lost);
                    None
                }
            });
        }
        None
    }

    /// How large a row's strings are; `None` where the row is to be left out.
    pub(super) fn size(
        &mut self,
        row: &SheetRow,
        in_count: Option<cells::Multiple>,
        strings: Option<u64>,
        facts: &Facts,
    ) -> Option<Size> {
        const OUT: &str = "the row is left out";
        if let Some(size) = self.in_one_cell(row, strings, facts) {
            return size;
        }
        let strands = self.optional(row, Kind::Strands, MOST_COUNT).filter(|strands| *strands > 0);
        let whole = strings.unwrap_or(1);
        let count = usize::try_from(whole).unwrap_or(1);
        let per_strand = self.optional(row, Kind::NodesPerStrand, MOST_NODES);
        let per_strand = per_strand.filter(|nodes| *nodes > 0);
        let per_string = self.number(row, Kind::NodesPerString, MOST_NODES, OUT);
        let per_string = per_string.map_err(|()| self.left_row(row, OUT)).ok()?;
        if let Some(nodes) = per_string.filter(|nodes| *nodes > 0) {
            let strands = self.own_strands(row, strands, whole, nodes.saturating_mul(whole));
            return Some(Size::Nodes(vec![nodes; count], strands));
        }
        let total = self.number(row, Kind::Nodes, MOST_NODES, OUT);
        let total = total.map_err(|()| self.left_row(row, OUT)).ok()?.filter(|total| *total > 0);
        match (total, per_strand, in_count) {
            (Some(nodes), _, _) => {
                if nodes < whole {
                    let what = format!("fewer nodes than strings ({whole}); {OUT}");
                    self.left_out((row, Kind::Nodes), &what, Grade::Lost);
                    return None;
                }
                let strands = self.own_strands(row, strands, whole, nodes);
                Some(Size::Nodes(self.shares(row, nodes, whole), strands))
            }
            (None, Some(each), _) => {
                let strands = strands.unwrap_or(whole);
                let own = strands / whole;
                let nodes = each.saturating_mul(own);
                if !strands.is_multiple_of(whole) || nodes > MOST_NODES {
                    let what = format!(
                        "{strands} strands of {each} nodes can't be spread evenly over {whole} strings; {OUT}"
                    );
                    self.left_out((row, Kind::NodesPerStrand), &what, Grade::Lost);
                    return None;
                }
                Some(Size::Nodes(vec![nodes; count], own))
            }
            (None, None, Some(of)) => Some(Size::Nodes(vec![of.each], 0)),
            (None, None, None) if facts.slots.is_some() => Some(Size::Slots),
            (None, None, None) => {
                self.left_out((row, Kind::Nodes), "no nodes; the row is left out", Grade::Lost);
                None
            }
        }
    }

    /// How many strands each string of a row has; those that don't come out even are reported.
    fn own_strands(
        &mut self,
        row: &SheetRow,
        strands: Option<u64>,
        strings: u64,
        nodes: u64,
    ) -> u64 {
        let Some(strands) = strands else { return 0 };
        if strands.is_multiple_of(strings) && nodes.is_multiple_of(strands) {
            return strands / strings;
        }
        // A prop that was split may have more strands in one string; its starts show the sizes.
        if nodes.is_multiple_of(strands) && self.columns.cell(row, Kind::Start).is_some() {
            return 0;
        }
        let all = unit::counted(nodes, "node");
        let strings = unit::counted(strings, "string");
        let what =
            format!("{all} in {strings} do not come out even in {strands} strands; left out");
        self.note((row, Kind::Strands), what, Grade::Lost);
        0
    }

    /// Keeps a row that makes no prop as a comment.
    pub(super) fn left_row(&mut self, row: &SheetRow, why: &str) {
        let cells: Vec<String> = row.filled().map(|(_, cell)| cell.text.clone()).collect();
        self.found.comments.push(format!("{}, {why}: {}", self.at(row), cells.join(" | ")));
    }

    /// The strings of a multiple: `16x50` is as many strings as the table says; else 16 where the
    /// cell calls them strings; else one for each port, or one, with equal strands.
    pub(super) fn multiple(
        &self,
        of: cells::Multiple,
        strings: Option<u64>,
        facts: &Facts,
    ) -> Option<(Vec<u64>, u64)> {
        let ports = facts.ports.len() as u64;
        let strings = strings.or_else(|| match of.strands {
            Some(false) => Some(of.count),
            _ if ports > 0 && of.count.is_multiple_of(ports) => Some(ports),
            _ => Some(1),
        })?;
        let strands = of.count.checked_div(strings).filter(|_| of.count.is_multiple_of(strings))?;
        let each = strands.checked_mul(of.each).filter(|nodes| *nodes <= MOST_NODES)?;
        Some((vec![each; usize::try_from(strings).ok()?], strands))
    }

    /// Spreads nodes over strings; the first ones get one more where they don't come out even.
    pub(super) fn shares(&mut self, row: &SheetRow, nodes: u64, strings: u64) -> Vec<u64> {
        let (each, more) = (nodes / strings.max(1), nodes % strings.max(1));
        let placed = self.columns.cell(row, Kind::Start).is_some();
        if more > 0 && !placed {
            let what = format!(
                "{} do not come out even in {strings} strings; {more} of them got {} and the rest {each}",
                unit::counted(nodes, "node"),
                each + 1
            );
            self.note((row, Kind::Nodes), what, Grade::Lost);
        }
        (0..strings).map(|at| each + u64::from(at < more)).collect()
    }

    /// The make of a row's nodes, which together have `slots`; `None` where the row's end confirms
    /// slots that are no whole number a node.
    pub(super) fn make(
        &mut self,
        row: &SheetRow,
        (nodes, count): (u64, u64),
        slots: Option<u64>,
    ) -> Option<usize> {
        let text = |kind| self.columns.cell(row, kind);
        let order = self.remarks_of(row).find_map(|(_, text)| remarked::colour(text));
        let colour = text(Kind::Colour).or(order.as_deref());
        let texts = [text(Kind::Make), text(Kind::Chip), colour, text(Kind::Volts)];
        let sure = slots.is_some_and(|slots| self.ends_as(row, slots));
        let made = makes::of(
            texts,
            (nodes, count),
            slots.map(|slots| (slots, sure)),
            &mut self.found.makes,
        );
        let [_, chip, colour, volts] = [Kind::Make, Kind::Chip, Kind::Colour, Kind::Volts];
        for (kind, wrong) in [chip, colour, volts].into_iter().zip(&made.odd) {
            if *wrong {
                self.note((row, kind), "not understood; left to be filled in", Grade::Lost);
            }
        }
        if let Some(why) = &made.clash {
            self.note((row, Kind::Slots), why.clone(), Grade::Lost);
        }
        made.make
    }
}

/// Whether what a row counts is one fixture, since it is on a DMX output.
fn is_fixture(facts: &Facts, sizes: &[u64]) -> bool {
    let dmx = |port: &SheetPort| matches!(port.1, Output::Dmx(_));
    let fits = sizes.len() == 1 && sizes.iter().all(|size| *size <= 512);
    fits && facts.count == 1 && !facts.ports.is_empty() && facts.ports.iter().all(dmx)
}
