//! Formats: each has a file and a line in [`ALL`]. A format writes any survey and knows no table.
//!
//! `svg`, `dot` and `mvr` write a picture or a file of one subject each, and no tables.

mod csv;
mod data;
pub mod dot;
mod html;
pub mod mvr;
pub mod schema;
pub mod sheet;
pub mod svg;
mod text;
mod xlsx;

pub use html::table as html_table;

use crate::graph::Graph;
use crate::table::Survey;
use std::io;

/// Writes a survey; the number is the width of a person's terminal in columns.
pub type Write = fn(&Survey<'_>, usize, &mut dyn io::Write) -> io::Result<()>;

/// All formats by their words after `--format`, which are also the endings of their files. The
/// first is the default.
pub const ALL: &[(&str, Write)] = &[
    ("text", text::write),
    ("csv", csv::write),
    ("json", data::json),
    ("yaml", data::yaml),
    ("xlsx", xlsx::write),
    ("html", html::write),
];

/// Formats that cannot be read at a terminal.
pub const BINARY: [&str; 2] = ["xlsx", "mvr"];

/// The format of a word.
#[must_use]
pub fn find(name: &str) -> Option<Write> {
    ALL.iter().find(|(word, _)| *word == name).map(|(_, write)| *write)
}

/// Whether each vertex of a graph is shown: all of them, or only those in `shown`.
fn mask(graph: &Graph, shown: Option<&[usize]>) -> Vec<bool> {
    let mut mask = vec![shown.is_none(); graph.nodes().count()];
    for at in shown.unwrap_or(&[]) {
        if let Some(is_shown) = mask.get_mut(*at) {
            *is_shown = true;
        }
    }
    mask
}

/// How many bytes are gathered before they are written.
const GATHERED: usize = 64 * 1024;

/// Writes the gathered bytes once there are enough of them.
fn pass_on(bytes: &mut Vec<u8>, out: &mut dyn io::Write) -> io::Result<()> {
    if bytes.len() >= GATHERED {
        out.write_all(bytes)?;
        bytes.clear();
    }
    Ok(())
}

/// Adds a number in digits.
fn digits(number: u64, bytes: &mut Vec<u8>) {
    // The longest u64 has 20 digits. They are written from the end backwards.
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
    bytes.extend_from_slice(digits.get(from..).unwrap_or(&[]));
}

#[cfg(test)]
mod tests;
