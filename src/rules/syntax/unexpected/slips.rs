//! Common slips in statements and settings.

use super::{Thing, finding};
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;

/// `=` or `:` after the first word of a setting.
#[must_use]
pub fn mark_after_key(span: Span, mark: &str, key: &str) -> Diagnostic {
    finding(
        span,
        format!("the setting `{}` has a `{mark}` before its value", words::shown(key)),
        format!("no `{mark}` here"),
        format!(
            "leave the `{mark}` out: a setting is its words and its value, as in `string 36 nodes`"
        ),
    )
    .fix(format!("leave out the `{mark}`"), vec![Edit { span, text: String::new() }])
}

/// `host 192.168.7.20:5568`; `port` is the place of what comes after the host.
#[must_use]
pub fn host_with_port(host: Span, port: Span) -> Diagnostic {
    finding(
        port,
        "a host is followed by the number of a network port".to_owned(),
        "no network port here",
        "leave it out: each `input` has a network port of its own".to_owned(),
    )
    .and(host, "this is the host")
    .fix("leave out the network port", vec![Edit { span: port, text: String::new() }])
}

/// A statement or setting after another on one line.
#[must_use]
pub fn second_on_line(span: Span, thing: Thing<'_>, found: &str) -> Diagnostic {
    finding(
        span,
        format!("{found} follows {} on the same line", thing.words()),
        "begins something new",
        "put it on a line of its own, or write `;` between them",
    )
}

/// `//` or `/*` in place of `#`.
#[must_use]
pub fn foreign_comment(span: Span, mark: &str) -> Diagnostic {
    let found = finding(
        span,
        format!("`{mark}` begins no comment"),
        "a comment begins with `#`",
        "write `#` before a comment, on each of its lines: `# left of the door`",
    );
    if mark == "/*" {
        return found;
    }
    found.fix("write `#`", vec![Edit { span, text: "#".to_owned() }])
}

/// Quotes of another kind, as in `'porch'`.
#[must_use]
pub fn other_quote(span: Span, quote: char) -> Diagnostic {
    finding(
        span,
        format!("`{quote}` is no quotation mark here"),
        "not a quotation mark",
        "put texts between `\"` and `\"`, as in `label \"front porch\"`; names stand without",
    )
}

/// A `let` without its `=`; `before` is the text before its value.
#[must_use]
pub fn equals_missing(span: Span, before: &str, value: &str) -> Diagnostic {
    let (before, value) = (words::shown(before), words::shown(value));
    finding(
        span,
        format!("no `=` stands between a name and its value, `{value}`"),
        "`=` is missing before this",
        format!("write `{before} = {value}`"),
    )
}

/// An IPv6 address without square brackets.
#[must_use]
pub fn bare_address(span: Span, address: &str) -> Diagnostic {
    finding(
        span,
        format!("the address `{}` stands without brackets", words::shown(address)),
        "needs `[` and `]` round it",
        format!("write `[{}]`", words::shown(address)),
    )
}

/// A URL in place of the address of a host.
#[must_use]
pub fn link(span: Span) -> Diagnostic {
    finding(
        span,
        "the host is written as a link".to_owned(),
        "only the address, without `http://` and a path",
        "write the address alone, as in `host 192.168.40.11`",
    )
}

/// A line that begins with a mark that can't begin one.
#[must_use]
pub fn parted_line(span: Span, mark: &str) -> Diagnostic {
    finding(
        span,
        format!("a line begins with `{mark}`, but the line above has ended"),
        format!("nothing before this `{mark}`"),
        format!(
            "put the `{mark}` at the end of the line above; only `->` may begin a line that goes on"
        ),
    )
}

/// Runs of a string without the `:` before them.
#[must_use]
pub fn runs_without_colon(span: Span) -> Diagnostic {
    finding(
        span,
        "a string of several runs has no `:` before them".to_owned(),
        "`->` joins runs, and a `:` must stand before the first run",
        "write `:` before the first run, as in `string eaves: left 34 nodes -> right 46 nodes`",
    )
}

/// `reserve 40..41`, without the word `universes`.
#[must_use]
pub fn reserve_of_what(span: Span, rest: &str) -> Diagnostic {
    finding(
        span,
        "a `reserve` does not say what it reserves".to_owned(),
        "`universes` is missing before this",
        format!("write `reserve universes {}`", words::shown(rest)),
    )
}

/// A misspelt word: `likes` for `like`; `near` is the word that fits.
#[must_use]
pub fn near_word(span: Span, thing: Thing<'_>, found: &str, near: &str) -> Diagnostic {
    finding(
        span,
        format!("{} has `{}` where `{near}` fits", thing.words(), words::shown(found)),
        format!("perhaps `{near}`"),
        format!("write `{near}`, as in `{}`", thing.example()),
    )
    .suggest(format!("write `{near}`"), vec![Edit { span, text: near.to_owned() }])
}
