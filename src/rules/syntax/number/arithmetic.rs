//! Arithmetic and ranges without a usable result.

use super::finding;
use crate::diagnostic::{Diagnostic, Edit};
use crate::source::Span;

/// A division that leaves a remainder.
#[must_use]
pub fn uneven(span: Span, left: i64, right: i64) -> Diagnostic {
    finding(
        span,
        format!("{left} / {right} is not a whole number"),
        &format!("leaves a remainder of {}", left.checked_rem(right).unwrap_or(0)),
        "write numbers that divide without a remainder, or the result itself".to_owned(),
    )
}

/// A division by zero.
#[must_use]
pub fn by_zero(span: Span) -> Diagnostic {
    finding(
        span,
        "a number is divided by 0".to_owned(),
        "this is 0",
        "divide by a number above 0".to_owned(),
    )
}

/// Arithmetic whose result is too large to be kept.
#[must_use]
pub fn overflow(span: Span) -> Diagnostic {
    finding(
        span,
        "this arithmetic gives a number too large to be kept".to_owned(),
        "too large",
        "write smaller numbers; no display needs more than 18 digits".to_owned(),
    )
}

/// Arithmetic with more operators than are allowed.
#[must_use]
pub fn too_long(span: Span, most: u32) -> Diagnostic {
    finding(
        span,
        format!("this arithmetic has more than {most} operators"),
        "too long",
        "give parts of it a name: `let per-side = 4 * 28`".to_owned(),
    )
}

/// `1-4`, written where a range was meant, as `1..4`. `None` for any other text.
#[must_use]
pub fn dotted(written: &str) -> Option<String> {
    let (from, to) = written.split_once('-')?;
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let (from, to) = (from.trim(), to.trim());
    (digits(from) && digits(to) && !from.is_empty() && !to.is_empty())
        .then(|| format!("{from}..{to}"))
}

/// `1-4`, which subtracts, where a range may be meant. `what` names the value, `written` is its
/// text, and `range` the same with dots.
#[must_use]
pub fn hyphen(span: Span, what: &str, written: &str, range: &str) -> Diagnostic {
    finding(
        span,
        format!("{what} is written `{written}`, which subtracts"),
        "this `-` is a minus",
        format!("write a range with two dots: `{range}`"),
    )
}

/// A falling range where only a rising one is allowed.
#[must_use]
pub fn backwards(span: Span, from: i64, to: i64) -> Diagnostic {
    finding(
        span,
        format!("the range {from}..{to} runs backwards"),
        "the first number is above the last",
        format!("write `{to}..{from}`"),
    )
    .fix(format!("write `{to}..{from}`"), vec![Edit { span, text: format!("{to}..{from}") }])
}
