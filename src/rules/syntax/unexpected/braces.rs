//! Braces and quotes that are missing or too many, and what is too deep or too long to be read.

use super::{because, finding, statement_example};
use crate::diagnostic::{Diagnostic, Edit};
use crate::source::Span;

/// A `{` on the line below its head, which ends at `head_end` if no comment stands between.
#[must_use]
pub fn dropped_brace(span: Span, head_end: Option<Span>) -> Diagnostic {
    let found = finding(
        span,
        "this `{` stands on the line below its head".to_owned(),
        "the line above has ended, so this opens nothing",
        "write `{` at the end of the line above, as in `prop lamp { node bullet; string 36 nodes }`",
    );
    let Some(head_end) = head_end else {
        return found;
    };
    let edit = |span, text: &str| Edit { span, text: text.to_owned() };
    found.fix("move the `{` up", vec![edit(head_end, " {"), edit(span, "")])
}

/// A `{` that is never closed; `next` is where a new statement begins after it, if one does.
#[must_use]
pub fn unclosed_brace(span: Span, next: Option<Span>) -> Diagnostic {
    finding(
        span,
        "this `{` is never closed".to_owned(),
        "opens a block that never ends",
        "write `}` after the last setting of the block, as in `prop lamp { node bullet; string 36 nodes }`",
    )
    .and_if(next, "a new statement begins here, so the `}` belongs before it")
}

/// A `}` that closes nothing.
#[must_use]
pub fn stray_brace(span: Span) -> Diagnostic {
    finding(
        span,
        "this `}` closes nothing".to_owned(),
        "no `{` is open here",
        "take the `}` away, or write the `{` that it belongs to: `prop lamp { node bullet; string 36 nodes }`",
    )
}

/// A `}` before the last settings of its block; `last` is the `}` after those.
#[must_use]
pub fn closed_early(span: Span, last: Span) -> Diagnostic {
    finding(
        span,
        "this `}` closes the block before its last settings".to_owned(),
        "closes the block",
        "take this `}` away, or write the `{` that it belongs to, as in `ports 1..16 { chip ws2811 }`",
    )
    .and(last, "so this `}` closes nothing")
}

/// A block whose `{` is missing; `close` is its `}`.
#[must_use]
pub fn missing_brace(span: Span, close: Span, word: &str) -> Diagnostic {
    finding(
        span,
        format!("the `{{` of this `{word}` is missing"),
        "`{` is missing after this",
        format!("write `{{` before the first setting, as in `{}`", statement_example(word)),
    )
    .and(close, "this `}` closes it")
}

/// A block without `{` and `}`; `last` is where its last setting ends.
#[must_use]
pub fn bare_block(span: Span, last: Span, word: &str) -> Diagnostic {
    let edit = |at: u32, text: &str| Edit { span: Span::new(at, at), text: text.to_owned() };
    finding(
        span,
        format!("the settings of this `{word}` stand in no `{{ }}`"),
        "`{` is missing after this",
        format!(
            "write `{{` after the head and `}}` after the last setting, as in `{}`",
            statement_example(word)
        ),
    )
    .and(last, "`}` is missing here")
    .fix("put the settings in `{ }`", vec![edit(span.end, " {"), edit(last.end, "\n}")])
}

/// A block in `( )`; `close` is the `)`, if there is one.
#[must_use]
pub fn round_block(open: Span, close: Option<Span>) -> Diagnostic {
    let edit = |span, text: &str| Edit { span, text: text.to_owned() };
    let found = finding(
        open,
        "the settings of a block stand in `( )`".to_owned(),
        "`{` belongs here",
        "write `{` and `}`, as in `prop lamp { node bullet; string 36 nodes }`",
    );
    match close {
        Some(close) => found
            .and(close, "`}` belongs here")
            .fix("write `{` and `}`", vec![edit(open, "{"), edit(close, "}")]),
        None => found,
    }
}

/// Brackets that are nested too deep.
#[must_use]
pub fn too_deep(span: Span, most: usize) -> Diagnostic {
    because(
        span,
        format!("brackets are nested more than {most} deep"),
        "one bracket too deep",
        "no display needs this, and reading it could take more memory than there is",
        "close brackets that are open by mistake, or give parts of the arithmetic a name: `let per-side = 4 * 28`",
    )
}

/// A statement too long to be read.
#[must_use]
pub fn too_long(span: Span, most: usize) -> Diagnostic {
    because(
        span,
        format!("a statement is longer than {most} bytes"),
        "begins here",
        "reading it could take more memory than there is",
        "write it as several statements",
    )
}

/// A file that is too large to be read.
#[must_use]
pub fn too_large(span: Span, most: usize) -> Diagnostic {
    because(
        span,
        format!("the file is larger than {most} bytes"),
        "too large to be read",
        "reading it could take more memory than there is",
        "split the display into several files and `include` them: `include \"porch.tinsel\"`",
    )
}

/// A text in quotes that does not end on its line.
#[must_use]
pub fn unclosed_quote(span: Span) -> Diagnostic {
    finding(
        span,
        "this text in quotes does not end on its line".to_owned(),
        "the closing `\"` is missing",
        "write `\"` after the text, as in `label \"front porch\"`; a quote within the text is `\\\"`",
    )
}
