//! Surveys: what a command prints, as tables of columns and rows. Each file makes one table, or the
//! tables of one command.
//!
//! The tables of `tinsel table` are made from a [`View`]; [`BY`] lists them. Rows are made one at a
//! time, so that a hundred thousand strings are never held in memory.

mod controllers;
pub mod fit;
pub mod parts;
mod ports;
pub mod power;
mod props;
pub mod stretch;
mod strings;
mod universes;
mod view;

pub use controllers::ControllerRow;
pub use ports::PortRow;
pub use props::PropRow;
pub use strings::{StringRow, run_words};
pub use universes::{Listener, UniverseRow};
pub use view::View;

use crate::diagnostic::words;
use crate::model::Display;
use crate::table::{Column, Decimal, Face, Part, Row, Survey, Table, columns};
use crate::unit::counted;

/// A table of `tinsel table`: its word after `--by`, and the function that makes it.
pub type By = (&'static str, for<'v> fn(&'v View<'_>) -> Table<'v>);

/// All tables of `tinsel table`, in the order of JSON; the first is what text, csv and html show if
/// none is named.
pub const BY: &[By] = &[
    ("string", strings::table),
    ("port", ports::table),
    ("controller", controllers::table),
    ("universe", universes::table),
    ("prop", props::table),
];

impl Row for Display {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "name" "Its name; empty if it has none." => &*row.name;
            decimal "frame_rate_hz" "Frames a second." => frame_rate(row.frame_rate_mhz);
            number "universe_slots" "Slots in a universe." => row.universe_slots.get();
        }
    }
}

impl View<'_> {
    /// What `tinsel table` prints: the table that a word of [`BY`] names. Without a word, programs
    /// and workbooks get all tables, people the first.
    #[must_use]
    pub fn survey(&self, by: Option<&str>) -> Survey<'_> {
        const UNSEEN: &[Face] = &[Face::Programs, Face::Sheets];
        let display = &self.model.display;
        let mut parts = vec![
            Part::object("display", "What holds for the whole display.", display),
            Part::Words(self.summary()),
        ];
        let named = BY.iter().filter(|(word, _)| by.is_none_or(|by| *word == by));
        parts.extend(named.enumerate().map(|(at, (_, table))| {
            let table = table(self);
            Part::Table(if at == 0 { table } else { table.only(UNSEEN) })
        }));
        Survey { title: "where everything lies".to_owned(), parts }
    }

    /// How large the display is, in words.
    fn summary(&self) -> String {
        let display = &self.model.display;
        let (mut strings, mut nodes, mut fixtures) = (0_u64, 0_u64, 0_u64);
        for id in self.shown() {
            let shape = self.model.shape(id);
            match shape.node {
                Some(_) => strings += 1,
                None => fixtures += 1,
            }
            nodes += u64::from(shape.nodes);
        }
        let mut parts = vec![counted(strings, "string"), counted(nodes, "node")];
        if fixtures > 0 {
            parts.push(counted(fixtures, "fixture"));
        }
        parts.push(format!("{} Hz", frame_rate(display.frame_rate_mhz).words()));
        let slots = counted(display.universe_slots.get(), "slot");
        parts.push(format!("{slots} a universe"));
        format!("{}{}", named(&display.name), parts.join(", "))
    }
}

/// A display's name with a colon, before further words; empty where it has none.
fn named(name: &str) -> String {
    match name {
        "" => String::new(),
        name => format!("{}: ", words::shown(name)),
    }
}

/// Frames a second.
pub(crate) fn frame_rate(millihertz: u64) -> Decimal {
    Decimal::new(millihertz, 1_000)
}

#[cfg(test)]
mod tests;
