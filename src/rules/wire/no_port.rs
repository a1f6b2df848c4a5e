//! `wire/no-port`: a port or output that is not there.

use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/no-port",
    severity: Severity::Error,
    title: "a port or output that is not there",
    page: Page {
        means: "A wire, receiver, reservation or feed names a port or DMX output that its controller or \
                receiver does not have, or a range of ports has fewer ports than there are chains for it.",
        why: "There is no socket for that plug.",
        source: "the language guide, wiring",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.5: wreath\n",
        right: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..8 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.5: wreath\n",
    },
    check: None,
};

/// A port number that the controller or receiver does not have. `has` says which it has.
pub fn beyond(span: Span, name: &str, port: &str, has: &str, declared: Span) -> Diagnostic {
    let kind = if port.starts_with("dmx") {
        "DMX output"
    } else {
        "port"
    };
    RULE.at(
        span,
        Words {
            message: format!("`{name}` has no {kind} `{port}`"),
            label: format!("`{name}` has {has}"),
            why: "there is no socket for this plug".to_owned(),
            help: format!("use one that it has, or declare this {kind} in `{name}`"),
        },
    )
    .and(declared, "declared here")
}

/// A receiver that carries ports its controller does not have.
pub fn carried(span: Span, name: &str, port: u32, controller: &str, declared: Span) -> Diagnostic {
    RULE.at(
        span,
        Words {
            message: format!(
                "`{name}` carries port {port} of `{controller}`, which has no such port"
            ),
            label: format!("`{controller}` has no port {port}"),
            why: "no data would come out of the receiver there".to_owned(),
            help: format!("carry ports that `{controller}` has, or declare port {port} in it"),
        },
    )
    .and(declared, "declared here")
}

/// More chains than ports in a range.
pub fn too_few(span: Span, chains: usize, ports: usize) -> Diagnostic {
    RULE.at(
        span,
        Words {
            message: format!("{chains} chains are wired to a range of {ports} ports"),
            label: format!("{ports} ports"),
            why: "each chain takes a port of the range, and some would be left without".to_owned(),
            help: format!("make the range {chains} ports long, or join chains with `->`"),
        },
    )
}
