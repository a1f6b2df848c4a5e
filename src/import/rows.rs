//! From rows of cells to props and their strings, with a note on all that is not understood.
//!
//! `shape.rs` reads how large a row's strings are, `hang.rs` what they hang on, `claim.rs` where they lie; `fit.rs` fits
//! the columns to what stands in them, and puts what came of it in order; `same.rs` finds the strings whose data others show.

mod claim;
mod fit;
mod hang;
pub(super) mod same;
mod shape;

use super::cells::{self, Port};
use super::columns::{self, Columns, Kind};
use super::found::{Found, Prop};
use super::names::Names;
use super::sheet::Row;
use super::{Grade, Note, Reading};
use crate::model::MOST_STRINGS;
use fit::{cut, drop_unused, fitted, in_order};
use std::collections::BTreeMap;

/// The largest numbers that are taken for what they say; beyond is a slip.
const MOST_COUNT: u64 = 10_000;
const MOST_NODES: u64 = 1_000_000;

/// What one row says.
#[derive(Default)]
struct Facts {
    count: u64,
    /// The sizes of the strings of one of them, and of how many strands they are.
    sizes: Vec<u64>,
    strands: u64,
    make: Option<usize>,
    ports: Vec<Port>,
    /// Slots of all of them, by a cell of their own.
    slots: Option<u64>,
}

/// How large the strings of a row are.
enum Size {
    /// Nodes of each string, and of how many strands each is.
    Nodes(Vec<u64>, u64),
    /// Slots of each fixture.
    Footprint(u64),
    /// The cell of slots says it.
    Slots,
}

/// Reads all rows below the header.
pub fn read(table: &[Row], columns: Columns, reading: &Reading, notes: &mut Vec<Note>) -> Found {
    let mut columns = columns;
    let rows = table.get(columns.header + 1..).unwrap_or(&[]);
    let universe_slots = fitted(rows, &mut columns);
    let of_ports = columns.of_ports;
    let above = table.get(..columns.header).unwrap_or(&[]).iter();
    let above = above.map(|row| format!("above the header: {}", columns::begin(row)));
    let mut stage = Stage {
        cut: cut(rows, &columns),
        columns,
        reading,
        notes,
        found: Found { universe_slots, of_ports, comments: above.collect(), ..Found::default() },
        names: Names::default(),
        boxes: Names::default(),
        boxes_by_text: BTreeMap::new(),
        receivers: BTreeMap::new(),
        props: BTreeMap::new(),
        strings: 0,
        nodes: 0,
        members: BTreeMap::new(),
        last: None,
        sums: BTreeMap::new(),
        carried: BTreeMap::new(),
    };
    // `wire any` means every controller there is.
    stage.boxes.keep("any");
    for row in rows {
        stage.found.rows += 1;
        stage.row(row);
    }
    in_order(&mut stage.found, stage.notes);
    drop_unused(&mut stage.found);
    same::named(&mut stage.found, &stage.props, stage.notes);
    stage.found
}

/// What a row is to a column: its kind and the text that stands there.
type Where<'r> = (&'r Row, Kind);

struct Stage<'a> {
    columns: Columns,
    reading: &'a Reading,
    notes: &'a mut Vec<Note>,
    found: Found,
    names: Names,
    boxes: Names,
    /// Controllers by their text in small letters, receivers and props too.
    boxes_by_text: BTreeMap<String, usize>,
    receivers: BTreeMap<String, usize>,
    props: BTreeMap<String, usize>,
    /// Strings so far, and their nodes.
    strings: u64,
    nodes: u64,
    /// Where the members of each prop stand, by prop and number.
    members: BTreeMap<(usize, u64), usize>,
    /// The row before this one that is a prop: its name as written and its prop.
    last: Option<(String, usize)>,
    /// The sum of each column so far.
    sums: BTreeMap<usize, u64>,
    /// The last text of the columns that a blank cell may take over.
    carried: BTreeMap<Kind, String>,
    cut: bool,
}

impl Stage<'_> {
    fn note(&mut self, (row, kind): Where<'_>, what: impl Into<String>, grade: Grade) {
        let text = self.columns.cell(row, kind).unwrap_or("").to_owned();
        self.notes.push(Note {
            row: Some(row.number),
            column: self.columns.heading(kind).to_owned(),
            text,
            what: what.into(),
            grade,
            prop: None,
        });
    }

    /// A row that makes no prop: it is reported, and stands in the display as a comment.
    fn left_out(&mut self, place: Where<'_>, why: &str, grade: Grade) {
        self.note(place, why, grade);
        let row = place.0;
        let cells: Vec<String> = row.filled().map(|(_, cell)| cell.text.clone()).collect();
        self.found.comments.push(format!("row {}, {why}: {}", row.number, cells.join(" | ")));
    }

    fn row(&mut self, row: &Row) {
        if columns::is_header(row, self.reading) {
            self.note((row, Kind::Name), "a header again; left out", Grade::Told);
            return;
        }
        if row.filled().count() == 1 && self.is_words(row) {
            self.left_out((row, Kind::Name), "words between the rows", Grade::Told);
            return;
        }
        if let Some(fits) = self.is_total(row) {
            let (why, grade) = match fits {
                true => ("a total of the rows above; left out", Grade::Told),
                false => ("a total that is not the sum of the rows above", Grade::Lost),
            };
            self.left_out((row, Kind::Name), why, grade);
            return;
        }
        let from = self.notes.len();
        let prop = self.prop(row);
        if let Some(prop) = prop {
            for note in self.notes.iter_mut().skip(from) {
                note.prop = Some(prop);
            }
            self.add(row);
        }
    }

    /// Whether the one cell of a row is a heading of rows, not a prop without nodes or a number.
    fn is_words(&self, row: &Row) -> bool {
        row.filled().all(|(_, cell)| cell.text.chars().any(char::is_alphabetic))
    }

    /// Adds a row's numbers to the sums.
    fn add(&mut self, row: &Row) {
        for (at, cell) in row.filled() {
            let lower = cell.text.to_lowercase();
            if ["ch", "slot"].iter().any(|word| lower.contains(word)) {
                continue;
            }
            let number = cells::whole(&cell.text);
            let product = cells::multiple(&cell.text).map(|of| of.count.saturating_mul(of.each));
            if let Some(number) = number.or(product) {
                let sum = self.sums.entry(at).or_insert(0);
                *sum = sum.saturating_add(number);
            }
        }
    }

    /// Whether a row is a total, by its word or by its figures; if so, whether its figures are sums.
    fn is_total(&self, row: &Row) -> Option<bool> {
        const WORDS: [&str; 8] =
            ["total", "totals", "sum", "subtotal", "grandtotal", "alltogether", "σ", "∑"];
        let plain = |text: &str| {
            text.chars()
                .filter(|c| c.is_alphanumeric() || *c == '∑')
                .flat_map(char::to_lowercase)
                .collect::<String>()
        };
        let placed =
            [Kind::Port, Kind::Controller, Kind::Start, Kind::Universe, Kind::StartChannel];
        if placed.iter().any(|kind| self.columns.cell(row, *kind).is_some()) {
            return None;
        }
        let worded = row.filled().any(|(_, cell)| WORDS.contains(&plain(&cell.text).as_str()));
        let unnamed = self.columns.cell(row, Kind::Name).is_none();
        let numbers: Vec<bool> = row
            .filled()
            .filter_map(|(at, cell)| {
                let number = cells::whole(&cell.text)?;
                let kind = self.columns.kind_at(at);
                let of_nodes = matches!(kind, Some(Kind::Nodes | Kind::NodesPerString))
                    && number == self.nodes;
                Some(of_nodes || self.sums.get(&at) == Some(&number))
            })
            .collect();
        let sums = !numbers.is_empty() && numbers.iter().all(|fits| *fits);
        (worded || unnamed && sums && self.found.props.len() > 1)
            .then_some(sums || numbers.is_empty())
    }

    /// Reads a row that is a prop, or a string of one.
    fn prop(&mut self, row: &Row) -> Option<usize> {
        let own = self.columns.cell(row, Kind::Name).map(str::to_owned);
        let merged = self
            .columns
            .at(Kind::Name)
            .and_then(|at| row.cells.get(at))
            .is_some_and(|cell| cell.merged);
        let controller = self.controller(row);
        let outputs = self.outputs(row);
        let ports = outputs.clone().unwrap_or_default();
        let written = match (own, &self.last) {
            (Some(own), _) => own,
            (None, _) if self.columns.of_ports => {
                let port = self.columns.cell(row, Kind::Port).unwrap_or("port");
                format!("{} {port}", self.columns.cell(row, Kind::Controller).unwrap_or("box"))
            }
            (None, Some((name, _)))
                if !ports.is_empty() || self.columns.cell(row, Kind::Start).is_some() =>
            {
                let what = format!("no name; taken as another string of `{name}` above");
                let name = name.clone();
                self.note((row, Kind::Name), what, Grade::Told);
                name
            }
            (None, _) => {
                self.left_out((row, Kind::Name), "no name; the row is left out", Grade::Lost);
                return None;
            }
        };
        let mut facts = self.facts(row, ports)?;
        let strings = facts.count.saturating_mul(facts.sizes.len() as u64);
        self.strings = self.strings.saturating_add(strings);
        if self.strings > u64::from(MOST_STRINGS) {
            let why = format!("more than {MOST_STRINGS} strings; the row is left out");
            self.left_out((row, Kind::Name), &why, Grade::Lost);
            return None;
        }
        let goes_on = self.goes_on(row, &written, merged);
        let prop = match goes_on {
            Some(prop) => prop,
            None => self.begin(row, &written),
        };
        self.last = Some((written, prop));
        let lines = self.lines(row, prop, controller, &mut facts);
        self.claim(row, prop, lines);
        self.comments(row, prop);
        Some(prop)
    }

    /// The prop that a row goes on with: a string of its own of one that stands above.
    fn goes_on(&mut self, row: &Row, written: &str, merged: bool) -> Option<usize> {
        let key = written.to_lowercase();
        let prop = *self.props.get(&key)?;
        let numbered = [Kind::StringNumber, Kind::Instance]
            .iter()
            .any(|kind| self.columns.cell(row, *kind).is_some());
        if numbered || merged || self.columns.cell(row, Kind::Name).is_none() {
            return Some(prop);
        }
        let above = self.last.as_ref().is_some_and(|(name, _)| name.to_lowercase() == key);
        if !above || self.columns.cell(row, Kind::Port).is_none() {
            return None;
        }
        let starts = [Kind::Start, Kind::Universe, Kind::StartChannel, Kind::Slot];
        let placed = starts.iter().any(|kind| self.columns.cell(row, *kind).is_some());
        let grade = if placed { Grade::Told } else { Grade::Lost };
        self.note(
            (row, Kind::Name),
            "the row above has this name too; taken as another string of it",
            grade,
        );
        Some(prop)
    }

    /// A prop that no row had yet.
    fn begin(&mut self, row: &Row, written: &str) -> usize {
        let name = self.names.give(written, "prop");
        if name != *written && !self.columns.of_ports {
            let what = format!("is called `{name}` in the display, and keeps this as its label");
            self.note((row, Kind::Name), what, Grade::Told);
        }
        let own = self.columns.cell(row, Kind::Label).map(str::to_owned);
        if own.is_some() && name != *written && self.props.contains_key(&written.to_lowercase()) {
            self.note((row, Kind::Name), "another prop has this name", Grade::Told);
        }
        let label = own
            .or_else(|| (name != *written && !self.columns.of_ports).then(|| written.to_owned()));
        self.found.props.push(Prop { name, label, ..Prop::default() });
        let prop = self.found.props.len() - 1;
        self.props.insert(written.to_lowercase(), prop);
        prop
    }

    fn number(&mut self, row: &Row, kind: Kind, most: u64, then: &str) -> Result<Option<u64>, ()> {
        let Some(text) = self.columns.cell(row, kind) else {
            return Ok(None);
        };
        match cells::whole(text) {
            Some(number) if number <= most => Ok(Some(number)),
            _ => {
                self.note((row, kind), format!("no number that fits here; {then}"), Grade::Lost);
                Err(())
            }
        }
    }
}
