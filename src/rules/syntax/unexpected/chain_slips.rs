//! Usual slips of `wire` and of the heads of statements.

use super::finding;
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;

/// `wire c.1: prop owl`: the kind before the name; the place takes in the blanks behind it.
#[must_use]
pub fn kind_in_chain(span: Span, name: &str) -> Diagnostic {
    let name = words::shown(name);
    finding(
        span,
        format!("`prop` stands before `{name}` in a chain"),
        "a chain has names alone",
        format!("write `{name}` without it"),
    )
    .fix(
        "leave out the `prop`",
        vec![Edit {
            span,
            text: String::new(),
        }],
    )
}

/// `owl @ 12/1` for `owl at 12/1`.
#[must_use]
pub fn sign_for_at(span: Span, place: &str) -> Diagnostic {
    finding(
        span,
        "a pin is written with `@`".to_owned(),
        "write `at`",
        format!("write `at {}`", words::shown(place)),
    )
    .suggest(
        "write `at`",
        vec![Edit {
            span,
            text: "at".to_owned(),
        }],
    )
}

/// `wire c 1: owl` for `wire c.1: owl`; `meant` is all up to the port.
#[must_use]
pub fn parted_port(span: Span, meant: &str) -> Diagnostic {
    finding(
        span,
        "no point stands between a controller and its port".to_owned(),
        "`.` is missing before this",
        format!("write `{}`", words::shown(meant)),
    )
}

/// `prop owl x 3`, `prop owl 3`; `several` is how a family is written.
#[must_use]
pub fn family_without_star(span: Span, name: &str, several: &str) -> Diagnostic {
    finding(
        span,
        format!("the name `{}` is more than one word", words::shown(name)),
        "a name is one word",
        format!(
            "write `{}` if these are several alike",
            words::shown(several)
        ),
    )
}

/// `at universe 12`, `at slot 5`: the numbers of a pin stand without the words.
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
        "no word stands here",
        help,
    )
}
