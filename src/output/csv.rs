//! One table as CSV (RFC 4180): a header row, CR LF line ends, UTF-8 without a mark.
//!
//! A cell that a spreadsheet would run as a formula (it begins with `=`, `+`, `-`, `@`, a tab or a CR and is
//! no number) gets a `'` before it. Columns may be added at the end; none moves.

use super::row::{Point, StringRow};
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
        let mut sheet = Sheet::new(out);
        match by {
            By::String => strings(view, &mut sheet)?,
            By::Port => ports(view, &mut sheet)?,
            By::Universe => universes(view, &mut sheet)?,
            By::Controller => controllers(view, &mut sheet)?,
        }
        sheet.flush()
    }
}

/// A table that is being written, cell by cell.
pub(super) struct Sheet<W: Write>(Writer<W>);

impl<W: Write> Sheet<W> {
    /// An empty one.
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

    /// The header row.
    pub(super) fn head(&mut self, names: &[&str]) -> io::Result<()> {
        Ok(self.0.write_record(names)?)
    }

    /// A cell that no spreadsheet runs as a formula.
    pub(super) fn text(&mut self, text: &str) -> io::Result<()> {
        let formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
        if formula && text.parse::<f64>().is_err() {
            Ok(self.0.write_field(format!("'{text}"))?)
        } else {
            Ok(self.0.write_field(text)?)
        }
    }

    fn texts(&mut self, texts: &[Option<&str>]) -> io::Result<()> {
        texts
            .iter()
            .try_for_each(|text| self.text(text.unwrap_or("")))
    }

    fn number(&mut self, number: impl Into<u64>) -> io::Result<()> {
        // The longest u64 has 20 digits; written backwards from the end.
        let mut digits = [0_u8; 20];
        let mut rest: u64 = number.into();
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

    fn maybe(&mut self, number: Option<u32>) -> io::Result<()> {
        match number {
            Some(number) => self.number(number),
            None => self.text(""),
        }
    }

    fn point(&mut self, point: Point) -> io::Result<()> {
        self.number(point.universe)?;
        self.number(point.slot)?;
        self.number(point.channel)
    }

    /// The end of a row.
    pub(super) fn end(&mut self) -> io::Result<()> {
        Ok(self.0.write_record(None::<&[u8]>)?)
    }
}

fn strings<W: Write>(view: &View<'_>, sheet: &mut Sheet<W>) -> io::Result<()> {
    sheet.head(&[
        "prop",
        "instance",
        "string",
        "controller",
        "port",
        "position",
        "nodes",
        "slots",
        "start_universe",
        "start_slot",
        "start_channel",
        "end_universe",
        "end_slot",
        "end_channel",
        "name",
        "label",
        "string_name",
        "node",
        "chip",
        "colour",
        "skips",
        "skip_before",
        "lead_before_mm",
        "receiver",
        "receiver_port",
        "stored",
        "same_as",
    ])?;
    view.strings().try_for_each(|row| string(&row, sheet))
}

fn string<W: Write>(row: &StringRow<'_>, sheet: &mut Sheet<W>) -> io::Result<()> {
    sheet.text(row.prop)?;
    sheet.maybe(row.instance)?;
    sheet.maybe(row.string)?;
    sheet.text(row.controller)?;
    sheet.text(&row.port.0.name())?;
    sheet.number(row.position)?;
    sheet.maybe(row.nodes)?;
    sheet.number(row.slots)?;
    sheet.point(row.start)?;
    sheet.point(row.end)?;
    sheet.text(&row.name)?;
    sheet.texts(&[row.label, row.string_name, row.node, row.chip, row.colour])?;
    sheet.number(row.skips)?;
    sheet.number(row.skip_before)?;
    sheet.text(&row.lead_before_mm.words())?;
    sheet.text(row.receiver.unwrap_or(""))?;
    sheet.maybe(row.receiver_port)?;
    sheet.text(if row.stored { "yes" } else { "no" })?;
    sheet.text(row.same_as.as_deref().unwrap_or(""))?;
    sheet.end()
}

fn ports<W: Write>(view: &View<'_>, sheet: &mut Sheet<W>) -> io::Result<()> {
    sheet.head(&[
        "controller",
        "port",
        "nodes",
        "skipped",
        "limit",
        "start_universe",
        "start_slot",
        "start_channel",
        "end_universe",
        "end_slot",
        "end_channel",
        "limit_in",
        "left",
        "slots",
        "strings",
        "receivers",
    ])?;
    view.ports().try_for_each(|row| {
        sheet.text(row.controller)?;
        sheet.text(&row.port.0.name())?;
        sheet.number(row.nodes)?;
        sheet.number(row.skipped)?;
        sheet.maybe(row.limit)?;
        sheet.point(row.start)?;
        sheet.point(row.end)?;
        sheet.text(row.limit_in)?;
        sheet.maybe(row.left)?;
        sheet.number(row.slots)?;
        sheet.number(row.strings)?;
        sheet.text(&row.receivers.join(" "))?;
        sheet.end()
    })
}

fn universes<W: Write>(view: &View<'_>, sheet: &mut Sheet<W>) -> io::Result<()> {
    sheet.head(&[
        "universe",
        "controller",
        "used",
        "free",
        "address",
        "host",
        "strings",
    ])?;
    view.universes().try_for_each(|row| {
        sheet.number(row.universe)?;
        sheet.text(row.controller)?;
        sheet.number(row.used)?;
        sheet.number(row.free)?;
        sheet.texts(&[row.address.as_deref(), row.host])?;
        sheet.text(&row.strings.join(" "))?;
        sheet.end()
    })
}

fn controllers<W: Write>(view: &View<'_>, sheet: &mut Sheet<W>) -> io::Result<()> {
    sheet.head(&[
        "name",
        "host",
        "input",
        "first_universe",
        "last_universe",
        "universes",
        "label",
        "addressing",
        "first_address",
        "last_address",
        "data_offset",
        "data_from_channel",
        "ports_used",
        "ports",
        "nodes",
        "spare_universes",
        "mbit_per_s",
    ])?;
    view.controllers().try_for_each(|row| {
        sheet.texts(&[Some(row.name), row.host, Some(row.input)])?;
        sheet.maybe(row.universes.first)?;
        sheet.maybe(row.universes.last)?;
        sheet.number(row.universes.count)?;
        sheet.texts(&[row.label, Some(row.addressing)])?;
        sheet.texts(&[row.first_address.as_deref(), row.last_address.as_deref()])?;
        for offset in [row.data_offset, row.data_from_channel] {
            match offset {
                Some(offset) => sheet.number(offset)?,
                None => sheet.text("")?,
            }
        }
        sheet.number(row.ports_used)?;
        sheet.number(row.ports)?;
        sheet.number(row.nodes)?;
        sheet.number(row.spare_universes)?;
        sheet.text(&row.mbit_per_s.words())?;
        sheet.end()
    })
}
