//! Common slips in names.

use super::finding;
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::{Span, quoted};

/// `fox2..3`, `fox..3` for `fox[2..3]`; `written` is the text, `meant` the text put right.
#[must_use]
pub fn members_without_brackets(span: Span, written: &str, meant: &str) -> Diagnostic {
    finding(
        span,
        format!("the members in `{}` stand without brackets", words::shown(written)),
        "members stand in `[ ]`",
        format!("write `{}`", words::shown(meant)),
    )
}

/// A name in quotes; `name` is the text between them.
#[must_use]
pub fn quoted_name(span: Span, name: &str) -> Diagnostic {
    let shown = words::shown(name);
    let plain = name.starts_with(char::is_alphabetic)
        && !name.ends_with('-')
        && name.chars().all(|c| c.is_alphanumeric() || c == '-' || c == '_');
    let found = finding(
        span,
        format!("the name `{shown}` stands in quotes"),
        "a name has no quotes",
        if plain {
            format!("write `{shown}`")
        } else {
            "write a name of letters, digits, `-` and `_`, and put the text for people in a label: `label \"…\"`"
                .to_owned()
        },
    );
    if !plain {
        return found;
    }
    found.fix("leave out the quotes", vec![Edit { span, text: name.to_owned() }])
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

/// `prop fox(3)`, `prop fox.3` for `prop fox[3]`; `meant` is the name with its member.
#[must_use]
pub fn member_of_head(span: Span, written: &str, meant: &str) -> Diagnostic {
    finding(
        span,
        format!("a member stands without its brackets: `{}`", words::shown(written)),
        "members stand in `[ ]`",
        format!("write `prop {}`", words::shown(meant)),
    )
}

/// A text without quotes where it must have them.
#[must_use]
pub fn unquoted(span: Span, text: &str) -> Diagnostic {
    let shown = words::shown(text);
    finding(
        span,
        format!("the text `{shown}` stands without quotes"),
        "needs `\"` before and after it",
        format!("write `\"{shown}\"`"),
    )
    .fix("put it in quotes", vec![Edit { span, text: format!("\"{}\"", quoted::written(text)) }])
}

/// `prop my lamp`: a name of several words; `joined` is the same as one word.
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
        format!("the name `{}` does not begin with a letter", words::shown(name)),
        "a name begins with a letter",
        "put a letter or a word before it, as in `lamp-3`",
    )
}
