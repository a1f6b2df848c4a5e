//! From lines to text: common columns, indents, comments.

use super::print::Line;
use unicode_width::UnicodeWidthStr;

/// What begins later than here, behind the indent, is not moved to a common column and moves no other.
const LAST_COLUMN: usize = 20;
/// The comment behind a longer line does not move those of its paragraph.
const LAST_COMMENT: usize = 64;
/// Blanks between a line and its comment.
const BEFORE_COMMENT: usize = 2;

/// The text of some lines.
pub fn render(mut lines: Vec<Line<'_>>) -> String {
    tidy(&mut lines);
    columns(&mut lines);
    let mut out = String::new();
    for paragraph in lines.chunk_by(|_, next| !next.apart) {
        let widest = paragraph
            .iter()
            .filter(|line| line.comment.is_some() && !line.code.is_empty())
            .map(width)
            .filter(|width| *width <= LAST_COMMENT)
            .max()
            .unwrap_or(0);
        for line in paragraph {
            if line.apart {
                out.push('\n');
            }
            out.extend(std::iter::repeat_n(' ', line.depth * 4));
            out.push_str(&line.code);
            if let Some(comment) = &line.comment {
                if !line.code.is_empty() {
                    let gap = widest.saturating_sub(width(line)) + BEFORE_COMMENT;
                    out.extend(std::iter::repeat_n(' ', gap));
                }
                out.push_str(comment);
            }
            out.push('\n');
        }
    }
    out
}

fn width(line: &Line<'_>) -> usize {
    line.depth * 4 + line.code.width()
}

/// No empty line at the beginning of the text or of a block, nor at the end of a block.
fn tidy(lines: &mut [Line<'_>]) {
    let mut opened = true;
    for line in lines {
        if opened || line.code.starts_with('}') {
            line.apart = false;
        }
        opened = line.code.ends_with('{');
    }
}

/// Moves what may be moved in neighbouring lines of one kind to one column.
fn columns(lines: &mut [Line<'_>]) {
    for run in lines.chunk_by_mut(|line, next| {
        !next.apart && line.depth == next.depth && kind(line).is_some() && kind(line) == kind(next)
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

/// What lines must have in common to share a column: their first word and the mark there.
fn kind<'l>(line: &'l Line<'_>) -> Option<(&'l str, bool)> {
    let at = line.column?;
    let word = line.code.split([' ', ':']).next()?;
    let is_block = line.code.get(at..)?.starts_with('{');
    (!is_block || line.code.ends_with('}')).then_some((word, is_block))
}

/// Where what may be moved stands, in columns.
fn column(line: &Line<'_>) -> Option<usize> {
    Some(line.code.get(..line.column?)?.width())
}
