//! The parts list in a format: text for a person, csv for a spreadsheet, JSON for a program.

use super::PartRow;
use crate::output::csv::Cells;
use crate::output::sheet::Sheet;
use crate::output::text::{self, Column, Row};
use std::io::{self, Write};

/// The formats by name; the first is the default.
pub const FORMATS: [&str; 3] = ["text", "csv", "json"];

/// The columns of a table for people.
const COLUMNS: &[Column] = &[("item", false), ("amount", true), ("unit", false)];

/// Writes a list in one of [`FORMATS`]; `width` is how many columns a person's terminal has.
///
/// # Errors
/// What the writer says.
pub fn write(rows: &[PartRow], format: &str, width: usize, out: &mut dyn Write) -> io::Result<()> {
    match format {
        "csv" => csv(rows, out),
        "json" => json(rows, out),
        _ => text::print(COLUMNS, || rows.iter().map(row), width, out),
    }
}

fn row(part: &PartRow) -> Row<'_> {
    Row {
        cells: vec![
            part.item.clone(),
            part.amount.words(),
            part.unit_words().to_owned(),
        ],
        remark: part.note.clone(),
        group: part.group,
    }
}

fn csv(rows: &[PartRow], out: &mut dyn Write) -> io::Result<()> {
    let mut sheet = Cells::new(out);
    sheet.head(&["group", "item", "amount", "unit", "note"])?;
    for part in rows {
        sheet.text(part.group)?;
        sheet.text(&part.item)?;
        sheet.figure(part.amount)?;
        sheet.text(part.unit)?;
        sheet.text(&part.note)?;
        sheet.end()?;
    }
    sheet.flush()
}

/// A row a line, under the key `parts`.
fn json(rows: &[PartRow], out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{{\"parts\": [")?;
    for (at, part) in rows.iter().enumerate() {
        let comma = if at + 1 < rows.len() { "," } else { "" };
        writeln!(out, "  {}{comma}", serde_json::to_string(part)?)?;
    }
    writeln!(out, "]}}")
}
