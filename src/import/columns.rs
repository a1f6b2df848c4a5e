//! Which column is what, by its heading.

use super::headings::{Kind, kind, plain};
use super::sheet::SheetRow;
use super::{Grade, Note, Reading};
use crate::diagnostic::words;
use std::collections::{BTreeMap, BTreeSet};

/// Kinds of which a table may have several columns.
const MANY: [Kind; 2] = [Kind::Note, Kind::Derived];

/// Where each kind of column stands.
#[derive(Clone, Debug, Default)]
pub struct Columns {
    /// The index of the header among the rows.
    pub header: usize,
    /// Whether its rows are ports, which have no name.
    pub of_ports: bool,
    kinds: Vec<Option<Kind>>,
    by_kind: BTreeMap<Kind, usize>,
    headings: Vec<String>,
}

impl Columns {
    /// The cell of a kind in a row; `None` where the table has no such column or the cell is empty.
    pub fn cell<'r>(&self, row: &'r SheetRow, kind: Kind) -> Option<&'r str> {
        let at = self.by_kind.get(&kind)?;
        // A dash stands for a box or a port that does not exist.
        let dash = |text: &str| matches!(text, "-" | "–" | "—");
        let none = |text: &str| matches!(kind, Kind::Controller | Kind::Port) && dash(text);
        Some(row.text(*at)).filter(|text| !text.is_empty() && !none(text))
    }

    /// The cell of the first of some kinds that has one.
    pub fn first<'r>(&self, row: &'r SheetRow, kinds: &[Kind]) -> Option<&'r str> {
        kinds.iter().find_map(|kind| self.cell(row, *kind))
    }

    /// All headings.
    pub fn headings(&self) -> &[String] {
        &self.headings
    }

    /// The column of a kind, from 0.
    pub fn at(&self, kind: Kind) -> Option<usize> {
        self.by_kind.get(&kind).copied()
    }

    /// Whether the table has a column of a kind.
    pub fn has(&self, kind: Kind) -> bool {
        self.by_kind.contains_key(&kind)
    }

    /// The heading of a kind's column.
    pub fn heading(&self, kind: Kind) -> &str {
        self.at(kind).map_or("", |at| self.heading_at(at))
    }

    /// The heading of a column.
    pub fn heading_at(&self, column: usize) -> &str {
        self.headings.get(column).map_or("", String::as_str)
    }

    /// What a column holds.
    pub fn kind_at(&self, column: usize) -> Option<Kind> {
        self.kinds.get(column).copied().flatten()
    }

    /// Changes the kind of a column.
    pub fn turn(&mut self, from: Kind, to: Kind) {
        if let Some(at) = self.by_kind.remove(&from) {
            if let Some(kind) = self.kinds.get_mut(at) {
                *kind = Some(to);
            }
            self.by_kind.insert(to, at);
        }
    }
}

/// At most this many rows may stand before the header: a title, a date.
const BEFORE: usize = 20;

/// The kinds of columns that say how large a string is.
pub const SIZES: [Kind; 4] = [Kind::Nodes, Kind::NodesPerString, Kind::NodesPerStrand, Kind::Slots];

/// How good a header a row is: 2 with names, 1 for ports without names, 0 for none.
pub fn rank(kinds: &[Option<Kind>]) -> u8 {
    let has = |kind: Kind| kinds.contains(&Some(kind));
    let any = |kinds: &[Kind]| kinds.iter().any(|kind| has(*kind));
    let size = any(&SIZES);
    let placed = any(&[Kind::Port, Kind::Universe, Kind::Start, Kind::StartChannel]);
    if has(Kind::Name) && (size || placed) {
        2
    } else {
        u8::from(has(Kind::Controller) && has(Kind::Port) && size)
    }
}

/// A row of headings: what its columns are, and their texts.
type Headings = (Vec<Option<Kind>>, Vec<String>);

/// The row of a table that is its header, with what its columns are.
fn header(
    table: &[SheetRow],
    reading: &Reading,
) -> Option<(usize, Vec<Option<Kind>>, Vec<String>)> {
    let mut best: Option<(u8, usize, Headings)> = None;
    for (at, row) in table.iter().enumerate().take(BEFORE) {
        let above = at.checked_sub(1).and_then(|above| table.get(above));
        for above in [None, above.filter(|above| above.filled().count() > 1)] {
            let (kinds, headings) = read(row, above, reading);
            let distinct = |kinds: &[Option<Kind>]| -> usize {
                kinds.iter().flatten().collect::<BTreeSet<_>>().len()
            };
            let known = distinct(&kinds);
            let better = best.as_ref().is_none_or(|(rank, _, (best, _))| {
                *rank == 0 || above.is_some() && known > distinct(best)
            });
            let rank = rank(&kinds);
            if rank > 0 && better {
                best = Some((rank, at, (kinds, headings)));
            }
        }
        if best.as_ref().is_some_and(|(_, found, ..)| *found < at) {
            break;
        }
    }
    best.map(|(_, at, (kinds, headings))| (at, kinds, headings))
}

/// What the cells of a row mean as headings, with a row above whose headings may span several of
/// them.
fn read(row: &SheetRow, above: Option<&SheetRow>, reading: &Reading) -> Headings {
    let width = row.cells.len().max(above.map_or(0, |above| above.cells.len()));
    let mut group = "";
    let both = (0..width).map(|at| {
        let (over, own) = (above.map_or("", |above| above.text(at)), row.text(at));
        let begins = !over.is_empty() && over != group;
        if !over.is_empty() {
            group = over;
        }
        if above.is_none() {
            return (kind(own, reading), own.to_owned());
        }
        let of_group = kind(group, reading);
        let joined = format!("{group} {own}").trim().to_owned();
        let found = kind(&joined, reading).filter(|_| !(own.is_empty() && over.is_empty()));
        match (found, kind(own, reading)) {
            (Some(kind), _) => (Some(kind), joined),
            // The name of a box, not of a prop.
            (None, Some(Kind::Name))
                if matches!(of_group, Some(Kind::Controller | Kind::Receiver)) =>
            {
                (of_group, joined)
            }
            (None, Some(kind)) => (Some(kind), own.to_owned()),
            (None, None) if own.is_empty() => (kind(over, reading), over.to_owned()),
            // The first column of a group has the meaning of the group.
            (None, None) if begins && of_group.is_some() => (of_group, joined),
            (None, None) => (None, own.to_owned()),
        }
    });
    both.unzip()
}

/// Headings for a prop that give way to a better column of names.
const WEAK_NAMES: [&str; 6] = ["what", "item", "thing", "model", "display", "fixture"];

/// A table of a sheet: its columns, and its rows below them, as indices.
#[derive(Debug)]
pub struct Block {
    /// What its columns are.
    pub columns: Columns,
    /// Its rows, without repeated headers.
    pub rows: Vec<usize>,
}

/// Finds the header of a sheet and those of further tables below it, and what their columns are.
///
/// # Errors
/// In words: there is none.
pub fn find(
    table: &[SheetRow],
    reading: &Reading,
    notes: &mut Vec<Note>,
) -> Result<Vec<Block>, String> {
    if table.is_empty() {
        return Err("it has no rows".to_owned());
    }
    let Some((at, kinds, headings)) = header(table, reading) else {
        return Err(format!(
            "no header with a column of names and one of nodes (such as `name`, `count`, `nodes`, `strings`, \
             `controller`, `port`, `start`); it begins with {}",
            table.first().map_or_else(String::new, begin)
        ));
    };
    for row in table.iter().take(at) {
        // These include the upper row of a header of two rows.
        let what = format!("{} stands above the header; kept as a comment", begin(row));
        notes.push(Note { row: Some(row.number), ..Note::of_table(what, Grade::Noted) });
    }
    let mut offered = false;
    let columns = meant(at, kinds, headings, None, (notes, &mut offered));
    let mut sections = vec![Block { columns, rows: Vec::new() }];
    for (at, row) in table.iter().enumerate().skip(at + 1) {
        let Some(section) = sections.last_mut() else { break };
        let (kinds, headings) = match row.filled().nth(1) {
            Some(_) => read(row, None, reading),
            None => Headings::default(),
        };
        if rank(&kinds) == 0 {
            if is_of_headings(row, &kinds) {
                let note = Note::of_table("a row of headings; left out".to_owned(), Grade::Noted);
                notes.push(Note { row: Some(row.number), text: begin(row), ..note });
            } else {
                section.rows.push(at);
            }
            continue;
        }
        let same = |(at, heading): (usize, &String)| {
            let kind = kinds.get(at).copied().flatten();
            let told = kind.is_some_and(|kind| !MANY.contains(&kind));
            heading.is_empty()
                || section.columns.heading_at(at) == heading
                || told && section.columns.kind_at(at) == kind
        };
        let again = headings.iter().enumerate().all(same);
        let what = if again { "a header again; left out" } else { "another table begins here" };
        let text = row.filled().next().map_or("", |(_, cell)| &cell.text).to_owned();
        let note = Note::of_table(what.to_owned(), Grade::Noted);
        notes.push(Note { row: Some(row.number), text, ..note });
        if !again {
            let number = Some(row.number);
            let columns = meant(at, kinds, headings, number, (notes, &mut offered));
            sections.push(Block { columns, rows: Vec::new() });
        }
    }
    Ok(sections)
}

/// Whether a row that is no header has only headings: `Starts | Ends` above a repeated header.
fn is_of_headings(row: &SheetRow, kinds: &[Option<Kind>]) -> bool {
    let known = |at: usize| kinds.get(at).copied().flatten().is_some();
    let word = |text: &str| text.chars().all(|c| c.is_alphabetic() || " .-/".contains(c));
    row.filled().nth(1).is_some() && row.filled().all(|(at, cell)| known(at) && word(&cell.text))
}

/// Decides what each of two columns with one kind is. Of two that say where a row begins, the
/// second says where it ends (`Universe | Channel | Universe | Channel`); channels beside a start
/// are a number of them.
fn paired(kinds: &mut [Option<Kind>], headings: &[String]) {
    const PAIRS: [(Kind, Kind); 4] = [
        (Kind::Universe, Kind::EndUniverse),
        (Kind::Slot, Kind::EndSlot),
        (Kind::Start, Kind::End),
        (Kind::StartChannel, Kind::EndChannel),
    ];
    let all = |kinds: &[Option<Kind>], kind: Kind| -> Vec<usize> {
        let of = |(at, own): (usize, &Option<Kind>)| (*own == Some(kind)).then_some(at);
        kinds.iter().enumerate().filter_map(of).collect()
    };
    let begins = [all(kinds, Kind::Start), all(kinds, Kind::StartChannel)].concat();
    let short = |at: &&usize| headings.get(**at).is_some_and(|own| plain(own) == "ch");
    if let (Some(at), true) = (begins.iter().find(short), begins.len() > 1)
        && !kinds.contains(&Some(Kind::Universe))
        && !kinds.contains(&Some(Kind::Slots))
        && let Some(own) = kinds.get_mut(*at)
    {
        *own = Some(Kind::Slots);
    }
    // Of two columns of positions, `#` is the position and `order` the order of colours.
    let positions = all(kinds, Kind::Position);
    let ordered = |at: &&usize| headings.get(**at).is_some_and(|own| plain(own) == "order");
    if let (true, Some(at)) = (positions.len() > 1, positions.iter().find(ordered))
        && !kinds.contains(&Some(Kind::Colour))
        && let Some(own) = kinds.get_mut(*at)
    {
        *own = Some(Kind::Colour);
    }
    // Beside an instance and another name, `name` follows from the others.
    let names = all(kinds, Kind::Name).len();
    if names > 1 && kinds.contains(&Some(Kind::Instance)) {
        let full = headings.iter().position(|heading| plain(heading) == "name");
        if let Some(kind) = full.and_then(|at| kinds.get_mut(at)) {
            *kind = Some(Kind::Derived);
        }
    }
    // With several columns of nodes, one headed `node` names their make.
    let nodes = all(kinds, Kind::Nodes).len();
    for (own, _) in
        kinds.iter_mut().zip(headings).filter(|(_, heading)| nodes > 1 && plain(heading) == "node")
    {
        *own = Some(Kind::Make);
    }
    if all(kinds, Kind::Universe).len() != 2 {
        return;
    }
    for (start, end) in PAIRS {
        if let ([_, second], false) = (all(kinds, start).as_slice(), kinds.contains(&Some(end)))
            && let Some(own) = kinds.get_mut(*second)
        {
            *own = Some(end);
        }
    }
}

/// What the columns below a row of headings are. `row` is its number, unless it is the first.
fn meant(
    header: usize,
    mut kinds: Vec<Option<Kind>>,
    headings: Vec<String>,
    row: Option<usize>,
    (notes, offered): (&mut Vec<Note>, &mut bool),
) -> Columns {
    let mut note = |column: &str, what: String, grade: Grade| {
        notes.push(Note { row, column: column.to_owned(), ..Note::of_table(what, grade) });
    };
    paired(&mut kinds, &headings);
    let weak = |heading: &str| WEAK_NAMES.contains(&plain(heading).as_str());
    let named =
        |(kind, heading): (&Option<Kind>, &String)| *kind == Some(Kind::Name) && !weak(heading);
    if kinds.iter().zip(&headings).any(named) {
        for (kind, heading) in kinds.iter_mut().zip(&headings) {
            if *kind == Some(Kind::Name) && weak(heading) {
                *kind = Some(Kind::Note);
                let what = "another column names the prop; kept as comments";
                note(heading, what.to_owned(), Grade::Noted);
            }
        }
    }
    let mut by_kind = BTreeMap::new();
    for (at, (own, heading)) in kinds.iter_mut().zip(&headings).enumerate() {
        match *own {
            None if heading.is_empty() => {}
            None => {
                let mut what = "no column that is known; kept as comments".to_owned();
                if !std::mem::replace(offered, true) {
                    what.push_str(&format!(
                        "; --column '{heading}=KIND' says what it is, and '{heading}=?' lists the kinds"
                    ));
                }
                note(heading, what, Grade::Lost);
            }
            Some(Kind::Derived) => {
                note(heading, "this follows from the rest; left out".to_owned(), Grade::Noted);
            }
            Some(Kind::Note) if ["bright", "brightness", "level"].contains(&&*plain(heading)) => {
                let what = "a level is set for a port or a box (`dim to 30 %`); kept as comments";
                note(heading, what.to_owned(), Grade::Noted);
            }
            Some(kind) if MANY.contains(&kind) => {}
            Some(kind) if by_kind.contains_key(&kind) => {
                *own = Some(Kind::Note);
                let what = "an earlier column says the same; kept as comments".to_owned();
                note(heading, what, Grade::Lost);
            }
            Some(kind) => {
                by_kind.insert(kind, at);
            }
        }
    }
    let of_ports = rank(&kinds) == 1;
    Columns { header, of_ports, kinds, by_kind, headings }
}

/// The header of a sheet of boxes: its row, its kinds and headings.
pub fn of_hosts(
    table: &[SheetRow],
    reading: &Reading,
) -> Option<(usize, Vec<Option<Kind>>, Vec<String>)> {
    let rows = table.iter().enumerate().take(BEFORE);
    let mut headers = rows.map(|(at, row)| (at, read(row, None, reading)));
    let has = |kinds: &[Option<Kind>]| {
        let one = |kind: Kind| kinds.contains(&Some(kind));
        let sized = SIZES.iter().any(|kind| one(*kind));
        one(Kind::Host)
            || one(Kind::Controller) && one(Kind::Universe) && !one(Kind::Port) && !sized
    };
    if let Some((at, (kinds, headings))) = headers.find(|(_, (kinds, _))| has(kinds)) {
        return Some((at, kinds, headings));
    }
    // Whatever its heading says, a column of addresses of four numbers is one of hosts.
    let rows = table.iter().enumerate().take(BEFORE);
    rows.filter_map(|(at, row)| {
        let (mut kinds, headings) = read(row, None, reading);
        let named = kinds.contains(&Some(Kind::Controller));
        let below = table.get(at + 1..)?;
        let hosts = |column: &usize| {
            let all = below.iter().map(|row| row.text(*column)).filter(|text| !text.is_empty());
            let of_hosts = all.clone().filter(|text| is_host(text)).count();
            of_hosts > 1 && of_hosts * 2 > all.count()
        };
        let column = (0..kinds.len()).find(hosts)?;
        *kinds.get_mut(column)? = Some(Kind::Host);
        let sized = SIZES.iter().any(|kind| kinds.contains(&Some(*kind)));
        let of_props = sized && kinds.contains(&Some(Kind::Name));
        (named && !of_props).then_some((at, kinds, headings))
    })
    .next()
}

/// Whether a cell begins with an address of four numbers.
fn is_host(text: &str) -> bool {
    text.split_whitespace().next().is_some_and(|word| word.parse::<std::net::Ipv4Addr>().is_ok())
}

/// A row's first cells, for a person to find it by.
pub fn begin(row: &SheetRow) -> String {
    const MOST: usize = 400;
    let whole = |text: &str| words::visible(&text.chars().take(MOST).collect::<String>(), "");
    let cells = row.filled().take(6).map(|(_, cell)| format!("\"{}\"", whole(&cell.text)));
    cells.collect::<Vec<_>>().join(", ")
}

/// How good the header of a table is; 0 where it has none. See [`rank`].
pub fn best(table: &[SheetRow], reading: &Reading) -> u8 {
    header(table, reading).map_or(0, |(_, kinds, _)| rank(&kinds))
}
