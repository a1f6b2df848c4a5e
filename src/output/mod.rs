//! Formats: one file each, one line in [`ALL`]. A format writes any survey and knows no table.
//!
//! `svg`, `dot` and `mvr` are pictures and files of one subject each, and no tables.

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

use crate::table::Survey;
use std::io;

/// What writes a survey; the number is how many columns a person's terminal has.
pub type Write = fn(&Survey<'_>, usize, &mut dyn io::Write) -> io::Result<()>;

/// All formats by their words after `--format`, which are the endings of their files; the first is
/// the default.
pub const ALL: &[(&str, Write)] = &[
    ("text", text::write),
    ("csv", csv::write),
    ("json", data::json),
    ("yaml", data::yaml),
    ("xlsx", xlsx::write),
    ("html", html::write),
];

/// Formats that are nothing to read at a terminal.
pub const BINARY: [&str; 2] = ["xlsx", "mvr"];

/// The format of a word.
#[must_use]
pub fn find(name: &str) -> Option<Write> {
    ALL.iter().find(|(word, _)| *word == name).map(|(_, write)| *write)
}

/// Bytes that are gathered before they are written.
const GATHERED: usize = 64 * 1024;

/// Writes what has been gathered, once it is enough.
fn pass_on(bytes: &mut Vec<u8>, out: &mut dyn io::Write) -> io::Result<()> {
    if bytes.len() >= GATHERED {
        out.write_all(bytes)?;
        bytes.clear();
    }
    Ok(())
}

/// Adds a number in digits.
fn digits(number: u64, bytes: &mut Vec<u8>) {
    // The longest u64 has 20 digits; written backwards from the end.
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
