//! All tables as one workbook: a sheet each for strings, ports, universes and controllers.
//!
//! The columns are those of csv. Numbers are numbers; text is stored as text, which no spreadsheet runs, and
//! what looks like a formula is marked as text besides, so that it stays text when its cell is edited. The
//! same display gives the same bytes: the date within is always the same.

use super::row::Figure;
use super::sheet::{self, Sheet};
use super::{By, View};
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};
use std::io;

/// The most characters that a cell may hold (ECMA-376 leaves it open; common programs take no more).
const MOST_CHARACTERS: usize = 32_767;
/// A workbook is made in memory, about 200 bytes a cell, so it has no more rows; csv has no end.
const MOST_ROWS: usize = 100_000;
/// The narrowest and widest column, in characters.
const WIDTHS: (usize, usize) = (6, 48);

/// The name of a table's sheet.
fn name(by: By) -> &'static str {
    match by {
        By::String => "strings",
        By::Port => "ports",
        By::Universe => "universes",
        By::Controller => "controllers",
    }
}

/// The workbook as bytes.
///
/// # Errors
/// More than [`MOST_ROWS`] strings.
pub fn render(view: &View<'_>) -> io::Result<Vec<u8>> {
    if view.strings().nth(MOST_ROWS).is_some() {
        return Err(io::Error::other(format!(
            "a workbook of more than {MOST_ROWS} strings would fill the memory; take csv"
        )));
    }
    let mut book = Workbook::new();
    let date = ExcelDateTime::from_ymd(2000, 1, 1).map_err(fault)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&date));
    for by in By::ALL {
        let mut cells = Cells::new(book.add_worksheet());
        cells.page.set_name(name(by)).map_err(fault)?;
        sheet::fill(view, by, &mut cells)?;
        cells.finish()?;
    }
    book.save_to_buffer().map_err(fault)
}

fn fault(error: XlsxError) -> io::Error {
    io::Error::other(error)
}

/// A sheet and where its next cell stands.
struct Cells<'b> {
    page: &'b mut Worksheet,
    row: u32,
    column: u16,
    /// The widest text of each column, in characters.
    widths: Vec<usize>,
    bold: Format,
    quoted: Format,
}

impl<'b> Cells<'b> {
    fn new(page: &'b mut Worksheet) -> Self {
        Self {
            page,
            row: 0,
            column: 0,
            widths: Vec::new(),
            bold: Format::new().set_bold(),
            quoted: Format::new().set_quote_prefix(),
        }
    }

    fn next(&mut self, width: usize) {
        let at = usize::from(self.column);
        if self.widths.len() <= at {
            self.widths.resize(at + 1, WIDTHS.0);
        }
        if let Some(widest) = self.widths.get_mut(at) {
            *widest = width.clamp(*widest, WIDTHS.1);
        }
        self.column += 1;
    }

    /// Widths, a header that stays when the rest is scrolled, and a filter on it.
    fn finish(self) -> io::Result<()> {
        for (column, width) in (0..).zip(&self.widths) {
            let width = u32::try_from(*width + 2).unwrap_or(u32::MAX);
            self.page.set_column_width(column, width).map_err(fault)?;
        }
        let last = u16::try_from(self.widths.len().saturating_sub(1)).unwrap_or(0);
        self.page.set_freeze_panes(1, 0).map_err(fault)?;
        let bottom = self.row.saturating_sub(1);
        self.page.autofilter(0, 0, bottom, last).map_err(fault)?;
        Ok(())
    }
}

impl Sheet for Cells<'_> {
    fn head(&mut self, names: &[&str]) -> io::Result<()> {
        for name in names {
            let written =
                self.page
                    .write_string_with_format(self.row, self.column, *name, &self.bold);
            written.map_err(fault)?;
            self.next(name.len());
        }
        self.end()
    }

    fn text(&mut self, text: &str) -> io::Result<()> {
        let (row, column) = (self.row, self.column);
        let cut: String = text.chars().take(MOST_CHARACTERS).collect();
        self.next(cut.chars().count());
        if cut.is_empty() {
            return Ok(());
        }
        let written = if sheet::is_formula(&cut) {
            self.page
                .write_string_with_format(row, column, cut, &self.quoted)
        } else {
            self.page.write_string(row, column, cut)
        };
        written.map(|_| ()).map_err(fault)
    }

    fn number(&mut self, number: u64) -> io::Result<()> {
        // No channel comes near the 2^53 up to which a double holds every whole number.
        let written = self.page.write_number(self.row, self.column, number as f64);
        written.map_err(fault)?;
        self.next(0);
        Ok(())
    }

    fn figure(&mut self, figure: Figure) -> io::Result<()> {
        let value = figure.value as f64 / f64::from(figure.per.max(1));
        let written = self.page.write_number(self.row, self.column, value);
        written.map_err(fault)?;
        self.next(0);
        Ok(())
    }

    fn end(&mut self) -> io::Result<()> {
        self.row += 1;
        self.column = 0;
        Ok(())
    }
}
