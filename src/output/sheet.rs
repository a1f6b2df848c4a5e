//! The tables as cells, for every format that is a sheet: a header row, then a row for each thing.
//!
//! Columns may be added at the end; none moves, changes its name or its meaning.

use super::row::{Figure, Point, StringRow};
use super::{By, View};
use std::io;

/// A table that is being written, cell by cell.
pub trait Sheet {
    /// The header row.
    ///
    /// # Errors
    /// What the writer says; so for all of these.
    fn head(&mut self, names: &[&str]) -> io::Result<()>;

    /// A cell of text, which no program takes for a formula.
    ///
    /// # Errors
    /// See `head`.
    fn text(&mut self, text: &str) -> io::Result<()>;

    /// A cell with a whole number.
    ///
    /// # Errors
    /// See `head`.
    fn number(&mut self, number: u64) -> io::Result<()>;

    /// A cell with a decimal, as `Figure` writes it.
    ///
    /// # Errors
    /// See `head`.
    fn figure(&mut self, figure: Figure) -> io::Result<()>;

    /// The end of a row.
    ///
    /// # Errors
    /// See `head`.
    fn end(&mut self) -> io::Result<()>;

    /// A number, or an empty cell.
    ///
    /// # Errors
    /// See `head`.
    fn maybe(&mut self, number: Option<u32>) -> io::Result<()> {
        match number {
            Some(number) => self.number(number.into()),
            None => self.text(""),
        }
    }

    /// Cells of text, empty where there is none.
    ///
    /// # Errors
    /// See `head`.
    fn texts(&mut self, texts: &[Option<&str>]) -> io::Result<()> {
        texts
            .iter()
            .try_for_each(|text| self.text(text.unwrap_or("")))
    }

    /// Universe, slot and channel.
    ///
    /// # Errors
    /// See `head`.
    fn point(&mut self, point: Point) -> io::Result<()> {
        self.number(point.universe.into())?;
        self.number(point.slot.into())?;
        self.number(point.channel)
    }
}

/// Whether a spreadsheet that reads a text by its look would run it as a formula.
#[must_use]
pub fn is_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r']) && text.parse::<f64>().is_err()
}

/// Writes one of the tables.
///
/// # Errors
/// What the sheet says.
pub fn fill(view: &View<'_>, by: By, sheet: &mut impl Sheet) -> io::Result<()> {
    match by {
        By::String => strings(view, sheet),
        By::Port => ports(view, sheet),
        By::Universe => universes(view, sheet),
        By::Controller => controllers(view, sheet),
    }
}

fn strings(view: &View<'_>, sheet: &mut impl Sheet) -> io::Result<()> {
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

fn string(row: &StringRow<'_>, sheet: &mut impl Sheet) -> io::Result<()> {
    sheet.text(row.prop)?;
    sheet.maybe(row.instance)?;
    sheet.maybe(row.string)?;
    sheet.text(row.controller)?;
    sheet.text(&row.port.0.name())?;
    sheet.number(row.position.into())?;
    sheet.maybe(row.nodes)?;
    sheet.number(row.slots.into())?;
    sheet.point(row.start)?;
    sheet.point(row.end)?;
    sheet.text(&row.name)?;
    sheet.texts(&[row.label, row.string_name, row.node, row.chip, row.colour])?;
    sheet.number(row.skips.into())?;
    sheet.number(row.skip_before.into())?;
    sheet.figure(row.lead_before_mm)?;
    sheet.text(row.receiver.unwrap_or(""))?;
    sheet.maybe(row.receiver_port)?;
    sheet.text(if row.stored { "yes" } else { "no" })?;
    sheet.text(row.same_as.as_deref().unwrap_or(""))?;
    sheet.end()
}

fn ports(view: &View<'_>, sheet: &mut impl Sheet) -> io::Result<()> {
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
        sheet.number(row.nodes.into())?;
        sheet.number(row.skipped.into())?;
        sheet.maybe(row.limit)?;
        sheet.point(row.start)?;
        sheet.point(row.end)?;
        sheet.text(row.limit_in)?;
        sheet.maybe(row.left)?;
        sheet.number(row.slots.into())?;
        sheet.number(row.strings.into())?;
        sheet.text(&row.receivers.join(" "))?;
        sheet.end()
    })
}

fn universes(view: &View<'_>, sheet: &mut impl Sheet) -> io::Result<()> {
    sheet.head(&[
        "universe",
        "controller",
        "used",
        "free",
        "address",
        "host",
        "strings",
        "also",
    ])?;
    view.universes().try_for_each(|row| {
        sheet.number(row.universe.into())?;
        sheet.text(row.controller)?;
        sheet.number(row.used.into())?;
        sheet.number(row.free.into())?;
        sheet.texts(&[row.address.as_deref(), row.host])?;
        sheet.text(&row.strings.join(" "))?;
        let also: Vec<&str> = row.also.iter().map(|other| other.controller).collect();
        sheet.text(&also.join(" "))?;
        sheet.end()
    })
}

fn controllers(view: &View<'_>, sheet: &mut impl Sheet) -> io::Result<()> {
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
        "universe_slots",
        "priority",
        "sync_universe",
    ])?;
    view.controllers().try_for_each(|row| {
        sheet.texts(&[Some(row.name), row.host, Some(row.input)])?;
        sheet.maybe(row.universes.first)?;
        sheet.maybe(row.universes.last)?;
        sheet.number(row.universes.count.into())?;
        sheet.texts(&[row.label, Some(row.addressing)])?;
        sheet.texts(&[row.first_address.as_deref(), row.last_address.as_deref()])?;
        for offset in [row.data_offset, row.data_from_channel] {
            match offset {
                Some(offset) => sheet.number(offset)?,
                None => sheet.text("")?,
            }
        }
        sheet.number(row.ports_used.into())?;
        sheet.number(row.ports.into())?;
        sheet.number(row.nodes)?;
        sheet.number(row.spare_universes.into())?;
        sheet.figure(row.mbit_per_s)?;
        sheet.number(row.universe_slots.into())?;
        sheet.maybe(row.priority)?;
        sheet.maybe(row.sync_universe)?;
        sheet.end()
    })
}
