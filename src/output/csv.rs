//! One table as CSV (RFC 4180): a header row, CR LF line ends, UTF-8 without a mark.
//!
//! A cell that a spreadsheet would run as a formula (it begins with `=`, `+`, `-`, `@`, a tab or a CR and is
//! no number) gets a `'` before it.

use super::row::Figure;
use super::sheet::{self, Sheet};
use super::{By, Output, View};
use std::io::{self, Write};

/// The format.
pub struct Csv;

impl Output for Csv {
    fn name(&self) -> &'static str {
        "csv"
    }

    fn write(&self, view: &View<'_>, by: By, _width: usize, out: &mut dyn Write) -> io::Result<()> {
        let mut sheet = Cells::new(out);
        sheet::fill(view, by, &mut sheet)?;
        sheet.flush()
    }
}

/// Bytes that are gathered before they are written.
const GATHERED: usize = 64 * 1024;

/// Cells as they are written.
pub(super) struct Cells<W: Write> {
    out: W,
    gathered: Vec<u8>,
    /// Whether the row has a cell yet.
    begun: bool,
}

impl<W: Write> Cells<W> {
    /// None yet.
    pub(super) fn new(out: W) -> Self {
        Self {
            out,
            gathered: Vec::with_capacity(GATHERED + 4 * 1024),
            begun: false,
        }
    }

    /// Writes out what is left.
    pub(super) fn flush(&mut self) -> io::Result<()> {
        self.out.write_all(&self.gathered)?;
        self.gathered.clear();
        self.out.flush()
    }

    /// The comma between two cells.
    fn part(&mut self) {
        if std::mem::replace(&mut self.begun, true) {
            self.gathered.push(b',');
        }
    }

    /// A cell, quoted where it must be (RFC 4180, section 2, rules 6 and 7).
    fn cell(&mut self, text: &str) {
        self.part();
        let marks = |byte| matches!(byte, b'"' | b',' | b'\r' | b'\n');
        if !text.bytes().any(marks) {
            self.gathered.extend_from_slice(text.as_bytes());
            return;
        }
        self.gathered.push(b'"');
        for byte in text.bytes() {
            if byte == b'"' {
                self.gathered.push(b'"');
            }
            self.gathered.push(byte);
        }
        self.gathered.push(b'"');
    }
}

impl<W: Write> Sheet for Cells<W> {
    fn head(&mut self, names: &[&str]) -> io::Result<()> {
        names.iter().for_each(|name| self.cell(name));
        self.end()
    }

    fn text(&mut self, text: &str) -> io::Result<()> {
        if sheet::is_formula(text) {
            self.cell(&format!("'{text}"));
        } else {
            self.cell(text);
        }
        Ok(())
    }

    fn number(&mut self, number: u64) -> io::Result<()> {
        // The longest u64 has 20 digits; written backwards from the end.
        let mut digits = [0_u8; 20];
        let mut rest = number;
        let mut from = digits.len();
        for (at, digit) in digits.iter_mut().enumerate().rev() {
            *digit = b'0' + (rest % 10) as u8;
            rest /= 10;
            from = at;
            if rest == 0 {
                break;
            }
        }
        self.part();
        self.gathered
            .extend_from_slice(digits.get(from..).unwrap_or(&[]));
        Ok(())
    }

    fn figure(&mut self, figure: Figure) -> io::Result<()> {
        self.cell(&figure.words());
        Ok(())
    }

    fn end(&mut self) -> io::Result<()> {
        self.gathered.extend_from_slice(b"\r\n");
        self.begun = false;
        if self.gathered.len() < GATHERED {
            return Ok(());
        }
        self.out.write_all(&self.gathered)?;
        self.gathered.clear();
        Ok(())
    }
}
