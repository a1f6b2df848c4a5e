//! Slips within a setting, each told by its name.

use super::RULE;
use crate::diagnostic::{Diagnostic, Edit, Words, words};
use crate::source::Span;

/// A second setting behind one that has not ended; `before` is the text of the first.
#[must_use]
pub fn second_setting(span: Span, word: &str, before: &str) -> Diagnostic {
    let first = words::shown(before);
    let blanks = span.start.saturating_sub(1);
    RULE.at(
        span,
        Words {
            message: format!("`{word}` begins another setting, and no `;` stands before it"),
            label: "`;` is missing before this".to_owned(),
            why: "two settings read as one say something else, or nothing".to_owned(),
            help: format!("write `;` before it: `{first}; {word} …`"),
        },
    )
    .suggest(
        "write `;`",
        vec![Edit {
            span: Span::new(blanks, blanks),
            text: ";".to_owned(),
        }],
    )
}

/// A comma between two settings; `before` is the text of the first.
#[must_use]
pub fn comma_for_semicolon(span: Span, word: &str, before: &str) -> Diagnostic {
    let first = words::shown(before);
    RULE.at(
        span,
        Words {
            message: format!("`{word}` begins another setting, and a `,` stands before it"),
            label: "behind a `,` where `;` should stand".to_owned(),
            why: "two settings read as one say something else, or nothing".to_owned(),
            help: format!("write `;` in its place: `{first}; {word} …`"),
        },
    )
}

/// A setting whose words before the value are others, or are not there; `meant` is it in full.
#[must_use]
pub fn words_left_out(span: Span, written: &str, block: &str, meant: &str) -> Diagnostic {
    RULE.at(
        span,
        Words {
            message: format!(
                "`{}` is no setting of `{block}` in these words",
                words::shown(written)
            ),
            label: "not in these words".to_owned(),
            why: "what the setting sets can't be read".to_owned(),
            help: format!("write `{}`", words::shown(meant)),
        },
    )
}

/// A number in quotes, as in `string \"40\" nodes`. The place holds the quotes.
#[must_use]
pub fn quoted_number(span: Span, number: &str) -> Diagnostic {
    let number = words::shown(number);
    RULE.at(
        span,
        Words {
            message: format!("the number {number} stands in quotes"),
            label: "a text, not a number".to_owned(),
            why: "what the setting sets can't be read".to_owned(),
            help: format!("write `{number}` without the quotes"),
        },
    )
    .suggest(
        "leave out the quotes",
        vec![Edit {
            span,
            text: number.clone(),
        }],
    )
}

/// `strings 36 nodes`: `strings` at `span`, without how many.
#[must_use]
pub fn strings_of_one(span: Span, length: &str) -> Diagnostic {
    let length = words::shown(length);
    RULE.at(
        span,
        Words {
            message: "`strings` does not say how many".to_owned(),
            label: "how many?".to_owned(),
            why: "each string is a cable of its own and needs a port or a place on one".to_owned(),
            help: format!(
                "write `string {length}` for one string, or how many of them: `strings 2 of {length}`"
            ),
        },
    )
    .suggest(
        "make it one string",
        vec![Edit {
            span,
            text: "string".to_owned(),
        }],
    )
}

/// `string 2 of 36 nodes`: `string` at `span` where `strings` is meant.
#[must_use]
pub fn string_of_several(span: Span, count: &str, length: &str) -> Diagnostic {
    let (count, length) = (words::shown(count), words::shown(length));
    RULE.at(
        span,
        Words {
            message: "`string` is one string, and several are counted behind it".to_owned(),
            label: "one string".to_owned(),
            why: "each string is a cable of its own and needs a port or a place on one".to_owned(),
            help: format!("write `strings {count} of {length}`"),
        },
    )
    .suggest(
        "write `strings`",
        vec![Edit {
            span,
            text: "strings".to_owned(),
        }],
    )
}
