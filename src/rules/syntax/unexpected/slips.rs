//! Usual slips, each told by its name.

use super::{Thing, finding};
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;

/// `=` or `:` behind the first word of a setting.
#[must_use]
pub fn mark_after_key(span: Span, mark: &str, key: &str) -> Diagnostic {
    let key = words::shown(key);
    finding(
        span,
        format!("the setting `{key}` has a `{mark}` before its value"),
        format!("no `{mark}` here"),
        format!(
            "leave the `{mark}` out: a setting is its words and its value, as in `string 36 nodes`"
        ),
    )
    .fix(
        format!("leave out the `{mark}`"),
        vec![Edit {
            span,
            text: String::new(),
        }],
    )
}

/// `host 192.168.7.20:5568`; `port` is what stands behind the host.
#[must_use]
pub fn host_with_port(host: Span, port: Span) -> Diagnostic {
    finding(
        port,
        "a host has the number of a network port behind it".to_owned(),
        "no network port here",
        "leave it out: each `input` has a network port of its own".to_owned(),
    )
    .and(host, "this is the host")
    .fix(
        "leave out the network port",
        vec![Edit {
            span: port,
            text: String::new(),
        }],
    )
}

/// `fox2..3`, `fox..3` for `fox[2..3]`; `written` is what stands there, `meant` what says it.
#[must_use]
pub fn members_without_brackets(span: Span, written: &str, meant: &str) -> Diagnostic {
    finding(
        span,
        format!(
            "the members in `{}` stand without brackets",
            words::shown(written)
        ),
        "members stand in `[ ]`",
        format!("write `{}`", words::shown(meant)),
    )
}

/// A statement or setting behind another on one line.
#[must_use]
pub fn second_on_line(span: Span, thing: Thing<'_>, found: &str) -> Diagnostic {
    finding(
        span,
        format!("{found} follows {} on the same line", thing.words()),
        "begins something new",
        "put it on a line of its own, or write `;` between them",
    )
}

/// `//` or `/*`.
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
    found.fix(
        "write `#`",
        vec![Edit {
            span,
            text: "#".to_owned(),
        }],
    )
}

/// Quotes round a name. `name` is the text between them.
#[must_use]
pub fn quoted_name(span: Span, name: &str) -> Diagnostic {
    let shown = words::shown(name);
    let plain = name.starts_with(char::is_alphabetic)
        && !name.ends_with('-')
        && name
            .chars()
            .all(|c| c.is_alphanumeric() || c == '-' || c == '_');
    let found = finding(
        span,
        format!("the name `{shown}` stands in quotes"),
        "a name has no quotes",
        if plain {
            format!("write `{shown}`")
        } else {
            "write a name of letters, digits, `-` and `_`, and put what is to be read in a label: `label \"…\"`"
                .to_owned()
        },
    );
    if !plain {
        return found;
    }
    found.fix(
        "leave out the quotes",
        vec![Edit {
            span,
            text: name.to_owned(),
        }],
    )
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

/// A name that ends in `-`.
#[must_use]
pub fn hanging_hyphen(span: Span, name: &str) -> Diagnostic {
    finding(
        span,
        format!("the name `{}` ends in `-`", words::shown(name)),
        "a name ends in a letter, a digit or `_`",
        "leave out the last `-`",
    )
}

/// A blank between a name and its `[`.
#[must_use]
pub fn parted_members(span: Span, name: &str) -> Diagnostic {
    let name = words::shown(name);
    finding(
        span,
        format!("a blank stands between `{name}` and its `[`"),
        "belongs to the name before it",
        format!("write `{name}[…]` without the blank"),
    )
}

/// `1-4` for `1..4`; `dash` is the place of the `-`, `range` how it should be written.
#[must_use]
pub fn dashed_range(span: Span, dash: Span, range: &str) -> Diagnostic {
    let range = words::shown(range);
    finding(
        span,
        "a range is written with `-`".to_owned(),
        "this subtracts, and comes out below zero",
        format!("write two dots between the ends: `{range}`"),
    )
    .suggest(
        "write `..`",
        vec![Edit {
            span: dash,
            text: "..".to_owned(),
        }],
    )
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
    .suggest(
        format!("write `{range}`"),
        vec![Edit {
            span,
            text: range.clone(),
        }],
    )
}

/// A range with too many dots, or without one of its ends. `what` says which.
#[must_use]
pub fn bad_range(span: Span, what: &str) -> Diagnostic {
    finding(
        span,
        format!("a range {what}"),
        "a range has two dots between two numbers",
        "write both ends with two dots between them, as in `1..4`",
    )
}

/// `=>`, `-->` and other arrows.
#[must_use]
pub fn other_arrow(span: Span, text: &str) -> Diagnostic {
    finding(
        span,
        format!("`{}` is no arrow here", words::shown(text)),
        "not an arrow",
        "join the items of a chain by `->`, as in `lighthouse.2 -> lamp`",
    )
    .fix(
        "write `->`",
        vec![Edit {
            span,
            text: "->".to_owned(),
        }],
    )
}

/// Two items of a chain with nothing between them: the one before, and the one found.
#[must_use]
pub fn unjoined(span: Span, before: &str, found: &str) -> Diagnostic {
    let (before, found) = (words::shown(before), words::shown(found));
    finding(
        span,
        format!("`{found}` is not joined to the item before it"),
        "`->` or `,` is missing before this",
        format!(
            "write `{before} -> {found}` to go on on the same data line, or `{before}, {found}` for the next port"
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
            "write `{before} -> {next}` to go on on the same data line, or `{before}, {next}` for the next port"
        ),
    )
}

/// A `wire` without the `:` behind its target.
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

/// A `let` without its `=`; `before` is all up to its value.
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

/// An address of the newer internet protocol outside square brackets.
#[must_use]
pub fn bare_address(span: Span, address: &str) -> Diagnostic {
    let address = words::shown(address);
    finding(
        span,
        format!("the address `{address}` stands without brackets"),
        "needs `[` and `]` round it",
        format!("write `[{address}]`"),
    )
}

/// A link where an address is meant.
#[must_use]
pub fn link(span: Span) -> Diagnostic {
    finding(
        span,
        "the host is written as a link".to_owned(),
        "only the address, not how a browser reaches it",
        "write the address alone, as in `host 192.168.40.11`",
    )
}

/// A line that begins with a mark which can only follow something.
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
        "joins runs, which begin behind a `:`",
        "write `:` before the first run, as in `string eaves: left 34 nodes -> right 46 nodes`",
    )
}

/// A text without quotes where it must have them.
#[must_use]
pub fn unquoted(span: Span, text: &str) -> Diagnostic {
    let shown = words::shown(text);
    finding(
        span,
        format!("the text `{shown}` stands without quotes"),
        "needs `\"` before and behind it",
        format!("write `\"{shown}\"`"),
    )
    .fix(
        "put it in quotes",
        vec![Edit {
            span,
            text: format!("\"{text}\""),
        }],
    )
}

/// A word near to one that fits: `likes` for `like`.
#[must_use]
pub fn near_word(span: Span, thing: Thing<'_>, found: &str, near: &str) -> Diagnostic {
    finding(
        span,
        format!(
            "{} has `{}` where `{near}` fits",
            thing.words(),
            words::shown(found)
        ),
        format!("perhaps `{near}`"),
        format!("write `{near}`, as in `{}`", thing.example()),
    )
    .suggest(
        format!("write `{near}`"),
        vec![Edit {
            span,
            text: near.to_owned(),
        }],
    )
}

/// `prop my lamp`: a name of several words; `joined` is how it could be written.
#[must_use]
pub fn split_name(span: Span, name: &str, joined: &str) -> Diagnostic {
    let joined = words::shown(joined);
    finding(
        span,
        format!("the name `{}` is more than one word", words::shown(name)),
        "a name is one word",
        format!("write `{joined}`; what is to be read by people goes in a label: `label \"front porch\"`"),
    )
    .suggest(
        format!("write `{joined}`"),
        vec![Edit {
            span,
            text: joined.clone(),
        }],
    )
}

/// A name that begins with a digit or `_`.
#[must_use]
pub fn name_start(span: Span, name: &str) -> Diagnostic {
    finding(
        span,
        format!(
            "the name `{}` does not begin with a letter",
            words::shown(name)
        ),
        "a name begins with a letter",
        "put a letter or a word before it, as in `lamp-3`",
    )
}
