//! Common slips in ranges.

use super::finding;
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;

/// `1-4` for `1..4`; `dash` is the place of the `-`, `range` the text put right.
#[must_use]
pub fn dashed_range(span: Span, dash: Span, range: &str) -> Diagnostic {
    let range = words::shown(range);
    finding(
        span,
        "a range is written with `-`".to_owned(),
        "this subtracts, and the result is below zero",
        format!("write two dots between the ends: `{range}`"),
    )
    .suggest("write `..`", vec![Edit { span: dash, text: "..".to_owned() }])
}

/// `1 to 4` or `1:4` for `1..4`; `mark` is what stands between the ends.
#[must_use]
pub fn worded_range(span: Span, mark: &str, (from, to): (&str, &str)) -> Diagnostic {
    let range = words::shown(&format!("{from}..{to}"));
    finding(
        span,
        format!("a range is written with `{mark}`"),
        "a range has two dots between its ends",
        format!("write `{range}`"),
    )
    .suggest(format!("write `{range}`"), vec![Edit { span, text: range.clone() }])
}

/// A range with too many dots or without an end; `what` ends the sentence "a range …".
#[must_use]
pub fn bad_range(span: Span, what: &str) -> Diagnostic {
    finding(
        span,
        format!("a range {what}"),
        "a range has two dots between two numbers",
        "write both ends with two dots between them, as in `1..4`",
    )
}
