//! The first table of a survey as CSV (RFC 4180): a header row, CR LF line ends, UTF-8 without a
//! byte order mark.
//!
//! A cell that a spreadsheet would run as a formula gets a `'` before it: one that begins with `=`,
//! `+`, `-`, `@`, a tab or a CR and is no number.

use super::sheet::{self, Sheet};
use super::{GATHERED, digits, pass_on};
use crate::table::{Cell, Face, Survey};
use std::io::{self, Write};

/// Writes the first table for sheets.
pub fn write(survey: &Survey<'_>, _width: usize, out: &mut dyn Write) -> io::Result<()> {
    let bytes = Vec::with_capacity(GATHERED + 4 * 1024);
    let mut cells = Cells { out, bytes, begun: false };
    if let Some(table) = survey.tables(Face::Sheets).first() {
        sheet::fill(table, &mut cells)?;
    }
    cells.out.write_all(&cells.bytes)?;
    cells.out.flush()
}

/// The cells written so far, and the output.
struct Cells<'o> {
    out: &'o mut dyn Write,
    bytes: Vec<u8>,
    /// Whether the row has a cell yet.
    begun: bool,
}

impl Cells<'_> {
    /// Writes the comma before a cell, unless it is the first of its row.
    fn part(&mut self) {
        if std::mem::replace(&mut self.begun, true) {
            self.bytes.push(b',');
        }
    }

    /// Writes a text, quoted where it must be (RFC 4180, section 2, rules 6 and 7).
    fn text(&mut self, text: &str) {
        let marks = |byte| matches!(byte, b'"' | b',' | b'\r' | b'\n');
        if text.bytes().any(marks) {
            self.bytes.push(b'"');
            self.bytes.extend_from_slice(text.replace('"', "\"\"").as_bytes());
            self.bytes.push(b'"');
        } else {
            self.bytes.extend_from_slice(text.as_bytes());
        }
    }
}

impl Sheet for Cells<'_> {
    fn head(&mut self, name: &str) -> io::Result<()> {
        self.put(&name.into())
    }

    fn put(&mut self, cell: &Cell<'_>) -> io::Result<()> {
        self.part();
        match cell {
            Cell::Text(text) if sheet::is_formula(text) => self.text(&format!("'{text}")),
            Cell::Text(text) => self.text(text),
            Cell::Number(number) => digits(*number, &mut self.bytes),
            Cell::Decimal(number) => self.bytes.extend_from_slice(number.words().as_bytes()),
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self) -> io::Result<()> {
        self.bytes.extend_from_slice(b"\r\n");
        self.begun = false;
        pass_on(&mut self.bytes, self.out)
    }
}
