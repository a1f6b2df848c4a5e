//! `name/taken`: one name declared twice.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/taken",
    severity: Severity::Error,
    title: "one name declared twice",
    page: Page {
        means: "Two statements of one kind declare the same name. Kinds do not share names: a prop and a node \
                may both be called `star`. A display has one `display` statement.",
        why: "The lock keeps addresses by name. If two props have one name, nobody can say which of them a wire means.",
        source: "grammar/LANGUAGE.md, \"Names\", grammar/LANGUAGE.md, \"The lock\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                prop wreath { node bullet; string 60 nodes }\n\
                wire shed.1: wreath\n",
        change: &[
            ("prop wreath { node bullet; string 60", "prop big-wreath { node bullet; string 60"),
            (" shed.1: wreath", " shed.1: wreath -> big-wreath"),
        ],
    },
    check: None,
};

/// The second declaration of a name.
pub fn again(kind: &str, name: &str, second: Span, first: Span) -> Diagnostic {
    let name = shown(name);
    let kind = if kind == "let" { "number" } else { kind };
    let help = match kind {
        "number" => "keep one of the two, or give one of them another name".to_owned(),
        "prop" => {
            format!("give one of them another name, or make it a family: `prop {name} * 2 {{ … }}`")
        }
        _ => "give one of them another name".to_owned(),
    };
    RULE.report(second, format!("{kind} `{name}` is declared twice"))
        .label("declared again here")
        .why("only the first one counts; what was meant for the second would be lost")
        .help(help)
        .and(first, "first declared here")
}

/// A second `display` statement.
pub fn second_display(second: Span, first: Span) -> Diagnostic {
    RULE.report(second, "there are two `display` statements")
        .label("a second one")
        .why("frame rate and universe size hold for the whole display, so they are said once")
        .help("move its settings into the first `display` and remove it")
        .and(first, "the first one")
}

/// A name that is the old one, or the new one, of two renames.
pub fn renamed_twice(second: Span, first: Span, name: &str) -> Diagnostic {
    let name = shown(name);
    RULE.report(second, format!("`{name}` stands in two renames"))
        .label("again here")
        .why("its addresses can go to one name only")
        .help("keep the rename that is meant and remove the other")
        .and(first, "first here")
}

/// A rename whose old name is still declared.
pub fn still_there(span: Span, old: &str, new: &str, declared: Span) -> Diagnostic {
    let (old, new) = (shown(old), shown(new));
    RULE.report(span, format!("`{old}` is renamed to `{new}` and still declared"))
        .label("still declared")
        .why("its addresses can't stay with it and go to the new name")
        .help(format!("remove `{old}` or the rename"))
        .and(declared, format!("`{old}` is declared here"))
}
