//! Common slips within a setting.

use super::RULE;
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;

/// A second setting without `;` before it; `before` is the text of the first.
#[must_use]
pub fn second_setting(span: Span, word: &str, before: &str) -> Diagnostic {
    let first = words::shown(before);
    let blanks = span.start.saturating_sub(1);
    RULE.report(span, format!("`{word}` begins another setting, but no `;` stands before it"))
        .label("`;` is missing before this")
        .why("two settings read as one say something else, or nothing")
        .help(format!("write `;` before it: `{first}; {word} …`"))
        .suggest("write `;`", vec![Edit { span: Span::new(blanks, blanks), text: ";".to_owned() }])
}

/// A comma between two settings; `before` is the text of the first.
#[must_use]
pub fn comma_for_semicolon(span: Span, word: &str, before: &str) -> Diagnostic {
    let first = words::shown(before);
    RULE.report(span, format!("`{word}` begins another setting, but a `,` stands before it"))
        .label("after a `,` that should be a `;`")
        .why("two settings read as one say something else, or nothing")
        .help(format!("write `;` in its place: `{first}; {word} …`"))
}

/// A setting with wrong or missing words before its value; `meant` is the whole setting, put right.
#[must_use]
pub fn words_left_out(span: Span, written: &str, block: &str, meant: &str) -> Diagnostic {
    RULE.report(
        span,
        format!("`{block}` has no setting that is written `{}`", words::shown(written)),
    )
    .label("wrong or missing words")
    .why("what the setting sets can't be read")
    .help(format!("write `{}`", words::shown(meant)))
}

/// A number in quotes, as in `string "40" nodes`. The place includes the quotes.
#[must_use]
pub fn quoted_number(span: Span, number: &str) -> Diagnostic {
    let number = words::shown(number);
    RULE.report(span, format!("the number {number} stands in quotes"))
        .label("a text, not a number")
        .why("what the setting sets can't be read")
        .help(format!("write `{number}` without the quotes"))
        .suggest("leave out the quotes", vec![Edit { span, text: number.clone() }])
}

/// `strings 36 nodes`, without the number of strings; `span` is the place of `strings`.
#[must_use]
pub fn strings_of_one(span: Span, length: &str) -> Diagnostic {
    let length = words::shown(length);
    RULE.report(span, "`strings` does not say how many")
        .label("how many?")
        .why("each string is a cable of its own and needs a port or a place on one")
        .help(format!(
            "write `string {length}` for one string, or how many of them: `strings 2 of {length}`"
        ))
        .suggest("make it one string", vec![Edit { span, text: "string".to_owned() }])
}

/// `string 2 of 36 nodes`, where `strings` is meant; `span` is the place of `string`.
#[must_use]
pub fn string_of_several(span: Span, count: &str, length: &str) -> Diagnostic {
    let (count, length) = (words::shown(count), words::shown(length));
    RULE.report(span, "`string` makes one string, but a number of strings follows")
        .label("one string")
        .why("each string is a cable of its own and needs a port or a place on one")
        .help(format!("write `strings {count} of {length}`"))
        .suggest("write `strings`", vec![Edit { span, text: "strings".to_owned() }])
}
