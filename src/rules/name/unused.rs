//! `name/unused`: something declared that nothing uses.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/unused",
    severity: Severity::Advice,
    title: "something declared that nothing uses",
    page: Page {
        means: "A chip, a make of node, a `let`, a supply, a circuit, a receiver or a controller is declared, \
                and nothing names it or comes to lie on it.",
        why: "It is either left over from last year or a sign that a wire to it is missing.",
        source: "the language guide",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                node icicle { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.1: wreath\n",
        right: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.1: wreath\n",
    },
    check: None,
};

/// A declaration that nothing names.
pub fn declared(kind: &str, name: &str, span: Span) -> Diagnostic {
    let name = shown(name);
    let help = match kind {
        "controller" | "receiver" => {
            format!("wire something to it (`wire {name}.1: …`) or remove it")
        }
        "supply" => format!("feed ports from it (`power … from {name} through …`) or remove it"),
        _ => "use it or remove it".to_owned(),
    };
    RULE.at(
        span,
        Words {
            message: format!("{kind} `{name}` is declared and never used"),
            label: "nothing uses it".to_owned(),
            why: "it changes nothing at the display".to_owned(),
            help,
        },
    )
}
