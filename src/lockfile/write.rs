//! Writes a lock as text: one line a string, and the same bytes for the same lock.

use super::{Added, MAJOR, is_taken};
use crate::lock::{Lock, LockRow, Made, SetUp};
use crate::protocol::UniverseSlots;
use crate::unit::decimal;
use std::fmt::Write as _;

/// The comment at the top of a lock.
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
    if !lock.boxes.is_empty() {
        text.push_str("controllers:\n");
    }
    for one in &lock.boxes {
        let more = added.boxes.get(&one.name).map_or("", String::as_str);
        write_box(one, lock.universe_slots, more, &mut text);
    }
    for line in &added.head {
        text.push_str(line);
        text.push('\n');
    }
    text.push_str(if lock.rows.is_empty() { "strings: {}\n" } else { "strings:\n" });
    for row in &lock.rows {
        let more = added.rows.get(&row.name).map_or("", String::as_str);
        write_row(row, &lock.universe_slots.place(row.start), more, &mut text);
    }
    text.push_str("...\n");
    text
}

fn write_box(one: &SetUp, universe_slots: UniverseSlots, more: &str, text: &mut String) {
    let _ = write!(text, "  - {{name: {}, host: ", Word(&one.name));
    quoted(&one.host, text);
    let (input, addressing) = (&one.input, &one.addressing);
    let _ = write!(text, ", input: {input}, first: {}, universes: {}", one.first, one.universes);
    let _ = write!(text, ", addressing: {addressing}");
    if let Some(from) = one.from {
        let _ = write!(text, ", from: {from}");
    }
    if one.slots != universe_slots.get() {
        let _ = write!(text, ", universe_slots: {}", one.slots);
    }
    if one.whole {
        text.push_str(", whole_nodes: true");
    }
    let numbers = [("priority", one.priority), ("sync", one.sync)];
    for (word, value) in numbers {
        if let Some(value) = value {
            let _ = write!(text, ", {word}: {value}");
        }
    }
    write_level(one.level, text);
    let _ = writeln!(text, "{more}}}");
}

fn write_row(row: &LockRow, start: &str, more: &str, text: &mut String) {
    let _ = write!(
        text,
        "  {}: {{port: {}.{}, start: {start}, slots: {}",
        Word(&row.name),
        row.controller,
        row.output.name(),
        row.slots,
    );
    if let Some(made) = &row.made {
        write_made(made, text);
    }
    let stored = if row.stored { ", stored: true" } else { "" };
    text.push_str(stored);
    if let Some(moved) = &row.moved {
        text.push_str(", moved: ");
        quoted(moved, text);
    }
    let _ = writeln!(text, "{more}}}");
}

fn write_made(made: &Made, text: &mut String) {
    let (nodes, each, colour) = (made.nodes, made.each, Word(&made.colour));
    let _ = write!(text, ", nodes: {nodes}, each: {each}, colour: {colour}");
    if !made.chip.is_empty() {
        let _ = write!(text, ", chip: {}", Word(&made.chip));
    }
    let numbers = [("dark", made.dark), ("within", made.within), ("place", made.place)];
    for (word, value) in numbers {
        if value > 0 {
            let _ = write!(text, ", {word}: {value}");
        }
    }
    write_level(made.level, text);
}

/// A level, in percent.
fn write_level(level: Option<u32>, text: &mut String) {
    if let Some(level) = level {
        let _ = write!(text, ", level: {}", decimal(i64::from(level), 1_000));
    }
}

/// A name, in quotes where readers of YAML would take it for something else.
struct Word<'a>(&'a str);

impl std::fmt::Display for Word<'_> {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mark = if is_taken(self.0) { "\"" } else { "" };
        write!(out, "{mark}{}{mark}", self.0)
    }
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
