//! `wire/twice`: one string on two chains.

use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/twice",
    severity: Severity::Error,
    title: "one string on two chains",
    page: Page {
        means: "A string stands in two wires, or twice in one. It has one data input, so it can hang on one \
                port only.",
        why: "Only one of the two plugs can be used, and every address after the other would be off by that string.",
        source: "grammar/LANGUAGE.md, \"wire\", grammar/LANGUAGE.md, \"Same data\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop arch * 4 { node bullet; string 50 nodes }\n\
                wire shed.1: arch[1..3]\n\
                wire shed.2: arch[3..4]\n",
        change: &[("arch[1..3]", "arch[1..2]")],
    },
    check: None,
};

/// A string that is wired already. `more` strings of its reference are wired at the same place.
pub fn again(second: Span, first: Span, name: &str, more: usize) -> Diagnostic {
    let others = match more {
        0 => " is".to_owned(),
        more => format!(" and {} are", counted(more, "more string")),
    };
    let them = if more == 0 { "it" } else { "them" };
    RULE.report(second, format!("`{name}`{others} wired twice"))
        .label(format!("`{name}` again"))
        .why("a string has one data input and hangs on one port")
        .help(format!(
            "take {them} out of one of the two; another string that is to show the same is a prop \
             with `same as {name}`"
        ))
        .and(first, format!("`{name}`{others} wired here already"))
}
