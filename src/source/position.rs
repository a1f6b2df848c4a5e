//! From byte offsets to lines and columns.
//!
//! Lines and columns count from 1. A column counts characters; a tab is one. A line ends with LF;
//! the CR of a CRLF belongs to its line.

use super::{SourceFile, Span};
use std::sync::Arc;

/// Where the lines of one text begin, and how many characters precede each block of 1,024 bytes.
#[derive(Debug, Clone)]
pub struct LineTable {
    starts: Arc<[u32]>,
    /// Characters before byte `n * EVERY`, so that a column on a long line is found without a scan.
    characters: Arc<[u32]>,
}

/// Bytes from one count of characters to the next.
const EVERY: usize = 1024;

impl LineTable {
    /// Reads the lines of a text.
    #[must_use]
    pub fn new(text: &str) -> Self {
        let starts = std::iter::once(0)
            .chain(text.match_indices('\n').map(|(at, _)| at as u32 + 1))
            .collect();
        let mut count = 0;
        let characters = text
            .as_bytes()
            .chunks(EVERY)
            .map(|chunk| {
                let before = count;
                count += characters_in(chunk);
                before
            })
            .collect();
        Self { starts, characters }
    }

    /// How many characters begin before an offset in the text that this table was made of.
    fn characters_before(&self, text: &str, offset: usize) -> u32 {
        let block = (offset / EVERY).min(self.characters.len().saturating_sub(1));
        let before = self.characters.get(block).copied().unwrap_or(0);
        let rest = text.as_bytes().get(block * EVERY..offset);
        before + characters_in(rest.unwrap_or(&[]))
    }

    /// The line, from 0, that holds an offset within the text.
    #[must_use]
    pub fn line(&self, offset: u32) -> usize {
        self.starts.partition_point(|start| *start <= offset).saturating_sub(1)
    }

    /// The offset at which a line, counted from 0, begins.
    #[must_use]
    pub fn start(&self, line: usize) -> Option<u32> {
        self.starts.get(line).copied()
    }

    /// How many lines the text has; an empty text has one.
    #[must_use]
    pub fn count(&self) -> usize {
        self.starts.len()
    }
}

/// A place as a person reads it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place<'a> {
    /// The file's name as shown.
    pub file: &'a str,
    /// First line, from 1.
    pub line: u32,
    /// First column, from 1, in characters.
    pub column: u32,
    /// Line of the end, from 1.
    pub end_line: u32,
    /// Column just after the last character, from 1.
    pub end_column: u32,
}

impl<'a> Place<'a> {
    /// The place of a stretch in its file.
    #[must_use]
    pub fn of(file: &'a SourceFile, span: Span) -> Self {
        let (line, column) = point(file, span.start);
        let (end_line, end_column) = point(file, span.end.min(file.span().end));
        Self { file: &file.name, line, column, end_line, end_column }
    }
}

/// How many characters begin in some bytes of UTF-8.
fn characters_in(bytes: &[u8]) -> u32 {
    if bytes.is_ascii() {
        return bytes.len() as u32;
    }
    let begin = bytes.iter().filter(|byte| **byte & 0xc0 != 0x80).count();
    begin as u32
}

fn point(file: &SourceFile, offset: u32) -> (u32, u32) {
    let local = offset.saturating_sub(file.base);
    let line = file.lines.line(local);
    let start = file.lines.start(line).unwrap_or(0) as usize;
    let before = |offset| file.lines.characters_before(&file.text, offset);
    let column = before(local as usize).saturating_sub(before(start));
    // A byte-order mark at the start of a text does not count as a character.
    let mark = u32::from(line == 0 && local > 0 && file.text.starts_with('\u{feff}'));
    (line as u32 + 1, column.saturating_sub(mark) + 1)
}

#[cfg(test)]
mod tests {
    use crate::source::{Place, SourceMap, Span};

    #[test]
    fn a_column_is_what_counting_along_the_line_gives() {
        let line = "ab雪e\u{301}\t".repeat(700);
        let text = format!("\u{feff}{line}\n{line}\r\n\n{line}");
        let mut sources = SourceMap::default();
        sources.add("before", "x");
        let file = sources.add("yard.tinsel", &text).unwrap().clone();
        let (mut row, mut column) = (1, 1);
        for (at, c) in text.char_indices().chain([(text.len(), ' ')]) {
            let at = file.base + at as u32;
            let place = Place::of(&file, Span::new(at, at));
            assert_eq!((place.line, place.column), (row, column), "at {at}");
            match c {
                '\n' => (row, column) = (row + 1, 1),
                '\u{feff}' => {}
                _ => column += 1,
            }
        }
    }
}
