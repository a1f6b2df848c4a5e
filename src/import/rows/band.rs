//! What holds for several rows: a box that a row of words, the title or the sheet's name states,
//! and a port in a line of its own.

use super::Stage;
use crate::import::cells::{self, SheetPort};
use crate::import::columns;
use crate::import::headings::Kind;
use crate::import::sheet::SheetRow;
use crate::import::{Grade, Note, Sheet, boxes};
use std::collections::BTreeSet;

/// The port at the beginning of a line of its own: `PORT 3 (left of the door)`.
fn port(text: &str) -> Option<Vec<SheetPort>> {
    const WORDS: [&str; 5] = ["port", "out", "output", "plug", "socket"];
    let (word, rest) = text.trim().split_once(' ')?;
    let digits = rest.trim_start();
    let number =
        digits.split(|c: char| !c.is_ascii_digit()).next().filter(|one| !one.is_empty())?;
    WORDS.contains(&word.to_lowercase().as_str()).then(|| cells::ports(number))?
}

/// Whether sheets without a column of boxes are one box each: they are if two use the same port.
pub(super) fn by_sheet(tables: &[Sheet]) -> bool {
    let mut seen = BTreeSet::new();
    let mut same = false;
    let boxed = |table: &Sheet| table.sections.iter().any(|one| one.columns.has(Kind::Controller));
    for table in tables.iter().filter(|table| !table.name.is_empty() && !boxed(table)) {
        let mut own = BTreeSet::new();
        for section in &table.sections {
            let rows = section.rows.iter().filter_map(|at| table.rows.get(*at));
            own.extend(rows.filter_map(|row| section.columns.cell(row, Kind::Port)));
        }
        same |= own.iter().any(|port| seen.contains(port));
        seen.append(&mut own);
    }
    same
}

impl<'a> Stage<'a> {
    /// The box that a cell means: by a form that a sheet of boxes has, or as the only box whose
    /// name has all its words.
    pub(super) fn known_box(&self, text: &str) -> Option<&'a str> {
        let words = |text: &str| -> BTreeSet<String> {
            let lower = text.to_lowercase();
            let words = lower.split(|c: char| !c.is_alphanumeric()).map(str::to_owned);
            words.filter(|word| !matches!(&**word, "" | "box" | "controller")).collect()
        };
        let own = words(text);
        let by_words = || {
            let all: BTreeSet<&'a str> = self.known.values().map(String::as_str).collect();
            let mut some = all.into_iter().filter(|name| own.is_subset(&words(name)));
            some.next().filter(|_| some.next().is_none() && !own.is_empty())
        };
        self.known.get(&boxes::squeezed(text)).map(String::as_str).or_else(by_words)
    }

    /// Splits the port off a cell of boxes (`E4`), where no other cell has one. Returns the rest.
    pub(super) fn box_and_port(&mut self, row: &SheetRow, text: String) -> String {
        self.own_port = None;
        if self.columns.cell(row, Kind::Port).is_some() || self.known_box(&text).is_some() {
            return text;
        }
        let ports = cells::ports_of_box(&text, &|name| self.known_box(name).is_some());
        let name = ports.as_ref().and_then(|ports| ports.first()?.0.clone());
        let bare =
            |ports: Vec<SheetPort>| ports.into_iter().map(|(_, output)| (None, output)).collect();
        self.own_port = ports.map(bare);
        name.unwrap_or(text)
    }

    /// Finds the box of a whole sheet, by its name or by the words above its header.
    pub(super) fn box_of_sheet(&mut self, table: &Sheet, by_sheet: bool) {
        let ported = |section: &columns::Block| !section.columns.has(Kind::Controller);
        let first = table.sections.first().map_or(0, |section| section.columns.header);
        let title = table.rows.get(..first).and_then(|rows| rows.first());
        let title = title.map_or_else(String::new, |row| row.text(0).to_owned());
        let own = by_sheet.then_some(&*table.name).filter(|name| !name.is_empty());
        self.band = [&table.name, &title]
            .into_iter()
            .find_map(|text| boxes::named_in(self.known, text, &[]))
            .or(own)
            .filter(|_| table.sections.iter().all(ported))
            .map(str::to_owned);
        self.port = None;
        if let Some(band) = &self.band {
            let what = format!("no column names its controller; taken as `{band}`, by its name");
            self.notes.push(Note::of_table(what, Grade::Noted));
        }
    }

    /// Takes the box and the port in a row of words; they hold for the rows below it.
    pub(super) fn band_of(&mut self, row: &SheetRow) {
        let words = row.filled().map(|(_, cell)| cell.text.as_str()).next().unwrap_or("");
        self.port = port(words);
        let Some(name) = boxes::named_in(self.known, words, &[]) else { return };
        if self.columns.has(Kind::Controller) {
            self.carried.insert(Kind::Controller, name.to_owned());
        } else {
            self.band = Some(name.to_owned());
        }
    }

    /// Whether a row is a line of its own that names a port: it has nothing else but remarks.
    pub(super) fn is_port_line(&self, row: &SheetRow) -> bool {
        let remark = |at: usize| matches!(self.columns.kind_at(at), None | Some(Kind::Note));
        let mut cells = row.filled();
        let first = cells.next().is_some_and(|(_, cell)| port(&cell.text).is_some());
        first && !self.columns.has(Kind::Port) && cells.all(|(at, _)| remark(at))
    }
}
