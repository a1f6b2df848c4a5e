//! Tables of a compiled display: one file a format, one line in [`ALL`].
//!
//! A format gets a [`View`], which makes its rows one at a time, so that a hundred thousand strings are
//! never held as text. `csv` and `text` show the table that `--by` names; `json` and `yaml` hold all tables.

mod csv;
pub mod dot;
pub mod fit;
mod json;
pub mod mvr;
pub mod parts;
pub mod power;
pub mod schema;
pub mod sheet;
pub mod stretch;
pub mod svg;
mod text;
pub mod xlsx;
mod xml;
mod yaml;

pub mod row;
pub mod view;

pub use view::View;

use std::io::{self, Write};

/// Which table.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum By {
    /// A row a string.
    String,
    /// A row a used port.
    Port,
    /// A row a universe in use.
    Universe,
    /// A row a controller.
    Controller,
}

impl By {
    /// All of them; the first is the default.
    pub const ALL: [Self; 4] = [Self::String, Self::Port, Self::Universe, Self::Controller];

    /// Its word behind `--by`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::String => "string",
            Self::Port => "port",
            Self::Universe => "universe",
            Self::Controller => "controller",
        }
    }
}

/// A format of tables.
pub trait Output: Sync {
    /// Its word behind `--format`.
    fn name(&self) -> &'static str;

    /// Writes a table; `width` is how many columns a person's terminal has.
    ///
    /// # Errors
    /// What the writer says.
    fn write(&self, view: &View<'_>, by: By, width: usize, out: &mut dyn Write) -> io::Result<()>;
}

/// All formats; the first is the default.
pub const ALL: &[&dyn Output] = &[&text::Text, &csv::Csv, &json::Json, &yaml::Yaml];

/// The format of a word.
#[must_use]
pub fn find(name: &str) -> Option<&'static dyn Output> {
    ALL.iter().find(|output| output.name() == name).copied()
}

#[cfg(test)]
mod tests;
