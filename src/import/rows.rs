//! From rows of cells to props, with a note on all that is not understood.

use super::columns::{Columns, Kind};
use super::names::Names;
use super::sheet::Row;
use super::{Grade, Note};
use crate::chip;
use crate::model::MOST_STRINGS;
use crate::unit;
use std::collections::BTreeMap;

/// The largest numbers that are taken for what they say; beyond is a slip.
const MOST_COUNT: u64 = 10_000;
const MOST_NODES: u64 = 1_000_000;
const MOST_PORT: u64 = 1_024;

/// A prop of the table.
#[derive(Debug)]
pub struct Prop {
    /// Its lawful name.
    pub name: String,
    /// A label: the table's own, or the name as it was written where it was made lawful.
    pub label: Option<String>,
    /// How many alike; 1 for a single one.
    pub count: u64,
    /// The nodes of each string of one of them.
    pub strings: Vec<u64>,
    /// The chip of its nodes as the language calls it, if the table says it.
    pub chip: Option<&'static str>,
    /// The controller it hangs on, as an index of [`Found::controllers`].
    pub controller: Option<usize>,
    /// The ports it hangs on: one for all, or one for each equal share of its strings; empty where open.
    pub ports: Vec<u64>,
}

impl Prop {
    /// How many strings all alike have together.
    pub fn all_strings(&self) -> u64 {
        self.count.saturating_mul(self.strings.len() as u64)
    }
}

/// What a table holds.
#[derive(Debug, Default)]
pub struct Found {
    /// Its props in its order.
    pub props: Vec<Prop>,
    /// Lawful names of controllers in the order met, each with the name as it was written if that differs.
    pub controllers: Vec<(String, Option<String>)>,
    /// Rows that hold anything.
    pub rows: usize,
}

/// Reads all rows below the header.
pub fn read(table: &[Row], columns: &Columns, notes: &mut Vec<Note>) -> Found {
    let mut stage = Stage {
        columns,
        notes,
        found: Found::default(),
        props: Names::default(),
        boxes: Names::default(),
        by_text: BTreeMap::new(),
        strings: 0,
    };
    // `wire any` means every controller there is.
    stage.boxes.keep("any");
    if !columns.has(Kind::Controller) && columns.has(Kind::Port) {
        // One box is all that ports without a controller can mean.
        stage.found.controllers.push(("main".to_owned(), None));
        stage.boxes.keep("main");
    }
    for row in table.iter().skip(columns.header + 1) {
        stage.found.rows += 1;
        stage.row(row);
    }
    stage.found
}

struct Stage<'a> {
    columns: &'a Columns,
    notes: &'a mut Vec<Note>,
    found: Found,
    props: Names,
    boxes: Names,
    /// Controllers by their text in small letters.
    by_text: BTreeMap<String, usize>,
    /// Strings so far.
    strings: u64,
}

impl Stage<'_> {
    fn note(&mut self, row: &Row, kind: Kind, what: impl Into<String>, grade: Grade) {
        let text = self.columns.cell(row, kind).unwrap_or("").to_owned();
        self.notes.push(Note {
            row: Some(row.number),
            column: self.columns.heading(kind).to_owned(),
            text,
            what: what.into(),
            grade,
        });
    }

    fn row(&mut self, row: &Row) {
        let Some(written) = self.columns.cell(row, Kind::Name) else {
            self.note(row, Kind::Name, "no name; the row is left out", Grade::Lost);
            return;
        };
        let written = written.to_owned();
        let count = match self.number(row, Kind::Count, MOST_COUNT) {
            Cell::Number(0) => {
                self.note(
                    row,
                    Kind::Count,
                    "there are none; the row is left out",
                    Grade::Lost,
                );
                return;
            }
            Cell::Number(count) => count,
            Cell::Empty => 1,
            Cell::Odd => {
                self.odd(row, Kind::Count, "taken as 1");
                1
            }
        };
        let Some(strings) = self.strings(row) else {
            return;
        };
        self.strings = self
            .strings
            .saturating_add(count.saturating_mul(strings.len() as u64));
        if self.strings > u64::from(MOST_STRINGS) {
            let what = format!("more than {} strings; the row is left out", MOST_STRINGS);
            self.note(row, Kind::Name, what, Grade::Lost);
            return;
        }
        let name = self.props.give(&written, "prop");
        if name != written {
            let what = format!("is called `{name}` in the display, and keeps this as its label");
            self.note(row, Kind::Name, what, Grade::Told);
        }
        let own_label = self.columns.cell(row, Kind::Label).map(str::to_owned);
        let label = own_label.or_else(|| (name != written).then_some(written));
        let controller = self.controller(row);
        let mut prop = Prop {
            name,
            label,
            count,
            strings,
            chip: self.chip(row),
            controller,
            ports: Vec::new(),
        };
        self.ports(row, &mut prop);
        self.found.props.push(prop);
    }

    fn odd(&mut self, row: &Row, kind: Kind, then: &str) {
        self.note(
            row,
            kind,
            format!("no number that fits here; {then}"),
            Grade::Lost,
        );
    }

    fn number(&self, row: &Row, kind: Kind, most: u64) -> Cell {
        match self.columns.cell(row, kind) {
            None => Cell::Empty,
            Some(text) => match whole(text) {
                Some(number) if number <= most => Cell::Number(number),
                _ => Cell::Odd,
            },
        }
    }

    /// The nodes of each string; `None` where the row is to be left out.
    fn strings(&mut self, row: &Row) -> Option<Vec<u64>> {
        let strings = match self.number(row, Kind::Strings, MOST_COUNT) {
            Cell::Number(0) | Cell::Empty => 1,
            Cell::Number(strings) => strings,
            Cell::Odd => {
                self.odd(row, Kind::Strings, "taken as 1");
                1
            }
        };
        let whole = usize::try_from(strings).unwrap_or(1);
        match self.number(row, Kind::NodesPerString, MOST_NODES) {
            Cell::Number(0) | Cell::Empty => {}
            Cell::Number(nodes) => return Some(vec![nodes; whole]),
            Cell::Odd => {
                self.odd(row, Kind::NodesPerString, "the row is left out");
                return None;
            }
        }
        let nodes = match self.number(row, Kind::Nodes, MOST_NODES) {
            Cell::Number(0) | Cell::Empty => {
                let kind = if self.columns.has(Kind::Nodes) {
                    Kind::Nodes
                } else {
                    Kind::NodesPerString
                };
                self.note(row, kind, "no nodes; the row is left out", Grade::Lost);
                return None;
            }
            Cell::Number(nodes) => nodes,
            Cell::Odd => {
                self.odd(row, Kind::Nodes, "the row is left out");
                return None;
            }
        };
        if nodes < strings {
            let what = format!("fewer nodes than strings ({strings}); the row is left out");
            self.note(row, Kind::Nodes, what, Grade::Lost);
            return None;
        }
        let (each, more) = (nodes / strings, nodes % strings);
        if more > 0 {
            let what = format!(
                "{} do not come out even in {strings} strings; {more} of them got {} and the rest {each}",
                unit::counted(nodes, "node"),
                each + 1
            );
            self.note(row, Kind::Nodes, what, Grade::Lost);
        }
        Some((0..strings).map(|at| each + u64::from(at < more)).collect())
    }

    fn chip(&mut self, row: &Row) -> Option<&'static str> {
        let text = self.columns.cell(row, Kind::Chip)?;
        let plain: String = text
            .chars()
            .filter(|c| c.is_alphanumeric())
            .flat_map(char::to_lowercase)
            .collect();
        let known = chip::KNOWN
            .iter()
            .find(|chip| chip.name.replace('-', "") == plain);
        if known.is_none() {
            self.note(
                row,
                Kind::Chip,
                "no chip that is known beforehand; left to be filled in",
                Grade::Lost,
            );
        }
        known.map(|chip| chip.name)
    }

    fn controller(&mut self, row: &Row) -> Option<usize> {
        if !self.columns.has(Kind::Controller) {
            return (!self.found.controllers.is_empty()).then_some(0);
        }
        let text = self.columns.cell(row, Kind::Controller)?.to_owned();
        let key = text.to_lowercase();
        if let Some(at) = self.by_text.get(&key) {
            return Some(*at);
        }
        let name = self.boxes.give(&text, "box");
        let differs = name != text;
        if differs {
            let what = format!("is called `{name}` in the display, and keeps this as its label");
            self.note(row, Kind::Controller, what, Grade::Told);
        }
        let at = self.found.controllers.len();
        self.by_text.insert(key, at);
        self.found.controllers.push((name, differs.then_some(text)));
        Some(at)
    }

    fn ports(&mut self, row: &Row, prop: &mut Prop) {
        let Some(text) = self.columns.cell(row, Kind::Port) else {
            return;
        };
        let Some(ports) = ports(text) else {
            let what = "no port that is understood; the port is left open";
            self.note(row, Kind::Port, what, Grade::Lost);
            return;
        };
        if prop.controller.is_none() {
            let what = "a port without a controller; the port is left open";
            self.note(row, Kind::Port, what, Grade::Lost);
            return;
        }
        let (strings, count) = (prop.all_strings(), ports.len() as u64);
        if count > 1 && !strings.is_multiple_of(count) {
            let what = format!(
                "{} can't be spread evenly over {count} ports, so all stay open",
                unit::counted(strings, "string")
            );
            self.note(row, Kind::Port, what, Grade::Lost);
            return;
        }
        // A share of a family must be whole members, or whole strings of each.
        prop.ports = ports;
        let share = strings / count.max(1);
        let each = prop.strings.len() as u64;
        if count > 1 && prop.count > 1 && !share.is_multiple_of(each) && !each.is_multiple_of(share)
        {
            prop.ports = Vec::new();
            let what = "the ports would cut through props; they are left open";
            self.note(row, Kind::Port, what, Grade::Lost);
        }
    }
}

enum Cell {
    Empty,
    Number(u64),
    Odd,
}

/// A whole number as people and spreadsheets write it: `1,200`, `1 200`, `50.0`, `50 px`.
fn whole(text: &str) -> Option<u64> {
    let digits = text.trim_start_matches(['#', '~']).trim_start();
    let end = digits
        .find(|c: char| c.is_alphabetic())
        .unwrap_or(digits.len());
    let (number, unit) = digits.split_at_checked(end)?;
    let units = [
        "", "px", "pixels", "pixel", "nodes", "node", "leds", "led", "lights", "bulbs", "pcs", "x",
        "strings", "string",
    ];
    if !units.contains(&unit.trim().to_lowercase().as_str()) {
        return None;
    }
    let number = number.trim();
    let number = number
        .strip_suffix(".0")
        .or_else(|| number.strip_suffix(".00"))
        .unwrap_or(number);
    let mut groups = number.split([',', ' ', '_', '\'', '.', '\u{a0}', '\u{202f}']);
    let first = groups.next()?;
    let mut value: u64 = digits_of(first)?;
    for group in groups {
        if group.len() != 3 || first.len() > 3 {
            return None;
        }
        value = value.checked_mul(1_000)?.checked_add(digits_of(group)?)?;
    }
    Some(value)
}

fn digits_of(text: &str) -> Option<u64> {
    let plain = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    plain.then(|| text.parse().ok()).flatten()
}

/// Ports of a cell: `3`, `port 3`, `P3`, `hut.3`, `3-6`, `3,4`, `3 & 4`. `None` where it is none of these.
fn ports(text: &str) -> Option<Vec<u64>> {
    let lower = text.to_lowercase();
    // `hut.3` and `hut:3` name the controller again.
    let last = match lower.rsplit_once([':', '.']) {
        Some((before, after)) if before.chars().any(char::is_alphabetic) => after,
        _ => lower.strip_suffix(".0").unwrap_or(&lower),
    };
    let plain = last
        .replace("..", "-")
        .replace(" to ", "-")
        .replace('–', "-");
    let mut all = Vec::new();
    for part in plain.split([',', ';', '&', '+', '/']) {
        let words = ["ports", "port", "output", "out", "p", "#"];
        let number = |text: &str| {
            let text = text.trim();
            let text = words
                .iter()
                .find_map(|word| text.strip_prefix(word))
                .unwrap_or(text);
            digits_of(text.trim_start_matches(['#', ' ', '.']))
                .filter(|n| (1..=MOST_PORT).contains(n))
        };
        match part.split_once('-') {
            None => all.push(number(part)?),
            Some((from, to)) => {
                let (from, to) = (number(from)?, number(to)?);
                if from > to {
                    return None;
                }
                all.extend(from..=to);
            }
        }
    }
    let mut sorted = all.clone();
    sorted.sort_unstable();
    sorted.dedup();
    (sorted.len() == all.len() && !all.is_empty()).then_some(all)
}
