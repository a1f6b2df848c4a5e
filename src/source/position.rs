//! From byte offsets to lines and columns.
//!
//! Lines and columns count from 1; a column counts characters, a tab as one. A line ends with LF; the CR of
//! a CRLF belongs to the line and no label ever begins in it.

use super::{SourceFile, Span};
use std::sync::Arc;

/// Where the lines of one text begin.
#[derive(Debug, Clone)]
pub struct LineTable {
    starts: Arc<[u32]>,
}

impl LineTable {
    /// Reads the lines of a text.
    #[must_use]
    pub fn new(text: &str) -> Self {
        let starts = std::iter::once(0)
            .chain(
                text.bytes()
                    .enumerate()
                    .filter(|(_, byte)| *byte == b'\n')
                    .map(|(at, _)| at as u32 + 1),
            )
            .collect();
        Self { starts }
    }

    /// The line, from 0, that holds an offset within the text.
    #[must_use]
    pub fn line(&self, offset: u32) -> usize {
        self.starts
            .partition_point(|start| *start <= offset)
            .saturating_sub(1)
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
    /// Column just behind the last character, from 1.
    pub end_column: u32,
}

impl<'a> Place<'a> {
    /// The place of a stretch in its file.
    #[must_use]
    pub fn of(file: &'a SourceFile, span: Span) -> Self {
        let (line, column) = point(file, span.start);
        let (end_line, end_column) = point(file, span.end.min(file.span().end));
        Self {
            file: &file.name,
            line,
            column,
            end_line,
            end_column,
        }
    }
}

fn point(file: &SourceFile, offset: u32) -> (u32, u32) {
    let local = offset.saturating_sub(file.base);
    let line = file.lines.line(local);
    let start = file.lines.start(line).unwrap_or(0) as usize;
    let before = file.text.get(start..local as usize).unwrap_or("");
    // A byte-order mark is no character of the display.
    let column = before.chars().filter(|c| *c != '\u{feff}').count();
    (line as u32 + 1, column as u32 + 1)
}
