//! Makes a display of a table of props, as people keep it in a spreadsheet, and its lock where the
//! table has addresses.
//!
//! ```text
//!  bytes ──sheet, book, open──▶ rows of cells ──columns──▶ which column is what ──rows──▶ props ──places──▶ addresses
//!                                                                 display and lock ◀──settle, write──┘
//! ```
//!
//! Nothing is guessed in silence: what is not understood becomes a [`Note`] with its row, column
//! and text, and a comment in the display. Another comment says which lines to fill in.

mod book;
mod boxes;
mod cells;
mod clashes;
mod columns;
mod found;
mod headings;
mod makes;
mod names;
mod open;
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

pub use headings::{Kind, given};

use crate::Compiled;
use crate::diagnostic::words;
use crate::protocol::UniverseSlots;
use columns::Block;
use sheet::SheetRow;
use std::collections::BTreeMap;
use std::fmt;

/// What became of a table.
#[derive(Debug)]
pub struct Import {
    /// The display file.
    pub text: String,
    /// Its lock, where the table has addresses.
    pub lock: Option<String>,
    /// Notes on the table, the gravest first.
    pub notes: Vec<Note>,
    /// How many tables it came from.
    pub tables: usize,
    /// Rows that hold anything, the header left out.
    pub rows: usize,
    /// How many props they made.
    pub props: usize,
    /// The display, compiled around its lock.
    pub compiled: Compiled,
}

/// How grave a note is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Grade {
    /// Nothing is lost: a name was made lawful, a column has nothing that a display needs.
    Noted,
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
    /// The index of the prop that it is about.
    pub prop: Option<usize>,
    /// The string that it is about: its prop, member and string.
    line: Option<found::StringAt>,
}

impl Note {
    /// Whether something of the table is not in the display, or not for certain.
    #[must_use]
    pub fn is_doubt(&self) -> bool {
        self.grade > Grade::Noted
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
        // It may hold a text of the table.
        let what = words::visible(&self.what, "");
        if place.is_empty() {
            return write!(out, "{what}");
        }
        if self.text.is_empty() {
            write!(out, "{place}: {what}")
        } else {
            write!(out, "{place}: \"{}\": {what}", words::shown(&self.text))
        }
    }
}

/// How a table is to be read.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Reading {
    /// A column headed only `nodes` or the like counts one string, not the whole prop.
    pub nodes_per_string: bool,
    /// What columns hold, by their headings.
    pub columns: Vec<(String, Kind)>,
    /// The sheets of a workbook to read as props; else all that have a header of props.
    pub sheets: Vec<String>,
    /// The slots of a universe, for tables that say no other size and do not contradict this one.
    pub universe_slots: Option<UniverseSlots>,
    /// How findings name the display; else `<imported>`.
    pub display: Option<String>,
}

/// A sheet of a workbook, or a file of csv.
#[derive(Debug, Default)]
struct Sheet {
    /// How notes name it, where there are several.
    place: String,
    /// Its own name in the workbook.
    name: String,
    rows: Vec<SheetRow>,
    sections: Vec<Block>,
    /// Remarks on its cells, by row.
    remarks: BTreeMap<usize, Vec<String>>,
}

/// Reads the bytes of a table that is called `name`.
///
/// # Errors
/// In words, why none of it can be read: no text, no header, no row below it, an open quote, a cell
/// out of bounds.
pub fn import(name: &str, bytes: &[u8], reading: &Reading) -> Result<Import, String> {
    import_all(&[(name, bytes)], reading)
}

/// Reads some tables, by name and bytes, into one display.
///
/// # Errors
/// As [`import`], with the name of the table where there are several; and where two of them have
/// the same content.
pub fn import_all(all: &[(&str, &[u8])], reading: &Reading) -> Result<Import, String> {
    let mut notes = Vec::new();
    let (tables, others) = open::all(all, reading, &mut notes)?;
    let alone = tables.is_empty();
    let mut found = rows::read(tables, &boxes::known(&others, reading), &mut notes);
    if found.rows == 0 && !alone {
        return Err("there is no row below its header".to_owned());
    }
    open::beside(&others, reading, &mut found, &mut notes);
    if found.props.is_empty() && (found.boxes.is_empty() || !alone) {
        let what = "none of its rows is a prop".to_owned();
        notes.push(Note::of_table(what, Grade::Lost));
    }
    boxes::volts(&mut found);
    clashes::shared_hosts(&found, &mut notes);
    let placed = places::settle(&mut found, reading.universe_slots, &mut notes);
    rows::same::whole(&mut found, &mut notes);
    boxes::universes(&mut found, &mut notes);
    boxes::ports(&mut found, &mut notes);
    let names: Vec<&str> = all.iter().map(|(name, _)| *name).collect();
    Ok(settle::settle(&names.join(", "), found, notes, placed, reading))
}
