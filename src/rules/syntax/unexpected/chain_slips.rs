//! Common slips in `wire` and in the heads of statements.

use super::finding;
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;

/// `wire c.1: prop owl`: a kind before a name. The place includes the blanks after `prop`.
#[must_use]
pub fn kind_in_chain(span: Span, name: &str) -> Diagnostic {
    let name = words::shown(name);
    finding(
        span,
        format!("`prop` stands before `{name}` in a chain"),
        "a chain has only names",
        format!("write `{name}` without it"),
    )
    .fix("leave out the `prop`", vec![Edit { span, text: String::new() }])
}

/// `wire c 1: owl` for `wire c.1: owl`; `meant` is the target put right.
#[must_use]
pub fn parted_port(span: Span, meant: &str) -> Diagnostic {
    finding(
        span,
        "no point stands between a controller and its port".to_owned(),
        "`.` is missing before this",
        format!("write `{}`", words::shown(meant)),
    )
}

/// `prop owl x 3`, `prop owl 3`; `several` is the same as a family.
#[must_use]
pub fn family_without_star(span: Span, name: &str, several: &str) -> Diagnostic {
    finding(
        span,
        format!("the name `{}` is more than one word", words::shown(name)),
        "a name is one word",
        format!("write `{}` if these are several alike", words::shown(several)),
    )
}

/// `=>`, `-->` and other marks in place of `->`. `+` and `&` may mean something else, and `<-` the
/// opposite order.
#[must_use]
pub fn other_arrow(span: Span, text: &str) -> Diagnostic {
    let found = finding(
        span,
        format!("`{}` is not an arrow", words::shown(text)),
        "not an arrow",
        "join the items of a chain by `->`, the one nearest to the port first, as in `lighthouse.2 -> lamp`",
    );
    let edits = vec![Edit { span, text: "->".to_owned() }];
    match text {
        "<-" => found,
        "+" | "&" | "|" => found.suggest("write `->`", edits),
        _ => found.fix("write `->`", edits),
    }
}

/// `-> ->`: an arrow with nothing before it.
#[must_use]
pub fn second_arrow(span: Span) -> Diagnostic {
    finding(
        span,
        "two `->` stand with nothing between them".to_owned(),
        "joins nothing",
        "take one `->` away, or write what stands between the two",
    )
}

/// Two items of a chain without `->` or `,` between them: `before` and `found`.
#[must_use]
pub fn unjoined(span: Span, before: &str, found: &str) -> Diagnostic {
    let (before, found) = (words::shown(before), words::shown(found));
    if found == "at" {
        return finding(
            span,
            format!("`{before}` has a second pin"),
            "only one pin is allowed",
            "keep one of the two pins",
        );
    }
    finding(
        span,
        format!("`{found}` is not joined to the item before it"),
        "`->` or `,` is missing before this",
        format!(
            "write `{before} -> {found}` to continue on the same data line, or `{before}, {found}` for the next port"
        ),
    )
}

/// `fox and owl` for `fox -> owl`.
#[must_use]
pub fn joined_in_words(span: Span, before: &str, word: &str, next: &str) -> Diagnostic {
    let (before, next) = (words::shown(before), words::shown(next));
    finding(
        span,
        format!("items of a chain are joined by the word `{word}`"),
        "no word joins items",
        format!(
            "write `{before} -> {next}` to continue on the same data line, or `{before}, {next}` for the next port"
        ),
    )
}

/// A `wire` without the `:` after its port.
#[must_use]
pub fn colon_missing(span: Span, before: &str, found: &str) -> Diagnostic {
    let (before, found) = (words::shown(before), words::shown(found));
    finding(
        span,
        format!("no `:` stands between a `wire`'s port and `{found}`"),
        "`:` is missing before this",
        format!("write `{before}: {found}`"),
    )
}
