//! All tables of a survey as one workbook, a sheet each.
//!
//! The columns are those of csv. Numbers are numbers. Text is stored as text, which no spreadsheet
//! runs; text that looks like a formula is also marked as text, so that it stays text when its cell
//! is edited. The same display gives the same bytes, so the date in the file is always the same.

use super::sheet::{self, Sheet};
use crate::table::{Cell, Face, Survey};
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};
use std::io::{self, Write};

/// The most characters in a cell (ECMA-376 leaves it open; common programs take no more).
const MOST_CHARACTERS: usize = 32_767;
/// The most rows of a sheet, since a workbook is made in memory, about 200 bytes a cell; csv has no
/// limit.
const MOST_ROWS: u32 = 100_000;
/// The narrowest and widest column, in characters.
const WIDTHS: (usize, usize) = (6, 48);

/// Writes the workbook.
pub fn write(survey: &Survey<'_>, _width: usize, out: &mut dyn Write) -> io::Result<()> {
    let mut book = Workbook::new();
    let date = ExcelDateTime::from_ymd(2000, 1, 1).map_err(fault)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&date));
    for table in survey.tables(Face::Sheets) {
        let mut cells = Cells::new(book.add_worksheet());
        cells.page.set_name(table.name).map_err(fault)?;
        sheet::fill(table, &mut cells)?;
        cells.finish()?;
    }
    out.write_all(&book.save_to_buffer().map_err(fault)?)
}

fn fault(error: XlsxError) -> io::Error {
    io::Error::other(error)
}

/// A sheet and the place of its next cell.
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

    /// Sets the widths of columns, a header that stays while the rest is scrolled, and a filter on
    /// it.
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
    fn head(&mut self, name: &str) -> io::Result<()> {
        let (row, column) = (self.row, self.column);
        self.page.write_string_with_format(row, column, name, &self.bold).map_err(fault)?;
        self.next(name.len());
        Ok(())
    }

    fn put(&mut self, cell: &Cell<'_>) -> io::Result<()> {
        let (row, column) = (self.row, self.column);
        let mut width = 0;
        let written = match cell {
            Cell::Text(text) if !text.is_empty() => {
                let cut: String = text.chars().take(MOST_CHARACTERS).collect();
                width = cut.chars().count();
                if sheet::is_formula(&cut) {
                    self.page.write_string_with_format(row, column, cut, &self.quoted)
                } else {
                    self.page.write_string(row, column, cut)
                }
            }
            // No channel comes near 2^53, up to which a double holds every whole number.
            Cell::Number(number) => self.page.write_number(row, column, *number as f64),
            Cell::Decimal(number) => {
                let value = number.value as f64 / f64::from(number.per.max(1));
                self.page.write_number(row, column, value)
            }
            _ => {
                self.next(0);
                return Ok(());
            }
        };
        written.map_err(fault)?;
        self.next(width);
        Ok(())
    }

    fn end(&mut self) -> io::Result<()> {
        self.row += 1;
        self.column = 0;
        if self.row > MOST_ROWS + 1 {
            let why =
                format!("a workbook of more than {MOST_ROWS} rows would fill the memory; take csv");
            return Err(io::Error::other(why));
        }
        Ok(())
    }
}
