//! What becomes of the remarks of a row and of cells that are struck out.

use super::{Stage, remarked};
use crate::import::headings::{Kind, plain};
use crate::import::sheet::SheetRow;
use crate::import::{Grade, Note};

impl Stage<'_> {
    /// The cells of a row that are remarks, with their columns.
    pub(super) fn remarks_of<'r>(
        &self,
        row: &'r SheetRow,
    ) -> impl Iterator<Item = (usize, &'r str)> {
        let is = |at: usize| matches!(self.columns.kind_at(at), None | Some(Kind::Note));
        row.filled().filter(move |(at, _)| is(*at)).map(|(at, cell)| (at, cell.text.as_str()))
    }

    /// Whether a row is not put up: by its name, by a remark, or because its name is struck out.
    /// Notes what says so, or that other cells are struck out.
    pub(super) fn is_idle(&mut self, row: &SheetRow) -> bool {
        let struck = |at: usize| row.cells.get(at).is_some_and(|cell| cell.struck);
        let name = self.columns.cell(row, Kind::Name).unwrap_or("");
        let said = self.remarks_of(row).find(|(_, text)| remarked::is_retired(text));
        let at = said.map(|(at, _)| at);
        let by_name = remarked::is_retired_name(name);
        let by_line = self.columns.at(Kind::Name).is_some_and(struck);
        let idle = at.is_some() || by_name || by_line;
        let what = match (at, by_name, by_line) {
            (Some(_), ..) => "taken as `stored`, by this remark",
            (_, true, _) => "taken as `stored`, by its name",
            (_, _, true) => "taken as `stored`, since it is struck out",
            _ => "struck out in part; read as it stands",
        };
        let at = at.or(self.columns.at(Kind::Name).filter(|_| idle));
        let at = at.or_else(|| row.filled().find(|(_, cell)| cell.struck).map(|(at, _)| at));
        if let Some(at) = at {
            let grade = if idle { Grade::Noted } else { Grade::Lost };
            self.note_at(row, at, what, grade);
        }
        idle
    }

    /// The first value that `read` finds in a row's remarks.
    pub(super) fn remark<T>(&self, row: &SheetRow, read: &dyn Fn(&str) -> Option<T>) -> Option<T> {
        self.remarks_of(row).find_map(|(_, text)| read(text))
    }

    /// Notes what became of those remarks of a row that speak of set-up.
    pub(super) fn note_remarks(&mut self, row: &SheetRow) {
        const LEVELS: [&str; 4] = ["bright", "brightness", "level", "dim"];
        let all: Vec<(usize, String)> =
            self.remarks_of(row).map(|(at, text)| (at, text.to_owned())).collect();
        for (at, text) in all {
            if LEVELS.contains(&plain(self.columns.heading_at(at)).as_str()) {
                continue;
            }
            let all = [
                (Kind::Skip, "skip", remarked::dark(&text).map(|nodes| nodes.to_string())),
                (Kind::Enters, "enters", remarked::enters(&text)),
                (Kind::Colour, "colour", remarked::colour(&text)),
            ];
            // A column of its own overrides a remark.
            let (open, said): (Vec<_>, Vec<_>) = all
                .into_iter()
                .filter_map(|(kind, word, value)| Some((kind, word, value?)))
                .partition(|(kind, ..)| self.columns.cell(row, *kind).is_none());
            let differs = said.iter().any(|(kind, _, value)| {
                let own = self.columns.cell(row, *kind).unwrap_or("");
                !own.eq_ignore_ascii_case(value)
            });
            if differs {
                let what = "another column of the row says otherwise; kept as a comment";
                self.note_at(row, at, what, Grade::Wrong);
            } else if !open.is_empty() {
                let open: Vec<String> =
                    open.iter().map(|(_, word, value)| format!("`{word} {value}`")).collect();
                let what = format!("taken as {}", open.join(" and "));
                self.note_at(row, at, &what, Grade::Noted);
            } else if said.is_empty()
                && (remarked::is_setup(&text) || self.is_other_order(row, &text))
            {
                let what = "speaks of set-up and is not understood; kept as a comment";
                self.note_at(row, at, what, Grade::Lost);
            }
        }
    }

    /// Whether a remark names an order of colours other than that of its row's column.
    fn is_other_order(&self, row: &SheetRow, text: &str) -> bool {
        let own = self.columns.cell(row, Kind::Colour).unwrap_or("");
        remarked::order_in(text).is_some_and(|order| !order.eq_ignore_ascii_case(own))
    }

    /// A note on a cell by its column.
    fn note_at(&mut self, row: &SheetRow, at: usize, what: &str, grade: Grade) {
        self.notes.push(Note {
            row: Some(row.number),
            column: self.columns.heading_at(at).to_owned(),
            text: row.text(at).to_owned(),
            ..Note::of_table(what.to_owned(), grade)
        });
    }
}
