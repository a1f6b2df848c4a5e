//! Common slips in pins.

use super::finding;
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;

/// `owl @ 12/1` for `owl at 12/1`.
#[must_use]
pub fn sign_for_at(span: Span, place: &str) -> Diagnostic {
    finding(
        span,
        "a pin is written with `@`".to_owned(),
        "write `at`",
        format!("write `at {}`", words::shown(place)),
    )
    .suggest("write `at`", vec![Edit { span, text: "at".to_owned() }])
}

/// `at universe 12`, `at slot 5`: a pin is numbers without words.
#[must_use]
pub fn worded_pin(span: Span, word: &str, number: &str) -> Diagnostic {
    let number = words::shown(number);
    let help = if word.starts_with("slot") {
        format!(
            "write `at {number}` on a DMX output, elsewhere `at 12/{number}` with the universe before the slot"
        )
    } else {
        format!("write `at {number}/1`: the universe, then the slot that its first node begins at")
    };
    finding(
        span,
        format!("a pin is written with the word `{word}`"),
        "a pin has no such word",
        help,
    )
}
