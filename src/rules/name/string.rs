//! `name/string`: a string that a prop does not have.

use crate::diagnostic::words::{nearest, ticked_or};
use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/string",
    severity: Severity::Error,
    title: "a string that the prop does not have",
    page: Page {
        means: "A reference such as `tree.3` names string 3 of a prop that has fewer, or a string by a name \
                that none of its strings has.",
        why: "No such string exists; with a guess, a whole string would be on the wrong plug.",
        source: "grammar/LANGUAGE.md, \"prop\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop tree { node bullet; strings 2 of 200 nodes }\n\
                wire shed.1: tree.1\n\
                wire shed.2: tree.2\n\
                wire shed.3: tree.3\n",
        change: &[("strings 2", "strings 3")],
    },
    check: None,
};

/// A string number that the prop does not have. `written` is the prop or member as the reference
/// has it; `members` is the size of a family, where the reference names no member.
pub fn beyond(
    span: Span,
    (name, written): (&str, &str),
    number: i64,
    (count, members): (u32, Option<u32>),
    declared: Span,
) -> Diagnostic {
    let has = counted(count, "string");
    RULE.report(span, format!("`{name}` has {has}, there is no `{written}.{number}`"))
        .label(format!("no string {number}"))
        .why("there is no such string to wire")
        .help(match count {
            1 if members.is_some_and(|members| number <= i64::from(members)) => {
                format!("write `{name}[{number}]` for member {number} of the family")
            }
            1 => format!("write `{written}` for its only string"),
            _ => format!("use a string from 1 to {count}, or add a `string` to `{name}`"),
        })
        .and(declared, format!("{has} here"))
}

/// One more place where data comes in than the prop has strings.
pub fn places(span: Span, name: &str, count: u32, declared: Span) -> Diagnostic {
    let has = counted(count, "string");
    RULE.report(
        span,
        format!("`{name}` has {has}, but one more place is given where data comes in"),
    )
    .label("no string enters here")
    .why("each string has one place where its data comes in")
    .help(match count {
        1 => "write one place".to_owned(),
        _ => format!("write at most {count} places, or one for all strings"),
    })
    .and(declared, format!("{has} here"))
}

/// A name that no string of the prop has; `known` are the names that they have.
pub fn no_name(
    span: Span,
    name: &str,
    written: &str,
    known: &[&str],
    declared: Span,
) -> Diagnostic {
    let near = nearest(written, known.iter().copied());
    let help = match (near.as_slice(), known) {
        ([], []) => {
            format!("use its number, such as `{name}.1`, or name it: `string {written}: 50 nodes`")
        }
        ([], known) => format!("its strings are named {}", ticked_or(known)),
        (near, _) => format!("did you mean {}?", ticked_or(near)),
    };
    RULE.report(span, format!("`{name}` has no string named `{written}`"))
        .label("no string has this name")
        .why("there is no such string to wire")
        .help(help)
        .and(declared, "its strings are declared here")
}

/// A reference to a string of a fixture.
pub fn of_fixture(span: Span, name: &str, declared: Span) -> Diagnostic {
    RULE.report(span, format!("`{name}` is a fixture and has no strings"))
        .label("a fixture has slots, no strings")
        .why("a string number would mean nothing here")
        .help(format!("write `{name}` without it"))
        .and(declared, "declared with `slots` here")
}
