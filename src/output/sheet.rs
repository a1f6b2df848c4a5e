//! Tables as sheets, for every format that has cells: a header row, then one row for each row of
//! the table.
//!
//! A column of places or of other objects becomes one column for each of its values, as in
//! `start_universe`.

use crate::table::{AnyRow, Cell, Face, Head, Kind, Table};
use std::io;

/// A sheet that is being written, cell by cell.
pub trait Sheet {
    /// Writes a heading.
    ///
    /// # Errors
    /// Those of the writer, in all of these methods.
    fn head(&mut self, name: &str) -> io::Result<()>;

    /// Writes a cell: text, which no program takes for a formula; a number; or nothing.
    ///
    /// # Errors
    /// See `head`.
    fn put(&mut self, cell: &Cell<'_>) -> io::Result<()>;

    /// Ends a row.
    ///
    /// # Errors
    /// See `head`.
    fn end(&mut self) -> io::Result<()>;
}

/// Whether a spreadsheet that reads a text by its look would run it as a formula.
#[must_use]
pub fn is_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r']) && text.parse::<f64>().is_err()
}

/// Writes a table.
///
/// # Errors
/// Those of the sheet.
pub fn fill(table: &Table<'_>, sheet: &mut impl Sheet) -> io::Result<()> {
    let columns: Vec<(usize, &Head)> = table.columns(Face::Sheets).collect();
    for (_, head) in &columns {
        match parts(head.kind) {
            parts if parts.is_empty() => sheet.head(head.key)?,
            parts => {
                let names = parts.iter().map(|part| format!("{}_{part}", head.key));
                names.into_iter().try_for_each(|name| sheet.head(&name))?;
            }
        }
    }
    sheet.end()?;
    table.each(&mut |row| {
        columns.iter().try_for_each(|(at, head)| column(row, *at, head.kind, sheet))?;
        sheet.end()
    })
}

/// The keys of a kind that becomes a column for each of its values; empty for other kinds.
fn parts(kind: Kind) -> Vec<&'static str> {
    match kind {
        Kind::Point => vec!["universe", "slot", "channel"],
        Kind::Object(heads) => heads().iter().map(|head| head.key).collect(),
        _ => Vec::new(),
    }
}

/// Writes the cells of one column.
fn column(row: &dyn AnyRow, at: usize, kind: Kind, sheet: &mut impl Sheet) -> io::Result<()> {
    match (row.cell(at), kind) {
        (Cell::Point(point), _) => {
            sheet.put(&point.universe.into())?;
            sheet.put(&point.slot.into())?;
            sheet.put(&point.channel.into())
        }
        (Cell::Object(cells), _) => cells.iter().try_for_each(|(_, cell)| sheet.put(cell)),
        (Cell::None, Kind::Point | Kind::Object(_)) => {
            parts(kind).iter().try_for_each(|_| sheet.put(&Cell::None))
        }
        (Cell::Flag(flag), _) => sheet.put(&if flag { "yes" } else { "no" }.into()),
        (Cell::List(cells), _) => sheet.put(&joined(&cells, " ").into()),
        (cell, _) => sheet.put(&cell),
    }
}

/// The texts of a list as one.
pub fn joined(cells: &[Cell<'_>], joint: &str) -> String {
    let texts = cells.iter().filter_map(|cell| match cell {
        Cell::Text(text) => Some(&**text),
        _ => None,
    });
    texts.collect::<Vec<_>>().join(joint)
}
