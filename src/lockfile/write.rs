//! Lock → text: one line a string, always the same bytes.

use super::{Added, MAJOR, is_taken};
use crate::lock::{Lock, Row};
use std::fmt::Write as _;

/// What a lock says of itself.
const COMMENT: &str =
    "# Where each string lies: written by `tinsel build`, to be kept under version control.\n";

/// A lock as text, lines ended with LF.
#[must_use]
pub fn write(lock: &Lock, added: &Added) -> String {
    let mut text = String::with_capacity(256 + 80 * lock.rows.len());
    text.push_str(COMMENT);
    // Writing to a text can't fail.
    let _ = writeln!(text, "format: \"{MAJOR}.{}\"", added.minor);
    text.push_str("display: ");
    quoted(&lock.display, &mut text);
    let _ = writeln!(text, "\nuniverse_slots: {}", lock.universe_slots);
    if !lock.renamed.is_empty() {
        text.push_str("renamed:\n");
    }
    for (old, new) in &lock.renamed {
        let _ = writeln!(text, "  - {old} -> {new}");
    }
    for line in &added.head {
        text.push_str(line);
        text.push('\n');
    }
    text.push_str(if lock.rows.is_empty() {
        "strings: {}\n"
    } else {
        "strings:\n"
    });
    for row in &lock.rows {
        let more = added.rows.get(&row.name).map_or("", String::as_str);
        write_row(row, lock.universe_slots.split(row.start), more, &mut text);
    }
    text.push_str("...\n");
    text
}

fn write_row(row: &Row, (universe, slot): (u32, u32), more: &str, text: &mut String) {
    let mark = if is_taken(&row.name) { "\"" } else { "" };
    let _ = writeln!(
        text,
        "  {mark}{}{mark}: {{port: {}.{}, start: {universe}/{slot}, slots: {}{more}}}",
        row.name,
        row.controller,
        row.output.name(),
        row.slots,
    );
}

/// A text in double quotes, as YAML and JSON both have it.
fn quoted(words: &str, text: &mut String) {
    text.push('"');
    for c in words.chars() {
        match c {
            '"' | '\\' => text.extend(['\\', c]),
            c if crate::diagnostic::words::is_unprintable(c)
                || matches!(c, '\u{fffe}' | '\u{ffff}') =>
            {
                let _ = write!(text, "\\u{:04x}", u32::from(c));
            }
            c => text.push(c),
        }
    }
    text.push('"');
}
