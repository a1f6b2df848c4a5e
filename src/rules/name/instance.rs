//! `name/instance`: a member that a family does not have.

use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/instance",
    severity: Severity::Error,
    title: "a member that the family does not have",
    page: Page {
        means: "A reference such as `arch[9]` names member 9 of a family that was declared with fewer members, \
                or a member of a prop that is no family.",
        why: "The member does not exist; with a guess, another member's string would get the address.",
        source: "grammar/LANGUAGE.md, \"prop\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop arch * 6 { node bullet; string 50 nodes }\n\
                wire shed.1: arch[1..6] -> arch[9]\n",
        change: &[("* 6", "* 9"), ("arch[1..6]", "arch[1..8]")],
    },
    check: None,
};

/// A member number that the family does not have.
pub fn beyond(span: Span, name: &str, number: i64, count: u32, declared: Span) -> Diagnostic {
    RULE.report(span, format!("`{name}` has members 1 to {count}, there is no `{name}[{number}]`"))
        .label(format!("{number} is not one of 1 to {count}"))
        .why("there is nothing to wire under that number")
        .help(if number > i64::from(count) {
            format!("use a member from 1 to {count}, or declare `prop {name} * {number}`")
        } else if number < 0 {
            format!("use members from 1 to {count}; a range has two dots: `{name}[1..{count}]`")
        } else {
            format!("members count from 1: use one from 1 to {count}")
        })
        .and(declared, format!("declared with {count} here"))
}

/// A reference to a member of a prop that is no family.
pub fn no_family(span: Span, name: &str, declared: Span) -> Diagnostic {
    RULE.report(
        span,
        format!("`{name}` is one prop, not a family with members"),
    )
    .label("it has no members")
    .why("a member number would mean nothing here")
    .help(format!(
        "write `{name}` without the brackets, `{name}.1` for its first string, or declare `prop \
         {name} * N`"
    ))
    .and(declared, "declared without `* N` here")
}
