//! The outputs that a row names, by its own cell or by what it comes after.

use super::{Stage, remarked};
use crate::import::cells::{self, SheetPort};
use crate::import::headings::Kind;
use crate::import::sheet::SheetRow;
use crate::import::{Grade, boxes};
use crate::model::Output;

impl Stage<'_> {
    /// The outputs of a row.
    pub(super) fn outputs(&mut self, row: &SheetRow) -> Option<Vec<SheetPort>> {
        let marked = |text: &&str| super::ditto::is_mark(text);
        let Some(text) = self.columns.cell(row, Kind::Port).filter(|text| !marked(text)) else {
            let own = self.own_port.take().or_else(|| self.port.clone());
            return own.or_else(|| self.port_before(row));
        };
        let known = |name: &str| self.known.contains_key(&boxes::squeezed(name));
        let letters = |name: &str| name.chars().all(char::is_alphabetic);
        let ports = cells::ports_of_box(text, &known).or_else(|| cells::ports(text));
        // Where no column names a box, its letter stands before the port: `C12`.
        let unnamed = !self.columns.has(Kind::Controller);
        let ports = ports.or_else(|| cells::ports_of_box(text, &letters).filter(|_| unnamed));
        // In a table of DMX fixtures a number is a DMX output.
        let dmx = |(name, output)| match output {
            Output::Pixel(number) if self.dmx => (name, Output::Dmx(number)),
            _ => (name, output),
        };
        let ports = ports.map(|ports| ports.into_iter().map(dmx).collect::<Vec<_>>());
        if ports.is_none() {
            let what = "no port that is understood; the port is left open";
            self.note((row, Kind::Port), what, Grade::Lost);
        }
        ports
    }

    /// The output of a row without a port that says which prop it comes after: `after Cane 1`.
    fn port_before(&mut self, row: &SheetRow) -> Option<Vec<SheetPort>> {
        let own = self.columns.cell(row, Kind::Port).is_some();
        let mut said = self.remarks_of(row).filter_map(|(_, text)| remarked::after(text));
        let before = said.find_map(|name| self.hung.get(&name).cloned());
        drop(said);
        match &before {
            Some((name, output)) => {
                let name = name.as_deref().unwrap_or("");
                let what = format!(
                    "taken as port {} of `{name}`, by what the row comes after",
                    output.name()
                );
                self.note((row, Kind::Port), what, Grade::Noted);
            }
            None if own => {
                let what = "no port stands above; the port is left open";
                self.note((row, Kind::Port), what, Grade::Lost);
            }
            None => {}
        }
        before.map(|port| vec![port])
    }

    /// Remembers the box and the port of a prop, for rows that come after it.
    pub(super) fn note_port(&mut self, written: &str, prop: usize, last: Option<&(usize, usize)>) {
        let line = last.and_then(|place| self.found.line((prop, *place)));
        let board = line.and_then(|line| self.found.boxes.get(line.controller?));
        if let Some((board, output)) = board.zip(line.and_then(|line| line.output)) {
            let name = board.label.as_ref().unwrap_or(&board.name).clone();
            self.hung.insert(written.to_lowercase(), (Some(name), output));
        }
    }
}
