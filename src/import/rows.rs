//! Makes props and strings of rows of cells, with a note on all that is not understood.
//!
//! Of a row, `shape.rs` reads how large its strings are, `hang.rs` what they are connected to,
//! `ports.rs` which outputs, `claim.rs` where they lie. `band.rs` reads what holds for several
//! rows. `remarked.rs` says what remarks mean, `told.rs` notes what became of them. `ditto.rs`
//! fills cells that mean the one above, `total.rs` finds totals, `fit.rs` fits the columns to their
//! cells and puts the result in order, `same.rs` finds the strings whose data others show.

mod band;
mod claim;
mod ditto;
mod fit;
mod hang;
mod ports;
mod remarked;
pub(super) mod same;
mod shape;
mod told;
mod total;

use super::cells::{self, SheetPort};
use super::columns::{self, Columns};
use super::found::{Found, Said, SheetProp};
use super::headings::Kind;
use super::names::Names;
use super::sheet::SheetRow;
use super::sizes;
use super::{Grade, Note, Sheet, boxes};
use crate::diagnostic::words;
use crate::model::MOST_STRINGS;
use crate::protocol::UniverseSlots;
use crate::unit;
pub(super) use ditto::{fill as ditto, is_mark};
use fit::{cut, drop_unused, fitted, in_order};
use std::collections::BTreeMap;
use total::Sums;

/// The largest count and number of nodes; a larger number is taken for a slip.
const MOST_COUNT: u64 = 10_000;
const MOST_NODES: u64 = 1_000_000;
/// The most slots of a row; all universes have not many more.
const MOST_SLOTS: u64 = 32_000_000;

/// What one row says.
#[derive(Default)]
struct Facts {
    count: u64,
    /// The size of each string of one of them, and how many strands each has.
    sizes: Vec<u64>,
    strands: u64,
    make: Option<usize>,
    ports: Vec<SheetPort>,
    /// Slots of all of them together, from a cell of their own.
    slots: Option<u64>,
}

/// How large the strings of a row are.
enum Size {
    /// Nodes of each string, and how many strands each has.
    Nodes(Vec<u64>, u64),
    /// Slots of each fixture.
    Footprint(u64),
    /// The cell of slots says it.
    Slots,
}

/// Reads all rows below the headers of some tables.
pub fn read(tables: Vec<Sheet>, known: &BTreeMap<String, String>, notes: &mut Vec<Note>) -> Found {
    let mut stage = Stage {
        cut: false,
        columns: Columns::default(),
        notes,
        found: Found::default(),
        names: Names::default(),
        boxes: Names::default(),
        boxes_by_text: BTreeMap::new(),
        known,
        receivers: BTreeMap::new(),
        props: BTreeMap::new(),
        strings: 0,
        renamed: Vec::new(),
        members: BTreeMap::new(),
        last: None,
        sums: Sums::default(),
        live: Sums::default(),
        idle: false,
        on: None,
        dmx: false,
        told_channels: false,
        heads: Vec::new(),
        counted: None,
        carried: BTreeMap::new(),
        remarks: BTreeMap::new(),
        hung: BTreeMap::new(),
        place: String::new(),
        band: None,
        port: None,
        own_port: None,
        of_tables: Vec::new(),
    };
    let by_sheet = band::by_sheet(&tables);
    // `wire any` means every controller there is.
    stage.boxes.keep("any");
    for table in tables {
        let from = stage.notes.len();
        stage.box_of_sheet(&table, by_sheet);
        stage.table(&table);
        for note in stage.notes.iter_mut().skip(from) {
            note.place.clone_from(&table.place);
        }
        stage.found.places.push(table.place);
        stage.of_tables.push(stage.columns.clone());
    }
    stage.renames();
    let from = stage.notes.len();
    in_order(&mut stage.found, stage.notes);
    let twice = [Kind::StringNumber, Kind::Instance, Kind::Name];
    stage.at_column(from, &twice);
    drop_unused(&mut stage.found);
    let from = stage.notes.len();
    same::named(&mut stage.found, &stage.props, stage.notes);
    stage.at_column(from, &[Kind::SameAs]);
    stage.found
}

/// A cell: its row and the kind of its column.
type Where<'r> = (&'r SheetRow, Kind);

struct Stage<'a> {
    columns: Columns,
    notes: &'a mut Vec<Note>,
    found: Found,
    names: Names,
    boxes: Names,
    /// Controllers by their text in small letters; so are `receivers` and `props`.
    boxes_by_text: BTreeMap<String, usize>,
    /// Names of boxes by each form that sheets of boxes have for them; see [`boxes::known`].
    known: &'a BTreeMap<String, String>,
    receivers: BTreeMap<String, usize>,
    props: BTreeMap<String, usize>,
    /// Strings so far.
    strings: u64,
    /// Names as they were written and as they are now, where they differ.
    renamed: Vec<(String, String)>,
    /// Where the members of each prop stand, by prop and number.
    members: BTreeMap<(usize, u64), usize>,
    /// The last row that was a prop: its name as written and its prop.
    last: Option<(String, usize)>,
    /// The sums of the rows above, and of those of them that are put up.
    sums: Sums,
    live: Sums,
    /// Whether the row is not put up.
    idle: bool,
    /// The box that the words above the header name.
    on: Option<String>,
    /// Whether it is a table of DMX fixtures, whose sockets are DMX outputs.
    dmx: bool,
    /// Whether a note has said how channels in a column of slots are read.
    told_channels: bool,
    /// Rows of words right above the headers of further tables of a sheet.
    heads: Vec<usize>,
    /// The slots of a universe that such words say, where the rest of the sheet has another size.
    counted: Option<UniverseSlots>,
    /// The last text of each column from which a blank cell may take it.
    carried: BTreeMap<Kind, String>,
    /// Remarks on cells, by row.
    remarks: BTreeMap<usize, Vec<String>>,
    cut: bool,
    /// Box and port of each prop's last string, by the prop's text in small letters.
    hung: BTreeMap<String, SheetPort>,
    /// How notes name the table.
    place: String,
    /// The box of the present rows, where no column says it.
    band: Option<String>,
    /// The port of the present row, where it stands in the cell of its box.
    own_port: Option<Vec<SheetPort>>,
    /// The last columns of each table.
    of_tables: Vec<Columns>,
    /// The port of the present rows, where a line of its own says it.
    port: Option<Vec<SheetPort>>,
}

impl Stage<'_> {
    fn note(&mut self, (row, kind): Where<'_>, what: impl Into<String>, grade: Grade) {
        let text = self.columns.cell(row, kind).unwrap_or("").to_owned();
        self.notes.push(Note {
            row: Some(row.number),
            column: self.columns.heading(kind).to_owned(),
            text,
            ..Note::of_table(what.into(), grade)
        });
    }

    /// Reports a row that makes no prop, and keeps it as a comment.
    fn left_out(&mut self, place: Where<'_>, why: &str, grade: Grade) {
        let kept = if why.ends_with("left out") { "" } else { "; kept as a comment" };
        self.note(place, format!("{why}{kept}"), grade);
        self.left_row(place.0, why);
    }

    /// Reads a sheet, or a file of csv.
    fn table(&mut self, table: &Sheet) {
        self.place.clone_from(&table.place);
        self.remarks.clone_from(&table.remarks);
        self.on = None;
        let first = table.sections.first().map_or(0, |section| section.columns.header);
        for row in table.rows.get(..first).unwrap_or(&[]) {
            let words = columns::begin(row);
            self.said(row, &words);
            let on = || boxes::named_in(self.known, &words, &["on", "the", "box", "controller"]);
            self.on = self.on.take().or_else(|| on().map(str::to_owned));
            self.found.comments.push(format!("{}, above the header: {words}", self.at(row)));
        }
        self.told_channels = false;
        let heads = table.sections.iter().skip(1).filter_map(|section| {
            let row = table.rows.get(section.columns.header.checked_sub(1)?)?;
            row.filled().nth(1).is_none().then_some(row.number)
        });
        self.heads = heads.collect();
        // Each table has totals of its own.
        (self.sums, self.live) = (Sums::default(), Sums::default());
        let at = |at: &usize| table.rows.get(*at);
        for section in &table.sections {
            let rows: Vec<&SheetRow> = section.rows.iter().filter_map(at).collect();
            self.columns = section.columns.clone();
            // A row of one cell is words, even if that is merged over all columns.
            let cells = rows.iter().copied().filter(|row| row.filled().nth(1).is_some());
            let size = fitted(&cells.collect::<Vec<_>>(), &mut self.columns, self.notes);
            let own = Some(self.found.places.len());
            let said = |size| Said { size, table: own, note: None };
            self.found.said.extend(size.map(said));
            self.found.of_ports |= self.columns.of_ports;
            self.cut = cut(&rows, &self.columns);
            (self.last, self.carried) = (None, BTreeMap::new());
            let above = section.columns.header.checked_sub(1);
            self.counted = above.and_then(|at| self.apart(table.rows.get(at)?));
            self.sums.another();
            self.live.another();
            let right_above = above.and_then(|at| table.rows.get(at..=at)).unwrap_or(&[]);
            self.dmx = self.is_of_dmx(table.rows.get(..first).unwrap_or(&[]))
                || self.is_of_dmx(right_above);
            for row in rows {
                self.found.rows += 1;
                self.row(row);
            }
        }
        let rest = std::mem::take(&mut self.remarks).into_values().flatten();
        self.found.comments.extend(rest);
    }

    /// A row as a comment names it, with its sheet where there are several.
    fn at(&self, row: &SheetRow) -> String {
        let row = format!("row {}", row.number);
        if self.place.is_empty() { row } else { format!("{}, {row}", self.place) }
    }

    /// Gives notes on rows the first heading that the table of their prop has of some kinds.
    fn at_column(&mut self, from: usize, kinds: &[Kind]) {
        for note in self.notes.iter_mut().skip(from).filter(|note| note.row.is_some()) {
            let prop = note.prop.and_then(|prop| self.found.props.get(prop));
            let Some(columns) = prop.and_then(|prop| self.of_tables.get(prop.table)) else {
                continue;
            };
            let mut headings = kinds.iter().map(|kind| columns.heading(*kind));
            note.column = headings.find(|heading| !heading.is_empty()).unwrap_or("").to_owned();
        }
    }

    /// Notes which names had to change.
    fn renames(&mut self) {
        const SHOWN: usize = 3;
        let pair = |(from, to): &(String, String)| format!("\"{}\" is `{to}`", words::shown(from));
        let some: Vec<String> = self.renamed.iter().take(SHOWN).map(pair).collect();
        if !some.is_empty() {
            let more = if self.renamed.len() > SHOWN { ", and so on" } else { "" };
            let count = unit::counted(self.renamed.len(), "name");
            let what = format!(
                "{count} had to change, and each stays as a label: {}{more}",
                some.join(", ")
            );
            self.notes.push(Note::of_table(what, Grade::Noted));
        }
    }

    /// The slots of a universe that words right above a further table say, where the sheet has said
    /// another size.
    fn apart(&self, row: &SheetRow) -> Option<UniverseSlots> {
        let size =
            sizes::said(&columns::begin(row)).filter(|_| self.heads.contains(&row.number))?;
        let table = Some(self.found.places.len());
        let other = |said: &Said| said.table == table && said.size != size;
        self.found.said.iter().any(other).then_some(size)
    }

    /// Notes what the words of a row say about universes.
    fn said(&mut self, row: &SheetRow, words: &str) {
        if let Some(size) = self.apart(row) {
            let what = format!(
                "says that a universe has {} slots; the table below it is read that way",
                size.get()
            );
            let note = Note::of_table(what, Grade::Noted);
            self.notes.push(Note { row: Some(row.number), ..note });
            return;
        }
        let table = Some(self.found.places.len());
        let said = sizes::said(words).map(|size| {
            let note = Note::of_table(String::new(), Grade::Noted);
            let note = Note { row: Some(row.number), place: self.place.clone(), ..note };
            Said { size, table, note: Some(note) }
        });
        self.found.said.extend(said);
    }

    fn row(&mut self, row: &SheetRow) {
        if row.filled().count() == 1 && self.is_words(row) || self.is_port_line(row) {
            self.said(row, &columns::begin(row));
            self.band_of(row);
            self.left_out((row, Kind::Name), "words between the rows", Grade::Noted);
            return;
        }
        if let Some(wrong) = self.is_total(row) {
            if wrong.is_empty() {
                self.left_out((row, Kind::Name), "a total of the rows above", Grade::Noted);
            } else {
                self.left_row(row, "a total that is not the sum of the rows above");
            }
            self.notes.extend(wrong);
            self.sums.mark();
            self.live.mark();
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

    /// Whether a table is of DMX fixtures: its headings or the words above say DMX, and no column
    /// counts nodes.
    fn is_of_dmx(&self, above: &[SheetRow]) -> bool {
        let says = |text: &str| text.to_lowercase().contains("dmx");
        let mut words =
            above.iter().flat_map(|row| row.filled().map(|(_, cell)| cell.text.as_str()));
        let nodes = [Kind::Nodes, Kind::NodesPerString, Kind::NodesPerStrand];
        !nodes.iter().any(|kind| self.columns.has(*kind))
            && (self.columns.headings().iter().any(|heading| says(heading)) || words.any(says))
    }

    /// Whether each cell of a row has a letter, so that the row is words and no prop.
    fn is_words(&self, row: &SheetRow) -> bool {
        row.filled().all(|(_, cell)| cell.text.chars().any(char::is_alphabetic))
    }

    /// Reads a row that is a prop, or a string of one.
    fn prop(&mut self, row: &SheetRow) -> Option<usize> {
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
                self.note((row, Kind::Name), what, Grade::Noted);
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
        self.last = Some((written.clone(), prop));
        let lines = self.lines(row, prop, controller, &mut facts);
        self.note_port(&written, prop, lines.last());
        self.claim(row, prop, lines);
        self.note_remarks(row);
        self.comments(row, prop);
        Some(prop)
    }

    /// The prop above to which a row adds strings; `None` where it begins another.
    fn goes_on(&mut self, row: &SheetRow, written: &str, merged: bool) -> Option<usize> {
        let key = written.to_lowercase();
        let prop = *self.props.get(&key)?;
        let numbered = self.columns.first(row, &[Kind::StringNumber, Kind::Instance]).is_some();
        if numbered || merged || self.columns.cell(row, Kind::Name).is_none() {
            return Some(prop);
        }
        let above = self.last.as_ref().is_some_and(|(name, _)| name.to_lowercase() == key);
        if !above || self.columns.cell(row, Kind::Port).is_none() {
            return None;
        }
        let starts = [Kind::Start, Kind::Universe, Kind::StartChannel, Kind::Slot];
        let placed = self.columns.first(row, &starts).is_some();
        let grade = if placed { Grade::Noted } else { Grade::Lost };
        let what = "the row above has this name too; taken as another string of it";
        self.note((row, Kind::Name), what, grade);
        Some(prop)
    }

    /// Begins a prop.
    fn begin(&mut self, row: &SheetRow, written: &str) -> usize {
        let name = self.names.give(written, "prop");
        if name != *written && !self.columns.of_ports {
            self.renamed.push((written.to_owned(), name.clone()));
        }
        let own = self.columns.cell(row, Kind::Label).map(str::to_owned);
        if own.is_some() && name != *written && self.props.contains_key(&written.to_lowercase()) {
            self.note((row, Kind::Name), "another prop has this name", Grade::Noted);
        }
        let label = own
            .or_else(|| (name != *written && !self.columns.of_ports).then(|| written.to_owned()));
        let table = self.found.places.len();
        self.found.props.push(SheetProp { name, label, table, ..SheetProp::default() });
        let prop = self.found.props.len() - 1;
        self.props.insert(written.to_lowercase(), prop);
        prop
    }

    /// An optional number of a row; one that does not fit is left out.
    fn optional(&mut self, row: &SheetRow, kind: Kind, most: u64) -> Option<u64> {
        self.number(row, kind, most, "left out").unwrap_or(None)
    }

    fn number(
        &mut self,
        row: &SheetRow,
        kind: Kind,
        most: u64,
        then: &str,
    ) -> Result<Option<u64>, ()> {
        let Some(text) = self.columns.cell(row, kind) else {
            return Ok(None);
        };
        let read = match kind {
            Kind::StringNumber => cells::nth(text),
            _ => cells::whole(text),
        };
        match read {
            Some(number) if number <= most && !text.starts_with(['~', '≈']) => Ok(Some(number)),
            // A string may be called by a word, which a comment keeps.
            _ if kind == Kind::StringNumber && !text.starts_with(|c: char| c.is_ascii_digit()) => {
                Ok(None)
            }
            _ => {
                let rough = cells::rough(text).filter(|number| (1..=most).contains(number));
                let nodes = [Kind::Nodes, Kind::NodesPerString].contains(&kind);
                if let Some(number) = rough.filter(|_| nodes) {
                    let what = format!("taken as {number}, which may not be what it says");
                    self.note((row, kind), what, Grade::Lost);
                    return Ok(Some(number));
                }
                self.note((row, kind), format!("no number that fits here; {then}"), Grade::Lost);
                Err(())
            }
        }
    }
}
