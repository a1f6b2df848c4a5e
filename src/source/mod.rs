//! The texts of a display and the places in them.
//!
//! All files of a display share one offset space. Each has its own stretch of it, so a place is two
//! numbers ([`Span`]) and needs no file name. This module knows nothing of the language.

mod files;
mod position;
pub mod quoted;

pub use files::{FileError, Files, Loaded, MOST_FILE_BYTES, Memory, joined};
pub use position::{LineTable, Place};

use std::cell::Cell;
use std::sync::Arc;

/// A stretch of text: byte offsets in the offset space of a [`SourceMap`], the end not included.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Span {
    /// Offset of the first byte.
    pub start: u32,
    /// Offset just after the last byte.
    pub end: u32,
}

impl Span {
    /// The stretch from `start` up to, not including, `end`; empty if `end` is before `start`.
    #[must_use]
    #[inline]
    pub fn new(start: u32, end: u32) -> Self {
        Self { start, end: end.max(start) }
    }

    /// The shortest stretch that holds both.
    #[must_use]
    pub fn to(self, other: Self) -> Self {
        Self::new(self.start.min(other.start), self.end.max(other.end))
    }

    /// Its length in bytes.
    #[must_use]
    #[inline]
    pub fn len(self) -> u32 {
        self.end - self.start
    }

    /// Whether it holds no byte.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.start == self.end
    }
}

/// One text of the display.
#[derive(Debug, Clone)]
pub struct SourceFile {
    /// The name that findings and tables show, with `/` between folders.
    pub name: String,
    /// Its text, including a byte-order mark.
    pub text: Arc<str>,
    /// Where its text begins in the offset space.
    pub base: u32,
    /// Where its lines begin.
    pub lines: LineTable,
}

impl SourceFile {
    /// The stretch of its whole text.
    #[must_use]
    pub fn span(&self) -> Span {
        // The map refuses texts that would pass u32, so the sum can't wrap.
        Span::new(self.base, self.base.saturating_add(self.text.len() as u32))
    }
}

/// All texts of one compile.
#[derive(Debug, Clone, Default)]
pub struct SourceMap {
    files: Vec<SourceFile>,
    /// The texts of the previous compile, if the display is being edited.
    before: Vec<SourceFile>,
    roomy: bool,
    /// The file that [`SourceMap::file_at`] found last.
    recent: Cell<usize>,
}

/// While a display is being edited, each text begins at a multiple of this.
const ROOM: u32 = 64 * 1024;

/// The most bytes that all texts of a display may have together.
pub const MOST_BYTES: usize = 64 * 1024 * 1024;
/// The most bytes of its lock: 671 for each of 400,000 strings, the most of a display.
pub const MOST_LOCK_BYTES: usize = 256 * 1024 * 1024;

impl SourceMap {
    /// An empty map for a display that is being edited. Each text begins at a multiple of 64 KiB,
    /// so one may grow while the others keep their places. Unchanged texts come from `before`.
    #[must_use]
    pub fn after(before: Self) -> Self {
        Self { files: Vec::new(), before: before.files, roomy: true, ..Self::default() }
    }

    /// Whether the display is being edited, so that the next compile sees most statements again.
    #[must_use]
    pub fn is_edited(&self) -> bool {
        self.roomy
    }

    /// Adds a text; `None` if the display would have more than [`MOST_BYTES`].
    pub fn add(&mut self, name: &str, text: &str) -> Option<&SourceFile> {
        self.add_within(MOST_BYTES, name, text)
    }

    /// Adds the text of the lock, after those of the display. A lock of at most
    /// [`MOST_LOCK_BYTES`] always fits; `None` if it is larger.
    pub fn add_lock(&mut self, name: &str, text: &str) -> Option<&SourceFile> {
        self.add_within(MOST_BYTES + MOST_LOCK_BYTES + 1, name, text)
    }

    fn add_within(&mut self, most: usize, name: &str, text: &str) -> Option<&SourceFile> {
        // One byte between files, so that the end of one is not the start of the next.
        if self.bytes() + self.files.len() + text.len() > most {
            return None;
        }
        let base = self.next_base();
        let same = |file: &&SourceFile| file.name == name && *file.text == *text;
        let file = match self.before.iter().find(same) {
            Some(same) => SourceFile { base, ..same.clone() },
            None => SourceFile {
                name: name.to_owned(),
                text: Arc::from(text),
                base,
                lines: LineTable::new(text),
            },
        };
        self.files.push(file);
        self.files.last()
    }

    /// Where the next text begins.
    #[must_use]
    pub fn next_base(&self) -> u32 {
        let base = self.files.last().map_or(0, |file| file.span().end + 1);
        match self.roomy {
            true => base.next_multiple_of(ROOM),
            false => base,
        }
    }

    /// The files in the order they were read: those of the display, then its lock.
    #[must_use]
    pub fn files(&self) -> &[SourceFile] {
        &self.files
    }

    /// How many bytes all files have together.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.files.iter().map(|file| file.text.len()).sum()
    }

    /// The file that holds an offset: the last one that begins at or before it.
    #[must_use]
    #[inline]
    pub fn file_at(&self, offset: u32) -> Option<&SourceFile> {
        // Most calls ask for the same file as the call before.
        let recent = self.files.get(self.recent.get());
        if let Some(file) = recent.filter(|file| file.base <= offset && offset < file.span().end) {
            return Some(file);
        }
        let after = self.files.partition_point(|file| file.base <= offset);
        self.recent.set(after.saturating_sub(1));
        self.files.get(after.checked_sub(1)?)
    }

    /// The text of a stretch; empty if it lies in no file.
    #[must_use]
    #[inline]
    pub fn text(&self, span: Span) -> &str {
        self.file_at(span.start)
            .and_then(|file| {
                let start = (span.start - file.base) as usize;
                file.text.get(start..start + span.len() as usize)
            })
            .unwrap_or("")
    }

    /// Where a stretch stands: file, line and column.
    #[must_use]
    pub fn place(&self, span: Span) -> Option<Place<'_>> {
        let file = self.file_at(span.start)?;
        Some(Place::of(file, span))
    }
}
