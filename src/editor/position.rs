//! Places as editors count them: lines and UTF-16 units from 0. LF, CRLF and CR each end a line.
//!
//! A byte-order mark counts as a character of the first line, as in the editor protocol.

use crate::source::{SourceFile, Span};
use std::cell::RefCell;
use std::collections::BTreeMap;

/// The lines of texts of a display, each read when it is first asked for.
#[derive(Debug, Default)]
pub struct Sheets<'t>(RefCell<BTreeMap<u32, Lines<'t>>>);

impl<'t> Sheets<'t> {
    /// Both ends of a stretch of a text.
    #[must_use]
    pub fn ends(&self, file: &'t SourceFile, span: Span) -> (Position, Position) {
        let mut all = self.0.borrow_mut();
        let lines = all.entry(file.base).or_insert_with(|| Lines::of(&file.text));
        let local = |at: u32| lines.position(at.saturating_sub(file.base) as usize);
        (local(span.start), local(span.end))
    }
}

/// Where the lines of a text begin.
#[derive(Debug, Clone)]
pub struct Lines<'t> {
    text: &'t str,
    starts: Vec<usize>,
}

/// A place as an editor counts it, both from 0.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default)]
pub struct Position {
    /// The line.
    pub line: u32,
    /// The UTF-16 unit within it.
    pub character: u32,
}

impl<'t> Lines<'t> {
    /// Reads the lines of a text.
    #[must_use]
    pub fn of(text: &'t str) -> Self {
        let bytes = text.as_bytes();
        let ends = |(at, byte): (usize, &u8)| match byte {
            b'\n' => Some(at + 1),
            b'\r' if bytes.get(at + 1) != Some(&b'\n') => Some(at + 1),
            _ => None,
        };
        let after = bytes.iter().enumerate().filter_map(ends);
        Self { text, starts: std::iter::once(0).chain(after).collect() }
    }

    /// The place of a byte. A byte within a character has the place of the character, one after the
    /// end of the text that of the end.
    #[must_use]
    pub fn position(&self, at: usize) -> Position {
        let mut at = at.min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        let line = self.starts.partition_point(|start| *start <= at) - 1;
        let start = self.starts.get(line).copied().unwrap_or(0);
        let before = self.text.get(start..at).unwrap_or("");
        let units = before.encode_utf16().count();
        Position {
            line: u32::try_from(line).unwrap_or(u32::MAX),
            character: u32::try_from(units).unwrap_or(u32::MAX),
        }
    }

    /// The byte of a place. A place after the end of its line means that end, one after the last
    /// line the end of the text.
    #[must_use]
    pub fn offset(&self, place: Position) -> usize {
        let line = place.line as usize;
        let Some(start) = self.starts.get(line).copied() else {
            return self.text.len();
        };
        let end = self.starts.get(line + 1).copied();
        let end = end.unwrap_or(self.text.len());
        let own = self.text.get(start..end).unwrap_or("");
        let own = own.trim_end_matches(['\n', '\r']);
        let mut units = 0;
        for (at, c) in own.char_indices() {
            if units >= place.character {
                return start + at;
            }
            units += c.len_utf16() as u32;
        }
        start + own.len()
    }
}

#[cfg(test)]
mod tests {
    use super::{Lines, Position};

    #[test]
    fn a_place_is_counted_in_utf_16_and_leads_back() {
        let text = "\u{feff}a🎄b\r\n\nprop é\r雪 🎄🎄 x";
        let lines = Lines::of(text);
        for (at, _) in text.char_indices() {
            let place = lines.position(at);
            if text.get(at..).is_some_and(|rest| !rest.starts_with('\n')) {
                assert_eq!(lines.offset(place), at, "{at}");
            }
        }
        let place = |line, character| Position { line, character };
        // U+1F384 is beyond the BMP: two units (RFC 2781, section 2.1).
        assert_eq!(lines.position(text.find('b').unwrap()), place(0, 4));
        assert_eq!(lines.position(text.find('x').unwrap()), place(3, 7));
        assert_eq!(lines.offset(place(9, 0)), text.len());
        assert_eq!(lines.offset(place(1, 50)), text.find("\nprop").unwrap());
    }
}
