//! A table of props, as people keep it in a spreadsheet, becomes a display file.
//!
//! ```text
//!  bytes ──sheet──▶ rows of cells ──columns──▶ which column is what ──rows──▶ props ──write──▶ text
//! ```
//!
//! What is not understood is never guessed at in silence: it becomes a [`Note`] with its row, column and
//! text, and a line that the display lacks has a comment that says what to fill in.

mod columns;
mod names;
mod rows;
mod sheet;
#[cfg(test)]
mod tests;
mod write;

use crate::diagnostic::words;
use crate::format::format;
use crate::source::Loaded;
use std::fmt;

/// What became of a table.
#[derive(Debug)]
pub struct Import {
    /// The display file.
    pub text: String,
    /// What there is to say, by row.
    pub notes: Vec<Note>,
    /// Rows that hold anything, the header left out.
    pub rows: usize,
    /// Statements of props that came of them.
    pub props: usize,
}

/// How grave a note is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Grade {
    /// Nothing is lost: a name was made lawful, a column has nothing that a display needs.
    Told,
    /// Something of the table is not in the display, or not for certain.
    Lost,
}

/// One thing to say about a table.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Note {
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
}

impl fmt::Display for Note {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = Vec::new();
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
            write!(
                out,
                "{place}: \"{}\": {}",
                words::shown(&self.text),
                self.what
            )
        }
    }
}

/// How a table is to be read.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Reading {
    /// A column of nodes whose heading says no more counts one string, not the whole prop.
    pub nodes_per_string: bool,
}

/// A display as the formatter writes it.
fn laid_out(text: String) -> String {
    let main = Loaded {
        identity: String::new(),
        name: String::new(),
        bytes: text.clone().into_bytes(),
    };
    format(&main).result.unwrap_or(text)
}

/// Reads the bytes of a table that is called `name`.
///
/// # Errors
/// In words, why none of it can be read: no text, no header, no row below it, an open quote.
pub fn import(name: &str, bytes: &[u8], reading: Reading) -> Result<Import, String> {
    let table = sheet::read(bytes)?;
    let (columns, mut notes) = columns::find(&table, reading)?;
    let found = rows::read(&table, &columns, &mut notes);
    if found.rows == 0 {
        return Err("there is no row below its header".to_owned());
    }
    let text = laid_out(write::display(name, &found));
    if sheet::is_western(bytes) {
        notes.push(Note {
            row: None,
            column: String::new(),
            text: String::new(),
            what:
                "it is not UTF-8 and was read as Latin-1 (Windows-1252): check letters with accents"
                    .to_owned(),
            grade: Grade::Told,
        });
    }
    notes.sort_by_key(|note| note.row);
    Ok(Import {
        text,
        notes,
        rows: found.rows,
        props: found.props.len(),
    })
}
