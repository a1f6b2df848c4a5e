//! From rows of cells to props and their strings, with a note on all that is not understood.

use super::cells::{self, At, Port, Spots};
use super::columns::{self, Columns, Kind};
use super::makes::{self, Make};
use super::names::Names;
use super::sheet::Row;
use super::{Grade, Note, Reading};
use crate::model::{MOST_STRINGS, Output};
use crate::protocol::UniverseSlots;
use crate::unit;
use std::collections::{BTreeMap, BTreeSet};

/// The largest numbers that are taken for what they say; beyond is a slip.
const MOST_COUNT: u64 = 10_000;
const MOST_NODES: u64 = 1_000_000;

/// A string or a fixture.
#[derive(Clone, Debug, Default)]
pub struct Line {
    /// The row that it comes from, as a spreadsheet counts them.
    pub row: usize,
    /// Its nodes; for a fixture its slots.
    pub size: u64,
    /// What its nodes are, as an index of [`Found::makes`]; `None` for a fixture.
    pub make: Option<usize>,
    /// Its name within its prop.
    pub name: Option<String>,
    /// Its number within its prop, where the table says it.
    pub number: Option<u64>,
    /// Of how many equal strands it is; 0 or 1 where it is not.
    pub strands: u64,
    /// The controller it hangs on, as an index of [`Found::boxes`].
    pub controller: Option<usize>,
    /// Its output there.
    pub output: Option<Output>,
    /// Its place there.
    pub position: Option<u64>,
    /// Nodes before it that show nothing.
    pub skip: u64,
    /// Cable before it.
    pub lead: Option<String>,
    /// The receiver it hangs on, as an index of [`Found::receivers`], and the port there.
    pub receiver: Option<(usize, u32)>,
    /// Channel of its first slot, from 0.
    pub start: Option<u64>,
    /// The name of the string whose data it shows.
    pub same_as: Option<String>,
    /// Whether it is not put up.
    pub stored: bool,
}

/// A prop of the table.
#[derive(Debug, Default)]
pub struct Prop {
    /// Its lawful name.
    pub name: String,
    /// A label: the table's own, or the name as it was written where it was made lawful.
    pub label: Option<String>,
    /// Where data come in.
    pub enters: Option<String>,
    /// What the table says besides.
    pub comments: Vec<String>,
    /// Whether it is a family, though of one.
    pub family: bool,
    /// The strings of each member; of one that is no family, one.
    pub members: Vec<(u64, Vec<Line>)>,
}

/// A controller of the table.
#[derive(Debug, Default)]
pub struct Board {
    /// Its lawful name.
    pub name: String,
    /// The name as it was written, if that differs.
    pub label: Option<String>,
    /// Where it is on the network.
    pub host: Option<String>,
    /// What it listens to, in the language's words.
    pub input: Option<&'static str>,
    /// Whether the table counts its universes from 0.
    pub from_zero: bool,
    /// Whether a node that does not fit in what is left of its universe starts the next one.
    pub whole: bool,
    /// Whether each string has a start of its own.
    pub per_prop: bool,
    /// The most nodes of a port, by port.
    pub limits: BTreeMap<u32, u64>,
}

/// Where a row says that its strings lie.
#[derive(Debug)]
pub struct Claim {
    /// The row.
    pub row: usize,
    /// Its prop.
    pub prop: usize,
    /// Its strings: member and string, from 0.
    pub lines: Vec<(usize, usize)>,
    /// What each start may be, one for all strings or one for some of them each.
    pub starts: Vec<Vec<At>>,
    /// The channel that the table gives besides, from 1.
    pub channel: Option<u64>,
    /// Where it ends, as far as the table says it.
    pub end: Option<Vec<At>>,
    /// The universe that it ends in, where that is all.
    pub end_universe: Option<u64>,
    /// The heading and the text of its start, and of its end.
    pub texts: [(String, String); 2],
}

/// What a table holds.
#[derive(Debug, Default)]
pub struct Found {
    /// Its props in its order.
    pub props: Vec<Prop>,
    /// Its controllers in the order met.
    pub boxes: Vec<Board>,
    /// Lawful names of receivers in the order met.
    pub receivers: Vec<String>,
    /// What nodes there are.
    pub makes: Vec<Make>,
    /// Where its rows say that strings lie.
    pub claims: Vec<Claim>,
    /// Rows that hold anything.
    pub rows: usize,
    /// Rows that are no prop, as comments.
    pub comments: Vec<String>,
    /// Slots of a universe, by which its channels count.
    pub universe_slots: UniverseSlots,
    /// Whether its rows are ports.
    pub of_ports: bool,
}

impl Found {
    /// A string.
    pub fn line(&self, prop: usize, (member, string): (usize, usize)) -> Option<&Line> {
        self.props.get(prop)?.members.get(member)?.1.get(string)
    }

    /// The same, to be changed.
    pub fn line_mut(&mut self, prop: usize, (member, string): (usize, usize)) -> Option<&mut Line> {
        self.props
            .get_mut(prop)?
            .members
            .get_mut(member)?
            .1
            .get_mut(string)
    }

    /// All strings in their order: prop, member and string from 0.
    pub fn lines(&self) -> impl Iterator<Item = (usize, (usize, usize), &Line)> {
        self.props.iter().enumerate().flat_map(|(prop, own)| {
            own.members
                .iter()
                .enumerate()
                .flat_map(move |(member, (_, lines))| {
                    let lines = lines.iter().enumerate();
                    lines.map(move |(string, line)| (prop, (member, string), line))
                })
        })
    }

    /// Slots of each node of a string, and its nodes; a fixture is one slot after another.
    pub fn body(&self, line: &Line) -> crate::grid::Body {
        let make = line.make.and_then(|make| self.makes.get(make));
        let each = make.map_or(1, |make| make.slots);
        crate::grid::Body {
            nodes: line.size,
            each,
        }
    }

    /// The name of a string as a display has it.
    pub fn name(&self, prop: usize, (member, string): (usize, usize)) -> String {
        let Some(own) = self.props.get(prop) else {
            return String::new();
        };
        let mut name = own.name.clone();
        if own.family {
            name.push_str(&format!("[{}]", member + 1));
        }
        if own
            .members
            .get(member)
            .is_some_and(|(_, lines)| lines.len() > 1)
        {
            name.push_str(&format!(".{}", string + 1));
        }
        name
    }
}

/// What one row says.
#[derive(Default)]
struct Facts {
    count: u64,
    /// The sizes of the strings of one of them, and of how many strands they are.
    sizes: Vec<u64>,
    strands: u64,
    make: Option<usize>,
    ports: Vec<Port>,
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
    let mut stage = Stage {
        cut: cut(rows, &columns),
        columns,
        reading,
        notes,
        found: Found {
            universe_slots,
            of_ports,
            ..Found::default()
        },
        names: Names::default(),
        boxes: Names::default(),
        boxes_by_text: BTreeMap::new(),
        receivers: BTreeMap::new(),
        props: BTreeMap::new(),
        strings: 0,
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
    stage.found
}

/// Leaves out controllers of which every row was left out.
fn drop_unused(found: &mut Found) {
    let used: BTreeSet<usize> = found
        .lines()
        .filter_map(|(.., line)| line.controller)
        .collect();
    let mut index = 0;
    found.boxes.retain(|_| {
        index += 1;
        used.contains(&(index - 1))
    });
    let now: BTreeMap<usize, usize> = used.into_iter().zip(0..).collect();
    let members = found.props.iter_mut().flat_map(|prop| &mut prop.members);
    for line in members.flat_map(|(_, lines)| lines) {
        line.controller = line.controller.and_then(|at| now.get(&at).copied());
    }
}

/// Puts members and strings in the order of their numbers, which a table may list in the order of its cables.
fn in_order(found: &mut Found, notes: &mut Vec<Note>) {
    let mut moved = BTreeMap::new();
    for (at, prop) in found.props.iter_mut().enumerate() {
        let mut lines: Vec<((u64, u64), (usize, usize), Line)> = Vec::new();
        for (member, (number, own)) in prop.members.iter_mut().enumerate() {
            let own = std::mem::take(own).into_iter().enumerate();
            lines.extend(own.map(|(string, line)| {
                let of = line.number.unwrap_or(string as u64 + 1);
                ((*number, of), (member, string), line)
            }));
        }
        lines.sort_by_key(|(key, place, _)| (*key, *place));
        for pair in lines.windows(2) {
            let [(key, _, one), (other, _, line)] = pair else {
                continue;
            };
            if key == other {
                let what = format!("row {} has this string too; taken as one more", one.row);
                let note = Note {
                    row: Some(line.row),
                    prop: Some(at),
                    text: prop.name.clone(),
                    ..Note::of_table(what, Grade::Lost)
                };
                notes.push(note);
            }
        }
        let mut members: Vec<(u64, Vec<Line>)> = Vec::new();
        for ((number, _), place, line) in lines {
            if members.last().is_none_or(|(known, _)| *known != number) {
                members.push((number, Vec::new()));
            }
            let member = members.len() - 1;
            if let Some((_, own)) = members.last_mut() {
                moved.insert((at, place), (member, own.len()));
                own.push(line);
            }
        }
        let gaps = prop.family
            && members
                .iter()
                .zip(1..)
                .any(|((number, _), at)| *number != at);
        if gaps {
            let numbers: Vec<String> = members
                .iter()
                .map(|(number, _)| number.to_string())
                .collect();
            let what = format!(
                "its members are numbered anew: they were {}",
                numbers.join(", ")
            );
            prop.comments.push(what.clone());
            notes.push(Note {
                text: prop.name.clone(),
                prop: Some(at),
                ..Note::of_table(what, Grade::Told)
            });
        }
        prop.members = members;
    }
    for claim in &mut found.claims {
        for place in &mut claim.lines {
            if let Some(now) = moved.get(&(claim.prop, *place)) {
                *place = *now;
            }
        }
    }
}

/// Fits the kinds of columns to what stands in them, and finds how many slots a universe has.
fn fitted(rows: &[Row], columns: &mut Columns) -> UniverseSlots {
    let all = |columns: &Columns, kind: Kind, is: &dyn Fn(&str) -> bool| {
        let mut cells = rows
            .iter()
            .filter_map(|row| columns.cell(row, kind))
            .peekable();
        cells.peek().is_some() && cells.all(is)
    };
    if columns.has(Kind::Position)
        && !all(columns, Kind::Position, &|text| {
            cells::whole(text).is_some()
        })
    {
        let colours = all(columns, Kind::Position, &|text| {
            cells::colour(text).is_some()
        });
        let to = if colours && !columns.has(Kind::Colour) {
            Kind::Colour
        } else {
            Kind::Note
        };
        columns.turn(Kind::Position, to);
    }
    if columns.has(Kind::Chip)
        && !rows
            .iter()
            .any(|row| columns.cell(row, Kind::Chip).is_some_and(makes::is_chip))
    {
        columns.turn(Kind::Chip, Kind::Note);
    }
    // One prop a row needs no number of its string; where it has one, that is a count.
    let numbered = columns.has(Kind::Instance) || columns.has(Kind::Position) || {
        let mut names = BTreeMap::new();
        for row in rows {
            let name = columns.cell(row, Kind::Name).map(str::to_lowercase);
            *names.entry(name).or_insert(0) += 1;
        }
        names
            .iter()
            .any(|(name, count)| name.is_some() && *count > 1)
    };
    let singular = columns
        .heading(Kind::Strings)
        .trim()
        .eq_ignore_ascii_case("string");
    if singular && numbered && !columns.has(Kind::StringNumber) {
        columns.turn(Kind::Strings, Kind::StringNumber);
    }
    let number = |row: &Row, kind| columns.cell(row, kind).and_then(cells::whole);
    let channels = || {
        rows.iter().filter_map(|row| {
            let universe = columns
                .cell(row, Kind::Universe)
                .and_then(cells::universes)?
                .0;
            Some((
                universe,
                number(row, Kind::StartChannel)?,
                number(row, Kind::Slot),
            ))
        })
    };
    if columns.has(Kind::Slot) {
        // Channels and universes together say how many slots a universe has.
        let slots =
            channels()
                .filter(|(universe, ..)| *universe > 1)
                .map(|(universe, channel, slot)| {
                    let before = channel.checked_sub(slot?)?;
                    before
                        .is_multiple_of(universe - 1)
                        .then_some(before / (universe - 1))
                });
        let all: BTreeSet<Option<u64>> = slots.collect();
        let mut all = all.into_iter();
        return match (all.next(), all.next()) {
            (Some(slots), None) => slots
                .and_then(|slots| UniverseSlots::new(u32::try_from(slots).ok()?))
                .unwrap_or_default(),
            _ => UniverseSlots::ALL,
        };
    }
    let absolute = channels().all(|(universe, channel, _)| channel.div_ceil(512) == universe);
    let within = channels().all(|(_, channel, _)| channel <= 512);
    if within && (!absolute || channels().all(|(universe, ..)| universe <= 1)) {
        columns.turn(Kind::StartChannel, Kind::Slot);
        columns.turn(Kind::EndChannel, Kind::EndSlot);
    }
    UniverseSlots::ALL
}

/// Whether addresses written with a point may have lost zeros: not where one of them ends with one.
fn cut(rows: &[Row], columns: &Columns) -> bool {
    !rows.iter().any(|row| {
        let texts = [Kind::Start, Kind::End].map(|kind| columns.cell(row, kind).unwrap_or(""));
        texts
            .iter()
            .any(|text| text.contains('.') && text.ends_with('0'))
    })
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
    /// Strings so far.
    strings: u64,
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
        self.found
            .comments
            .push(format!("row {}, {why}: {}", row.number, cells.join(" | ")));
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
        row.filled()
            .all(|(_, cell)| cell.text.chars().any(char::is_alphabetic))
    }

    /// Adds a row's numbers to the sums.
    fn add(&mut self, row: &Row) {
        for (at, cell) in row.filled() {
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
        const WORDS: [&str; 8] = [
            "total",
            "totals",
            "sum",
            "subtotal",
            "grandtotal",
            "alltogether",
            "σ",
            "∑",
        ];
        let plain = |text: &str| {
            text.chars()
                .filter(|c| c.is_alphanumeric() || *c == '∑')
                .flat_map(char::to_lowercase)
                .collect::<String>()
        };
        let placed = [
            Kind::Port,
            Kind::Controller,
            Kind::Start,
            Kind::Universe,
            Kind::StartChannel,
        ];
        if placed
            .iter()
            .any(|kind| self.columns.cell(row, *kind).is_some())
        {
            return None;
        }
        let worded = row
            .filled()
            .any(|(_, cell)| WORDS.contains(&plain(&cell.text).as_str()));
        let unnamed = self.columns.cell(row, Kind::Name).is_none();
        let numbers: Vec<bool> = row
            .filled()
            .filter_map(|(at, cell)| {
                let number = cells::whole(&cell.text)?;
                let nodes: u64 = self.found.lines().map(|(_, _, line)| line.size).sum();
                let kind = self.columns.kind_at(at);
                let of_nodes =
                    matches!(kind, Some(Kind::Nodes | Kind::NodesPerString)) && number == nodes;
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
                format!(
                    "{} {port}",
                    self.columns.cell(row, Kind::Controller).unwrap_or("box")
                )
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
                self.left_out(
                    (row, Kind::Name),
                    "no name; the row is left out",
                    Grade::Lost,
                );
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
        let above = self
            .last
            .as_ref()
            .is_some_and(|(name, _)| name.to_lowercase() == key);
        if !above || self.columns.cell(row, Kind::Port).is_none() {
            return None;
        }
        let starts = [Kind::Start, Kind::Universe, Kind::StartChannel, Kind::Slot];
        let placed = starts
            .iter()
            .any(|kind| self.columns.cell(row, *kind).is_some());
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
        let enters = self.columns.cell(row, Kind::Enters).map(str::to_owned);
        self.found.props.push(Prop {
            name,
            label,
            enters,
            ..Prop::default()
        });
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
                self.note(
                    (row, kind),
                    format!("no number that fits here; {then}"),
                    Grade::Lost,
                );
                Err(())
            }
        }
    }

    /// What a row says of its strings; `None` where it is left out.
    fn facts(&mut self, row: &Row, ports: Vec<Port>) -> Option<Facts> {
        let mut facts = Facts {
            count: 1,
            ports,
            ..Facts::default()
        };
        let in_count = self
            .columns
            .cell(row, Kind::Count)
            .and_then(cells::multiple);
        if in_count.is_none() {
            match self.number(row, Kind::Count, MOST_COUNT, "taken as 1") {
                Ok(Some(0)) => {
                    self.left_out(
                        (row, Kind::Count),
                        "there are none; the row is left out",
                        Grade::Lost,
                    );
                    return None;
                }
                Ok(count) => facts.count = count.unwrap_or(1),
                Err(()) => {}
            }
        }
        let strings = match self.columns.has(Kind::StringNumber) || self.columns.of_ports {
            true => None,
            false => self
                .number(row, Kind::Strings, MOST_COUNT, "taken as 1")
                .unwrap_or(None)
                .filter(|count| *count > 0),
        };
        let slots = self.slots(row);
        let size = self.size(row, in_count, strings, &facts)?;
        match size {
            Size::Nodes(sizes, strands) => {
                if let Some(of) = in_count.filter(|of| {
                    self.columns.cell(row, Kind::Nodes).is_none() && sizes == [of.each]
                }) {
                    facts.count = of.count;
                }
                let nodes = sizes.iter().sum::<u64>().saturating_mul(facts.count);
                (facts.sizes, facts.strands) = (sizes, strands);
                facts.make = self.make(row, (nodes, facts.count), slots);
                if facts.make.is_none() {
                    // Channels that no number of slots a node gives: they are kept, since addresses hang on them.
                    facts.sizes = vec![slots.unwrap_or(1)];
                    facts.strands = 0;
                }
            }
            Size::Footprint(slots) => facts.sizes = vec![slots],
            Size::Slots => {
                let of = facts.count.max(1);
                let whole = slots.unwrap_or(0);
                let each = if self.columns.cell(row, Kind::Slots).is_some()
                    && of > 1
                    && whole.is_multiple_of(of)
                    && self.ends_as(row, whole)
                {
                    whole / of
                } else {
                    whole
                };
                facts.sizes = vec![each];
            }
        }
        Some(facts)
    }

    /// Whether a row's own end says that all its props together have so many slots.
    fn ends_as(&self, row: &Row, slots: u64) -> bool {
        let number = |kind| self.columns.cell(row, kind).and_then(cells::whole);
        let both = [
            (Kind::StartChannel, Kind::EndChannel),
            (Kind::Slot, Kind::EndSlot),
        ];
        both.iter().any(|(from, to)| {
            number(*from)
                .zip(number(*to))
                .is_some_and(|(from, to)| (to + 1).checked_sub(from) == Some(slots))
        })
    }

    /// The slots of a row by its own cell: a count, or a range of channels.
    fn slots(&mut self, row: &Row) -> Option<u64> {
        let text = self.columns.cell(row, Kind::Slots)?;
        if let Some(slots) = cells::whole(text).filter(|slots| *slots <= 32_000_000) {
            return Some(slots).filter(|slots| *slots > 0);
        }
        match cells::spots(text, true, false).as_deref() {
            Some([(from, Some(to))]) => match (from.as_slice(), to.as_slice()) {
                ([At::Channel(from)], [At::Channel(to)]) if to >= from => Some(to - from + 1),
                _ => None,
            },
            _ => {
                self.note((row, Kind::Slots), "no number that fits here", Grade::Lost);
                None
            }
        }
    }

    /// How large a row's strings are; `None` where the row is to be left out.
    fn size(
        &mut self,
        row: &Row,
        in_count: Option<cells::Multiple>,
        strings: Option<u64>,
        facts: &Facts,
    ) -> Option<Size> {
        const OUT: &str = "the row is left out";
        let dmx = facts
            .ports
            .iter()
            .any(|(_, output)| matches!(output, Output::Dmx(_)));
        let [per_string, per_strand, nodes] =
            [Kind::NodesPerString, Kind::NodesPerStrand, Kind::Nodes]
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
            return match slots {
                Some(slots) => Some(Size::Footprint(slots)),
                None => {
                    self.left_out(
                        (row, Kind::Nodes),
                        "no footprint that fits a universe; the row is left out",
                        Grade::Lost,
                    );
                    None
                }
            };
        }
        let strands = self
            .number(row, Kind::Strands, MOST_COUNT, "left out")
            .unwrap_or(None);
        for (kind, text) in [(Kind::NodesPerString, &per_string), (Kind::Nodes, &nodes)] {
            let Some(of) = text.as_deref().and_then(cells::multiple) else {
                continue;
            };
            return match self.multiple(of, strings, facts) {
                Some((sizes, strands)) => Some(Size::Nodes(sizes, strands)),
                None => {
                    let what = format!(
                        "{} pieces can't be spread evenly over {} strings; {OUT}",
                        of.count,
                        strings.unwrap_or(1)
                    );
                    self.left_out((row, kind), &what, Grade::Lost);
                    None
                }
            };
        }
        let whole = strings.unwrap_or(1);
        let count = usize::try_from(whole).unwrap_or(1);
        let per_strand = match per_strand {
            Some(_) => self
                .number(row, Kind::NodesPerStrand, MOST_NODES, "left out")
                .unwrap_or(None),
            None => None,
        };
        match self.number(row, Kind::NodesPerString, MOST_NODES, OUT) {
            Ok(Some(nodes)) if nodes > 0 => {
                return Some(Size::Nodes(vec![nodes; count], strands.unwrap_or(0)));
            }
            Err(()) => {
                self.left_row(row, OUT);
                return None;
            }
            Ok(_) => {}
        }
        let total = match self.number(row, Kind::Nodes, MOST_NODES, OUT) {
            Ok(total) => total.filter(|total| *total > 0),
            Err(()) => {
                self.left_row(row, OUT);
                return None;
            }
        };
        match (total, per_strand, in_count) {
            (Some(nodes), _, _) => {
                if nodes < whole {
                    let what = format!("fewer nodes than strings ({whole}); {OUT}");
                    self.left_out((row, Kind::Nodes), &what, Grade::Lost);
                    return None;
                }
                let each = strands.filter(|strands| {
                    strands.is_multiple_of(whole) && nodes.is_multiple_of((*strands).max(1))
                });
                let strands = each.map_or(0, |strands| strands / whole);
                Some(Size::Nodes(self.shares(row, nodes, whole), strands))
            }
            (None, Some(each), _) => {
                let strands = strands.unwrap_or(whole);
                let own = strands / whole.max(1);
                Some(Size::Nodes(
                    vec![each.saturating_mul(own.max(1)); count],
                    own,
                ))
            }
            (None, None, Some(of)) => Some(Size::Nodes(vec![of.each], 0)),
            (None, None, None)
                if self.columns.cell(row, Kind::Slots).is_some()
                    || dmx && self.slots(row).is_some() =>
            {
                Some(Size::Slots)
            }
            (None, None, None) => {
                self.left_out(
                    (row, Kind::Nodes),
                    "no nodes; the row is left out",
                    Grade::Lost,
                );
                None
            }
        }
    }

    /// Keeps a row that was reported as a comment.
    fn left_row(&mut self, row: &Row, why: &str) {
        let cells: Vec<String> = row.filled().map(|(_, cell)| cell.text.clone()).collect();
        self.found
            .comments
            .push(format!("row {}, {why}: {}", row.number, cells.join(" | ")));
    }

    /// The strings of a number of equal pieces: `16x50` is 16 strings where the table says so, else as many as it has
    /// ports, of equal strands.
    fn multiple(
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
        let strands = of
            .count
            .checked_div(strings)
            .filter(|_| of.count.is_multiple_of(strings))?;
        let each = strands
            .checked_mul(of.each)
            .filter(|nodes| *nodes <= MOST_NODES)?;
        Some((vec![each; usize::try_from(strings).ok()?], strands))
    }

    /// Nodes shared out among strings.
    fn shares(&mut self, row: &Row, nodes: u64, strings: u64) -> Vec<u64> {
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

    /// The make of a row's nodes, which have so many slots together; `None` where these do not come out even.
    fn make(&mut self, row: &Row, (nodes, count): (u64, u64), slots: Option<u64>) -> Option<usize> {
        let text = |kind| self.columns.cell(row, kind);
        let texts = [
            text(Kind::Make),
            text(Kind::Chip),
            text(Kind::Colour),
            text(Kind::Volts),
        ];
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
                self.note(
                    (row, kind),
                    "not understood; left to be filled in",
                    Grade::Lost,
                );
            }
        }
        if let Some(why) = &made.clash {
            self.note((row, Kind::Slots), why.clone(), Grade::Lost);
        }
        made.make
    }

    /// A controller by its text, or where the cell is blank by the one above it, if the row has a port.
    fn controller(&mut self, row: &Row) -> Option<usize> {
        if !self.columns.has(Kind::Controller) {
            return None;
        }
        let text = match self.columns.cell(row, Kind::Controller) {
            Some(text) => text.to_owned(),
            None => {
                self.columns.cell(row, Kind::Port)?;
                let above = self.carried.get(&Kind::Controller)?.clone();
                let what = format!("no controller; taken as `{above}`, which stands above");
                self.note((row, Kind::Controller), what, Grade::Told);
                above
            }
        };
        self.carried.insert(Kind::Controller, text.clone());
        let at = self.board(row, &text);
        let host = self.columns.cell(row, Kind::Host).map(str::to_owned);
        if let Some((host, board)) = host.zip(self.found.boxes.get_mut(at)) {
            let known = board.host.get_or_insert_with(|| host.clone()).clone();
            if known != host {
                let what = format!("`{text}` is at {known} by a row above");
                self.note((row, Kind::Host), what, Grade::Lost);
            }
        }
        Some(at)
    }

    fn board(&mut self, row: &Row, text: &str) -> usize {
        let key = text.to_lowercase();
        if let Some(at) = self.boxes_by_text.get(&key) {
            return *at;
        }
        let name = self.boxes.give(text, "box");
        let differs = name != *text;
        if differs {
            let what = format!("is called `{name}` in the display, and keeps this as its label");
            self.note((row, Kind::Controller), what, Grade::Told);
        }
        let at = self.found.boxes.len();
        self.boxes_by_text.insert(key, at);
        let label = differs.then(|| text.to_owned());
        self.found.boxes.push(Board {
            name,
            label,
            ..Board::default()
        });
        at
    }

    /// The outputs of a row.
    fn outputs(&mut self, row: &Row) -> Option<Vec<Port>> {
        let text = self.columns.cell(row, Kind::Port)?;
        let ports = cells::ports(text);
        if ports.is_none() {
            let what = "no port that is understood; the port is left open";
            self.note((row, Kind::Port), what, Grade::Lost);
        }
        ports
    }

    /// Makes the strings of a row and hangs them on its ports. Gives where they stand in their prop.
    fn lines(
        &mut self,
        row: &Row,
        prop: usize,
        controller: Option<usize>,
        facts: &mut Facts,
    ) -> Vec<(usize, usize)> {
        let line = self.plain(row, facts);
        let instance = self
            .number(row, Kind::Instance, MOST_COUNT, "left out")
            .unwrap_or(None);
        let mut places = Vec::new();
        for one in 0..facts.count {
            let Some(own) = self.found.props.get_mut(prop) else {
                break;
            };
            let number = instance.unwrap_or(one + 1);
            own.family |= facts.count > 1 || instance.is_some();
            let member = match own.members.iter().position(|(known, _)| *known == number) {
                Some(member) => member,
                None => {
                    own.members.push((number, Vec::new()));
                    own.members.len() - 1
                }
            };
            let Some((_, strings)) = own.members.get_mut(member) else {
                break;
            };
            for size in &facts.sizes {
                places.push((member, strings.len()));
                strings.push(Line {
                    size: *size,
                    ..line.clone()
                });
            }
        }
        self.hang(row, (prop, controller), &places, &facts.ports);
        places
    }

    /// What holds for each string of a row.
    fn plain(&mut self, row: &Row, facts: &Facts) -> Line {
        let cell = |kind| self.columns.cell(row, kind).map(str::to_owned);
        let name = cell(Kind::StringName).map(|name| super::names::lawful(&name, "string"));
        let heading = self.columns.heading(Kind::Lead).to_lowercase();
        let unit = heading
            .rsplit(|c: char| !c.is_alphabetic())
            .find(|word| !word.is_empty());
        let lead = cell(Kind::Lead).filter(|lead| lead != "0");
        let length = lead
            .as_deref()
            .map(|lead| cells::length(lead, unit.unwrap_or("")));
        let same_as = cell(Kind::SameAs);
        let receiver = cell(Kind::Receiver);
        let stored = cell(Kind::Stored).map(|text| cells::yes(&text));
        if length == Some(None) {
            self.note(
                (row, Kind::Lead),
                "no length with a unit; left out",
                Grade::Lost,
            );
        }
        if stored == Some(None) {
            self.note(
                (row, Kind::Stored),
                "neither yes nor no; left out",
                Grade::Lost,
            );
        }
        let number = self
            .number(row, Kind::StringNumber, MOST_COUNT, "left out")
            .unwrap_or(None);
        let position = self
            .number(row, Kind::Position, MOST_NODES, "left out")
            .unwrap_or(None);
        let skip = self
            .number(row, Kind::Skip, MOST_NODES, "left out")
            .unwrap_or(None);
        let receiver_port = self
            .number(row, Kind::ReceiverPort, 1_024, "left out")
            .unwrap_or(None);
        let receiver = receiver.map(|text| self.receiver(row, &text, receiver_port));
        Line {
            row: row.number,
            make: facts.make,
            name,
            number,
            strands: facts.strands,
            position,
            skip: skip.unwrap_or(0),
            lead: length.flatten(),
            receiver,
            same_as,
            stored: stored.flatten().unwrap_or(false),
            ..Line::default()
        }
    }

    /// A receiver by its text, and its port: 1 where the table does not say it.
    fn receiver(&mut self, row: &Row, text: &str, port: Option<u64>) -> (usize, u32) {
        // `pond.3` names both.
        let (name, own) = match text.rsplit_once(['.', ':']) {
            Some((name, own)) if own.bytes().all(|byte| byte.is_ascii_digit()) => {
                (name, own.parse().ok())
            }
            _ => (text, None),
        };
        let port = port.or(own).filter(|port| (1..=1_024).contains(port));
        let port = u32::try_from(port.unwrap_or(1)).unwrap_or(1);
        let key = name.to_lowercase();
        if let Some(at) = self.receivers.get(&key) {
            return (*at, port);
        }
        let lawful = self.boxes.give(name, "receiver");
        if lawful != *name {
            let what = format!("is called `{lawful}` in the display");
            self.note((row, Kind::Receiver), what, Grade::Told);
        }
        let at = self.found.receivers.len();
        self.receivers.insert(key, at);
        self.found.receivers.push(lawful);
        (at, port)
    }

    /// Hangs strings on ports: all on one, or an equal share of them on each.
    fn hang(
        &mut self,
        row: &Row,
        (prop, controller): (usize, Option<usize>),
        places: &[(usize, usize)],
        ports: &[Port],
    ) {
        let (strings, count) = (places.len(), ports.len());
        if count > 0 && (count > strings || strings % count != 0) {
            let strings = unit::counted(strings as u64, "string");
            let what =
                format!("{strings} can't be spread evenly over {count} ports, so all stay open");
            self.note((row, Kind::Port), what, Grade::Lost);
        }
        let even = count > 0 && count <= strings && strings % count == 0;
        let share = if even { strings / count } else { 1 };
        let mut homeless = false;
        for (at, place) in places.iter().enumerate() {
            let port = ports.get(at / share.max(1)).filter(|_| even);
            let named = port.and_then(|(name, _)| name.as_deref());
            let own = match named {
                Some(name) if controller.is_none() => Some(self.board(row, name)),
                _ => controller,
            };
            // One box is all that ports without a controller can mean.
            let only = !self.columns.has(Kind::Controller) && named.is_none();
            let own = if only {
                Some(self.board(row, "main"))
            } else {
                own
            };
            homeless |= own.is_none() && port.is_some();
            if let Some(line) = self.found.line_mut(prop, *place) {
                line.controller = own;
                line.output = port.map(|(_, output)| *output).filter(|_| own.is_some());
            }
        }
        if homeless {
            let what = "a port without a controller; the port is left open";
            self.note((row, Kind::Port), what, Grade::Lost);
        }
        self.limit(row, (prop, controller), places);
    }

    /// Takes over the limit of a port.
    fn limit(
        &mut self,
        row: &Row,
        (prop, controller): (usize, Option<usize>),
        places: &[(usize, usize)],
    ) {
        let in_slots = self.columns.has(Kind::Derived) && self.columns.of_ports;
        let limit = self
            .number(row, Kind::Limit, MOST_NODES, "left out")
            .unwrap_or(None);
        let Some(limit) = limit.filter(|limit| *limit > 0) else {
            return;
        };
        for place in places {
            let line = self.found.line(prop, *place);
            let Some((Some(Output::Pixel(port)), pixels)) =
                line.map(|line| (line.output, line.make.is_some()))
            else {
                continue;
            };
            if !pixels && in_slots {
                continue;
            }
            if let Some(board) = controller.and_then(|at| self.found.boxes.get_mut(at)) {
                let known = board.limits.entry(port).or_insert(limit);
                *known = (*known).max(limit);
            }
        }
    }

    /// Notes where a row says that its strings lie.
    fn claim(&mut self, row: &Row, prop: usize, lines: Vec<(usize, usize)>) {
        let cut = |kind: Kind, stage: &Self| {
            let cell = stage.columns.at(kind).and_then(|at| row.cells.get(at));
            cell.is_some_and(|cell| cell.number && stage.cut)
        };
        let mut claim = Claim {
            row: row.number,
            prop,
            lines,
            starts: Vec::new(),
            channel: None,
            end: None,
            end_universe: None,
            texts: [Kind::Start, Kind::End].map(|_| (String::new(), String::new())),
        };
        let (from_pair, universe_end) = self.pair(row, Kind::Universe, Kind::Slot);
        let (to_pair, _) = self.pair(row, Kind::EndUniverse, Kind::EndSlot);
        let [start, end] = [Kind::Start, Kind::End].map(|kind| {
            let text = self.columns.cell(row, kind)?;
            Some(cells::spots(text, false, cut(kind, self)))
        });
        let [from, to] = [Kind::StartChannel, Kind::EndChannel].map(|kind| {
            let text = self.columns.cell(row, kind)?;
            Some(cells::spots(text, true, false))
        });
        for (kind, read) in [
            (Kind::Start, &start),
            (Kind::End, &end),
            (Kind::StartChannel, &from),
            (Kind::EndChannel, &to),
        ] {
            if matches!(read, Some(None)) {
                let what = "no address that is understood, such as 12/307; not kept";
                self.note((row, kind), what, Grade::Lost);
            }
        }
        let (start, from) = (start.flatten(), from.flatten());
        let range = self
            .columns
            .cell(row, Kind::Slots)
            .and_then(|text| cells::spots(text, true, false));
        let range: Option<Spots> = range.filter(|spots| spots.iter().all(|(_, to)| to.is_some()));
        let first = |spots: Option<Spots>| {
            spots.and_then(|spots| spots.into_iter().next().map(|(from, _)| from))
        };
        let listed = start
            .clone()
            .or(from.clone().filter(|spots| spots.len() > 1))
            .or(range);
        claim.end = to_pair
            .map(|at| vec![at])
            .or_else(|| first(end.flatten()))
            .or_else(|| first(to.flatten()));
        claim.end = claim.end.take().or_else(|| {
            listed
                .as_ref()
                .or(from.as_ref())
                .and_then(|spots| spots.last()?.1.clone())
        });
        claim.channel = match from.as_deref() {
            Some([(at, _)]) => at.iter().find_map(|at| match at {
                At::Channel(channel) => Some(*channel),
                At::Slot(..) => None,
            }),
            _ => None,
        };
        let kind_of = |kinds: &[Kind]| {
            kinds
                .iter()
                .copied()
                .find(|kind| self.columns.cell(row, *kind).is_some())
        };
        let of = |kind: Option<Kind>| {
            kind.map_or_else(Default::default, |kind| {
                (
                    self.columns.heading(kind).to_owned(),
                    self.columns.cell(row, kind).unwrap_or("").to_owned(),
                )
            })
        };
        claim.texts = [
            of(kind_of(&[
                Kind::Slot,
                Kind::Start,
                Kind::StartChannel,
                Kind::Slots,
                Kind::Universe,
            ])),
            of(kind_of(&[
                Kind::EndSlot,
                Kind::End,
                Kind::EndChannel,
                Kind::Slots,
            ])),
        ];
        claim.starts = match (from_pair, listed, claim.channel) {
            (Some(at), _, _) => vec![vec![at]],
            (None, Some(listed), _) => listed.into_iter().map(|(from, _)| from).collect(),
            (None, None, Some(channel)) => vec![vec![At::Channel(channel)]],
            (None, None, None) => return,
        };
        claim.end_universe = universe_end;
        self.found.claims.push(claim);
    }

    /// A universe and a slot that stand in two columns, and the universe that the first says it ends in.
    fn pair(&mut self, row: &Row, universe: Kind, slot: Kind) -> (Option<At>, Option<u64>) {
        let carried =
            self.columns.cell(row, universe).is_none() && self.columns.cell(row, slot).is_some();
        let text = self.columns.cell(row, universe).map(str::to_owned);
        let text = match (text, self.carried.get(&universe)) {
            (Some(text), _) => text,
            (None, Some(above)) if carried => {
                let above = above.clone();
                let what = format!("no universe; taken as {above}, which stands above");
                self.note((row, universe), what, Grade::Told);
                above
            }
            (None, _) => return (None, None),
        };
        self.carried.insert(universe, text.clone());
        let read = cells::universes(&text);
        let Some((first, last)) = read else {
            self.note(
                (row, universe),
                "no universe that is understood; the address is not kept",
                Grade::Lost,
            );
            return (None, None);
        };
        let start_known = [Kind::Start, Kind::StartChannel]
            .iter()
            .any(|kind| self.columns.cell(row, *kind).is_some());
        let Some(text) = self.columns.cell(row, slot) else {
            if universe == Kind::Universe && !start_known {
                let what = "a universe without a slot; the address is not kept";
                self.note((row, universe), what, Grade::Lost);
            }
            return (None, last);
        };
        let at = text
            .rsplit(|c: char| !c.is_ascii_digit())
            .find(|digits| !digits.is_empty());
        match cells::whole(text).or_else(|| {
            at.filter(|_| text.chars().all(|c| c.is_ascii_alphanumeric() || c == ' '))?
                .parse()
                .ok()
        }) {
            Some(slot @ 1..=512) => (Some(At::Slot(first, slot)), last),
            _ => {
                self.note(
                    (row, slot),
                    "no slot of a universe (1 to 512); the address is not kept",
                    Grade::Lost,
                );
                (None, last)
            }
        }
    }

    /// What a row says besides, as comments of its prop.
    fn comments(&mut self, row: &Row, prop: usize) {
        let mut comments = Vec::new();
        for (at, cell) in row.filled() {
            let kept = match self.columns.kind_at(at) {
                None | Some(Kind::Note) => true,
                Some(Kind::SkipWithin) => cell.text != "0",
                // It is no setting of a table of ports.
                Some(Kind::Strings) => self.columns.of_ports,
                _ => false,
            };
            if kept {
                comments.push(format!("{}: {}", self.columns.heading_at(at), cell.text));
            }
        }
        if let Some(own) = self
            .found
            .props
            .get_mut(prop)
            .filter(|_| !comments.is_empty())
        {
            let several = own
                .members
                .iter()
                .map(|(_, lines)| lines.len())
                .sum::<usize>()
                > 1;
            let row = if several {
                format!("row {}: ", row.number)
            } else {
                String::new()
            };
            own.comments.push(format!("{row}{}", comments.join("; ")));
        }
    }
}
