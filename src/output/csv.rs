//! One table as CSV (RFC 4180): a header row, CR LF line ends, UTF-8 without a mark.
//!
//! A cell that a spreadsheet would run as a formula (it begins with `=`, `+`, `-`, `@`, a tab or a CR and is
//! no number) gets a `'` before it.

use super::row::Figure;
use super::sheet::{self, Sheet};
use super::{By, Output, View};
use ::csv::{Terminator, Writer, WriterBuilder};
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

/// Cells as they are written.
pub(super) struct Cells<W: Write>(Writer<W>);

impl<W: Write> Cells<W> {
    /// None yet.
    pub(super) fn new(out: W) -> Self {
        Self(
            WriterBuilder::new()
                .terminator(Terminator::CRLF)
                .from_writer(out),
        )
    }

    /// Writes out what is left.
    pub(super) fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

impl<W: Write> Sheet for Cells<W> {
    fn head(&mut self, names: &[&str]) -> io::Result<()> {
        Ok(self.0.write_record(names)?)
    }

    fn text(&mut self, text: &str) -> io::Result<()> {
        if sheet::is_formula(text) {
            Ok(self.0.write_field(format!("'{text}"))?)
        } else {
            Ok(self.0.write_field(text)?)
        }
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
        Ok(self.0.write_field(digits.get(from..).unwrap_or(&[]))?)
    }

    fn figure(&mut self, figure: Figure) -> io::Result<()> {
        Ok(self.0.write_field(figure.words())?)
    }

    fn end(&mut self) -> io::Result<()> {
        Ok(self.0.write_record(None::<&[u8]>)?)
    }
}
