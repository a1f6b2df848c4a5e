//! A table of props, as people keep it in a spreadsheet, becomes a display and, where it has addresses, its lock.
//!
//! ```text
//!  bytes ──sheet, book──▶ rows of cells ──columns──▶ which column is what ──rows──▶ props ──places──▶ addresses
//!                                                                 display and lock ◀──settle, write──┘
//! ```
//!
//! What is not understood is never guessed at in silence: it becomes a [`Note`] with its row, column and
//! text, and a comment in the display. A line that the display lacks has a comment that says what to fill in.

mod book;
mod boxes;
mod cells;
mod clashes;
mod columns;
mod found;
mod makes;
mod names;
mod places;
mod remarks;
mod rows;
mod settle;
mod sheet;
mod sizes;
#[cfg(test)]
mod tests;
mod wires;
mod write;

pub use columns::{Kind, given};

use crate::Compiled;
use crate::diagnostic::words;
use crate::protocol::UniverseSlots;
use columns::Block;
use found::Found;
use sheet::Row;
use std::collections::BTreeMap;
use std::fmt;

/// What became of a table.
#[derive(Debug)]
pub struct Import {
    /// The display file.
    pub text: String,
    /// Its lock, where the table has addresses.
    pub lock: Option<String>,
    /// What there is to say, by row.
    pub notes: Vec<Note>,
    /// How many tables it came from.
    pub tables: usize,
    /// Rows that hold anything, the header left out.
    pub rows: usize,
    /// Statements of props that came of them.
    pub props: usize,
    /// The display, compiled around its lock.
    pub compiled: Compiled,
}

/// How grave a note is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Grade {
    /// Nothing is lost: a name was made lawful, a column has nothing that a display needs.
    Told,
    /// Something of the table is not in the display, or not for certain.
    Lost,
    /// The table contradicts itself.
    Wrong,
}

/// One thing to say about a table.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Note {
    /// Its sheet or file, where there are several; else empty.
    pub place: String,
    /// Its row as a spreadsheet counts them, from 1; `None` for a whole column or table.
    pub row: Option<usize>,
    /// The heading of its column; empty for a whole row.
    pub column: String,
    /// What stands there.
    pub text: String,
    /// What became of it.
    pub what: String,
    /// How grave it is.
    pub grade: Grade,
    /// The prop that it is about, in their order.
    pub prop: Option<usize>,
    /// The string that it is about: its prop, member and string.
    line: Option<(usize, (usize, usize))>,
}

impl Note {
    /// Whether something of the table is not in the display, or not for certain.
    #[must_use]
    pub fn is_doubt(&self) -> bool {
        self.grade > Grade::Told
    }

    /// A note on the whole table.
    fn of_table(what: String, grade: Grade) -> Self {
        let (place, column, text) = (String::new(), String::new(), String::new());
        Self { place, row: None, column, text, what, grade, prop: None, line: None }
    }
}

impl fmt::Display for Note {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = Vec::new();
        if !self.place.is_empty() {
            parts.push(self.place.clone());
        }
        if let Some(row) = self.row {
            parts.push(format!("row {row}"));
        }
        if !self.column.is_empty() {
            parts.push(format!("column `{}`", words::shown(&self.column)));
        }
        let place = parts.join(", ");
        if place.is_empty() {
            return write!(out, "{}", self.what);
        }
        if self.text.is_empty() {
            write!(out, "{place}: {}", self.what)
        } else {
            write!(out, "{place}: \"{}\": {}", words::shown(&self.text), self.what)
        }
    }
}

/// How a table is to be read.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Reading {
    /// A column of nodes whose heading says no more counts one string, not the whole prop.
    pub nodes_per_string: bool,
    /// What columns hold, by their headings.
    pub columns: Vec<(String, Kind)>,
    /// The sheet of a workbook to read; else the first that has a header.
    pub sheet: Option<String>,
    /// The slots of a universe in all tables; else what they say.
    pub universe_slots: Option<UniverseSlots>,
    /// How findings name the display; else `<imported>`.
    pub display: Option<String>,
}

/// A sheet of a workbook, or a file of csv.
#[derive(Debug, Default)]
struct Sheet {
    /// How notes name it, where there are several.
    place: String,
    rows: Vec<Row>,
    sections: Vec<Block>,
    /// Remarks on its cells, by row.
    remarks: BTreeMap<usize, Vec<String>>,
}

/// Reads the bytes of a table that is called `name`.
///
/// # Errors
/// In words, why none of it can be read: no text, no header, no row below it, an open quote, a cell out of bounds.
pub fn import(name: &str, bytes: &[u8], reading: &Reading) -> Result<Import, String> {
    import_all(&[(name, bytes)], reading)
}

/// Reads some tables, by name and bytes, into one display.
///
/// # Errors
/// As [`import`], with the name of the table where there are several.
pub fn import_all(all: &[(&str, &[u8])], reading: &Reading) -> Result<Import, String> {
    let (mut notes, mut tables, mut others) = (Vec::new(), Vec::new(), Vec::new());
    let mut own = false;
    for (name, bytes) in all {
        let several = all.len() > 1;
        let label = if several { words::shown(name) } else { String::new() };
        let why = |why| if several { format!("{label}: {why}") } else { why };
        let from = notes.len();
        let (table, pages) = table(bytes, &label, reading, &mut notes).map_err(why)?;
        for note in notes.iter_mut().skip(from).filter(|note| note.place.is_empty()) {
            note.place.clone_from(&table.place);
        }
        own |= pages.1;
        others.extend(pages.0);
        tables.push(table);
    }
    let mut found = rows::read(tables, &mut notes);
    if found.rows == 0 {
        return Err("there is no row below its header".to_owned());
    }
    beside(&others, own, reading, &mut found, &mut notes);
    if found.props.is_empty() {
        let what = "none of its rows is a prop".to_owned();
        notes.push(Note::of_table(what, Grade::Lost));
    }
    clashes::shared_hosts(&found, &mut notes);
    let placed = places::settle(&mut found, reading.universe_slots, &mut notes);
    rows::same::whole(&mut found, &mut notes);
    boxes::universes(&mut found, &mut notes);
    boxes::ports(&mut found, &mut notes);
    let names: Vec<&str> = all.iter().map(|(name, _)| *name).collect();
    Ok(settle::settle(&names.join(", "), found, notes, placed, reading))
}

/// The sheets beside a table, and whether that is our own of strings.
type Beside = (Vec<book::Page>, bool);

/// Reads a table from the bytes of its file, which `label` names where there are several.
fn table(
    bytes: &[u8],
    label: &str,
    reading: &Reading,
    notes: &mut Vec<Note>,
) -> Result<(Sheet, Beside), String> {
    let (page, pages) = if book::is_archive(bytes) {
        page(book::read(bytes)?, reading)?
    } else {
        let rows = sheet::read(bytes)?;
        (book::Page { rows, ..book::Page::default() }, Vec::new())
    };
    if sheet::is_western(bytes) {
        let what =
            "it is not UTF-8 and was read as Latin-1 (Windows-1252): check letters with accents";
        notes.push(Note::of_table(what.to_owned(), Grade::Told));
    }
    let named = |page: &book::Page| {
        let sheet = format!("sheet `{}`", words::shown(&page.name));
        if label.is_empty() { sheet } else { format!("{label}, {sheet}") }
    };
    let place = if pages.is_empty() { label.to_owned() } else { named(&page) };
    let mut pages = pages;
    for page in &mut pages {
        page.place = named(page);
    }
    let mut rows = page.rows;
    notes.extend(page.notes);
    let sections = columns::find(&rows, reading, notes)?;
    rows::ditto(&mut rows, &sections, notes);
    let of_ports = sections.first().is_some_and(|section| section.columns.of_ports);
    let own = page.name == "strings" && !of_ports;
    Ok((Sheet { place, rows, sections, remarks: page.remarks }, (pages, own)))
}

/// The sheet of a workbook that is read: the one that was asked for, or the first with the best header; and those beside it.
fn page(
    pages: Vec<book::Page>,
    reading: &Reading,
) -> Result<(book::Page, Vec<book::Page>), String> {
    let rank = |page: &book::Page| columns::best(&page.rows, reading);
    let best = pages.iter().map(rank).max().unwrap_or(0);
    let names: Vec<String> =
        pages.iter().map(|page| words::shown(&page.name).to_string()).collect();
    let wanted = match &reading.sheet {
        Some(name) => pages.iter().position(|page| page.name == *name),
        None => pages.iter().position(|page| rank(page) == best),
    };
    let Some(wanted) = wanted else {
        return Err(match &reading.sheet {
            Some(name) => {
                format!("it has no sheet `{}`, but {}", words::shown(name), names.join(", "))
            }
            None => "it has no sheet".to_owned(),
        });
    };
    let mut pages = pages;
    Ok((pages.remove(wanted), pages))
}

/// Reads the sheets beside the one that has the props.
fn beside(
    pages: &[book::Page],
    own: bool,
    reading: &Reading,
    found: &mut Found,
    notes: &mut Vec<Note>,
) {
    const OURS: [&str; 4] = ["ports", "universes", "controllers", "props"];
    for page in pages.iter().filter(|page| !page.rows.is_empty()) {
        // The sheets beside our own one of strings say the same in other ways.
        let ours = own && OURS.contains(&page.name.as_str());
        if ours || !boxes::read(page, reading, found, notes) {
            let table = columns::best(&page.rows, reading) > 0 && !ours;
            let grade = if table { Grade::Lost } else { Grade::Told };
            let name = words::shown(&page.name);
            let what = format!("the sheet `{name}` was not read; --sheet names another");
            notes.push(Note::of_table(what, grade));
        }
        found.comments.extend(page.remarks.values().flatten().cloned());
    }
}
