//! Blocks without braces: a head, and below it indented lines that begin no statement.
//!
//! Each of those lines alone would be reported as no statement. They are joined to their head
//! instead, and the block is reported once.

use super::statement::{Slice, Trouble, begins_statement, heads_block};

/// Joins each head with the lines that are indented below it.
pub(super) fn join(text: &str, pieces: &mut Vec<Slice>) {
    let is_head = |piece: &Slice| {
        let head = text.get(piece.at.clone()).unwrap_or("");
        !piece.braces && piece.trouble.is_none() && heads_block(head)
    };
    // `node bud like bulb` needs no braces, and no setting has the word `like`.
    let is_like = |piece: &Slice| {
        let words = text.get(piece.at.clone()).unwrap_or("");
        heads_block(words) && words.split([' ', '\t']).any(|word| word == "like")
    };
    let below = |piece: &Slice, column: usize| {
        piece.trouble.is_none()
            && !is_like(piece)
            && indent(text, piece).is_some_and(|own| own > column)
            && !begins_statement(text, piece.at.start)
    };
    // Most texts have no such block; then nothing is copied.
    let begins = |pair: &[Slice]| match pair {
        [head, next] => is_head(head) && indent(text, head).is_some_and(|at| below(next, at)),
        _ => false,
    };
    if !pieces.windows(2).any(begins) {
        return;
    }
    let mut joined: Vec<Slice> = Vec::with_capacity(pieces.len());
    let mut open: Option<usize> = None;
    for piece in pieces.drain(..) {
        match (open, joined.last_mut()) {
            (Some(column), Some(head)) if below(&piece, column) => {
                head.trouble.get_or_insert(Trouble::Bare(head.at.end));
                head.at.end = piece.at.end;
                head.braces |= piece.braces;
            }
            _ => {
                open = indent(text, &piece).filter(|_| is_head(&piece));
                joined.push(piece);
            }
        }
    }
    *pieces = joined;
}

/// How many blanks stand before a piece that is the first of its line.
fn indent(text: &str, piece: &Slice) -> Option<usize> {
    let before = text.as_bytes().get(..piece.at.start)?;
    let blanks = before.iter().rev();
    let blanks = blanks.take_while(|byte| matches!(byte, b' ' | b'\t')).count();
    let begins = before.get(..before.len() - blanks)?;
    matches!(begins.last(), None | Some(b'\n')).then_some(blanks)
}

#[cfg(test)]
mod tests {
    use crate::syntax::statement::{Trouble, statements};

    fn cut(text: &str) -> Vec<(&str, Option<Trouble>)> {
        let pieces = statements(text).pieces;
        pieces.into_iter().map(|piece| (text.get(piece.at).unwrap_or(""), piece.trouble)).collect()
    }

    #[test]
    fn indented_lines_belong_to_the_head_above_them() {
        let text = "prop fox\n    node dot\n    string 50 nodes\nwire c.1: fox\n";
        let bare = "prop fox\n    node dot\n    string 50 nodes";
        assert_eq!(cut(text), [(bare, Some(Trouble::Bare(8))), ("wire c.1: fox", None)]);
    }

    #[test]
    fn what_begins_a_statement_or_is_not_indented_does_not() {
        for text in [
            "prop fox like owl\nstring 50 nodes\n",
            "prop fox like owl\n  wire c.1: fox\n",
            "prop fox like owl; string 50 nodes\n",
            "wire c.1: fox\n  string 50 nodes\n",
            "prop fox like owl\n  node bud like bulb\n",
        ] {
            assert!(cut(text).iter().all(|(_, trouble)| trouble.is_none()));
        }
    }
}
