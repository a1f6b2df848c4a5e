//! Characters that look like others or are invisible, and what a merge or a failed save leaves.

use super::{because, finding};
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;
use crate::unit;

/// A carriage return that no line feed follows.
#[must_use]
pub fn lone_return(span: Span) -> Diagnostic {
    because(
        span,
        "a carriage return stands alone, without a line feed".to_owned(),
        "ends no line here",
        "an editor shows a line end where others read none, so line numbers would differ",
        "save the file with line ends LF or CRLF",
    )
}

/// Zero bytes at the end of a file.
#[must_use]
pub fn zero_tail(span: Span, length: usize) -> Diagnostic {
    because(
        span,
        format!("the file ends in {} of zero", unit::counted(length, "byte")),
        "only zero bytes from here on",
        "this happens when the disk is full or the power fails while a file is saved",
        "take the file from a copy, or delete this tail and check that nothing is missing",
    )
}

/// A control character, or `length` equal ones in a row.
#[must_use]
pub fn control(span: Span, c: char, length: usize) -> Diagnostic {
    let name = match c {
        '\0' => "zero byte",
        '\u{7}' => "bell",
        '\u{8}' => "backspace",
        '\u{b}' => "vertical tab",
        '\u{c}' => "form feed",
        '\u{1b}' => "escape",
        '\u{7f}' => "delete",
        _ => "control character",
    };
    let many = if length > 1 { format!(", {length} times over") } else { String::new() };
    because(
        span,
        format!("the {name} U+{:04X} stands in the text{many}", u32::from(c)),
        "can't be seen",
        "it is not seen in an editor and could steer a terminal",
        "delete it; between words use blanks or tabs",
    )
}

/// A character that looks like a blank or a line end but is none.
#[must_use]
pub fn blank(span: Span, c: char) -> Diagnostic {
    let name = match c {
        '\u{a0}' => "no-break space",
        '\u{85}' => "next-line character",
        '\u{2028}' => "line separator",
        '\u{2029}' => "paragraph separator",
        '\u{202f}' => "narrow no-break space",
        '\u{3000}' => "wide space",
        '\u{80}'..='\u{9f}' => "control character",
        _ => "space of special width",
    };
    because(
        span,
        format!("the {name} U+{:04X} stands in place of a blank", u32::from(c)),
        "no plain blank",
        "it looks like a blank or a line end but is not read as one, so two words would become one",
        "write a plain blank",
    )
    .fix("write a plain blank", vec![Edit { span, text: " ".to_owned() }])
}

/// An invisible character, or one that turns the direction of the text.
#[must_use]
pub fn hidden(span: Span, c: char) -> Diagnostic {
    let name = match c {
        '\u{feff}' => "byte-order mark",
        '\u{200b}' => "zero-width space",
        '\u{200c}' | '\u{200d}' => "zero-width joiner",
        '\u{ad}' => "soft hyphen",
        '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {
            "direction control"
        }
        _ => "invisible character",
    };
    because(
        span,
        format!("the {name} U+{:04X} stands in the text", u32::from(c)),
        "can't be seen",
        "it is not seen in an editor, so the text would not be what it looks like",
        "delete it",
    )
    .fix("delete it", vec![Edit { span, text: String::new() }])
}

/// A typographic character in place of a plain one; `other` is the closing quote of a pair.
#[must_use]
pub fn typographic(span: Span, c: char, plain: &str, other: Option<Span>) -> Diagnostic {
    let edit = |span| Edit { span, text: plain.to_owned() };
    let edits = std::iter::once(span).chain(other).map(edit).collect();
    finding(
        span,
        format!("`{c}` (U+{:04X}) stands where `{plain}` should", u32::from(c)),
        format!("write `{plain}`"),
        format!("write `{plain}`; word processors replace it while you type"),
    )
    .and_if(other, "and this one")
    .suggest(format!("write `{plain}`"), edits)
}

/// A number in typographic quotes: `string “40” nodes`; `within` is the text between the quotes.
#[must_use]
pub fn bent_number(open: Span, close: Span, within: &str) -> Diagnostic {
    let number = words::shown(within.trim());
    let edit = |span| Edit { span, text: String::new() };
    finding(
        open,
        format!("the number {number} stands in quotes"),
        "numbers have no quotes",
        format!("write `{number}` without the quotes"),
    )
    .and(close, "and this one")
    .suggest("leave out the quotes", vec![edit(open), edit(close)])
}

/// A merge conflict in the file: its first, middle and last marker lines.
#[must_use]
pub fn conflict(first: Span, middle: Option<Span>, last: Option<Span>) -> Diagnostic {
    because(
        first,
        "a merge left its conflict in the file".to_owned(),
        "a conflict marker",
        "two versions of these lines stand one after the other, and only one of them can be meant",
        "keep one of the two versions, or the right lines of both, and delete the marker lines",
    )
    .and_if(
        middle,
        match last {
            Some(_) => "the other version begins here; it is not read",
            None => "the other version begins here",
        },
    )
    .and_if(last, "the conflict ends here")
}
