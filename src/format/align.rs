//! From lines to text: common columns, indents and comments.

use super::print::TextLine;
use unicode_width::UnicodeWidthStr;

/// Lines whose column lies after this one, without the indent, take no part in a common column.
const LAST_COLUMN: usize = 20;
/// Comments after longer lines do not count for the common column of a paragraph.
const LAST_COMMENT: usize = 64;
/// Blanks between a line and its comment.
const BEFORE_COMMENT: usize = 2;

/// A longer paragraph is cut as far as columns go, so that few lines are held at a time.
const MOST_LINES: usize = 1_000;

/// Turns lines into text, a paragraph at a time.
#[derive(Default)]
pub struct Page<'a> {
    out: String,
    /// The paragraph so far.
    lines: Vec<TextLine<'a>>,
    /// Whether there was a last line, and it did not open a block.
    filled: bool,
}

impl<'a> Page<'a> {
    /// Adds a line. An empty line at the beginning of the text, or at either end of a block, is
    /// left out.
    pub fn push(&mut self, mut line: TextLine<'a>) {
        line.apart &= self.filled && !line.code.starts_with('}');
        self.filled = !line.code.ends_with('{');
        if line.apart || self.lines.len() >= MOST_LINES {
            self.paragraph();
        }
        self.lines.push(line);
    }

    /// The text of all lines.
    pub fn finish(mut self) -> String {
        self.paragraph();
        self.out
    }

    fn paragraph(&mut self) {
        columns(&mut self.lines);
        let widest = self
            .lines
            .iter()
            .filter(|line| line.comment.is_some() && !line.code.is_empty())
            .map(width)
            .filter(|width| *width <= LAST_COMMENT)
            .max()
            .unwrap_or(0);
        let out = &mut self.out;
        for line in self.lines.drain(..) {
            if line.apart {
                out.push('\n');
            }
            out.extend(std::iter::repeat_n(' ', line.depth * 4));
            out.push_str(&line.code);
            if let Some(comment) = line.comment {
                if !line.code.is_empty() {
                    let gap = widest.saturating_sub(width(&line)) + BEFORE_COMMENT;
                    out.extend(std::iter::repeat_n(' ', gap));
                }
                out.push_str(comment);
            }
            out.push('\n');
        }
    }
}

fn width(line: &TextLine<'_>) -> usize {
    line.depth * 4 + line.code.width()
}

/// Moves the movable parts of neighbouring lines of one kind to one column.
fn columns(lines: &mut [TextLine<'_>]) {
    for run in lines.chunk_by_mut(|line, next| {
        line.depth == next.depth && kind(line).is_some() && kind(line) == kind(next)
    }) {
        let places = run.iter().filter_map(column);
        let Some(last) = places.filter(|place| *place <= LAST_COLUMN).max() else {
            continue;
        };
        for line in run {
            if let (Some(place), Some(at)) = (column(line), line.column) {
                let pad = " ".repeat(last.saturating_sub(place));
                if line.code.is_char_boundary(at) {
                    line.code.insert_str(at, &pad);
                }
            }
        }
    }
}

/// What lines must have in common to share a column: the first word, and whether a block is moved.
/// A block that goes on in the next line has none.
fn kind<'l>(line: &'l TextLine<'_>) -> Option<(&'l str, bool)> {
    let at = line.column?;
    let word = line.code.split([' ', ':']).next()?;
    let is_block = line.code.get(at..)?.starts_with('{');
    (!is_block || line.code.ends_with('}')).then_some((word, is_block))
}

/// Where the movable part of a line begins, in columns without the indent.
fn column(line: &TextLine<'_>) -> Option<usize> {
    Some(line.code.get(..line.column?)?.width())
}
