//! `wire/no-port`: a port or output that does not exist.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/no-port",
    severity: Severity::Error,
    title: "a port or output that is not there",
    page: Page {
        means: "A wire, receiver, reservation or feed names a port or DMX output that its controller or \
                receiver does not have, or a range of ports is wired to more chains than it has ports.",
        why: "There is no socket for that plug.",
        source: "grammar/LANGUAGE.md, \"wire\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.5: wreath\n",
        change: &[("1..4", "1..8")],
    },
    check: None,
};

/// What a controller or receiver does not have.
#[derive(Clone, Copy, Debug)]
pub enum Missing<'a> {
    /// Ports of a controller, from the first to the last.
    Ports(u32, u32),
    /// Ports of a receiver, which has those that it carries.
    Carried(u32, u32),
    /// A DMX output.
    Dmx(u32),
    /// A word that names neither a port nor a DMX output.
    Other(&'a str),
}

impl Missing<'_> {
    fn words(self) -> String {
        match self {
            Self::Ports(first, last) | Self::Carried(first, last) if first != last => {
                format!("ports `{first}` to `{last}`")
            }
            Self::Ports(first, _) | Self::Carried(first, _) => format!("port `{first}`"),
            Self::Dmx(number) => format!("DMX output `dmx{number}`"),
            Self::Other(word) => format!("port `{}`", shown(word)),
        }
    }

    /// What to write so that `name` has it.
    fn cure(self, name: &str) -> String {
        match self {
            Self::Ports(first, last) if first != last => {
                format!("declare them in `{name}`: `ports {first}..{last} {{ }}`")
            }
            Self::Ports(first, _) => format!("declare it in `{name}`: `port {first} {{ }}`"),
            Self::Carried(..) => format!("let `{name}` carry more ports of its controller"),
            Self::Dmx(number) => format!("declare it in `{name}`: `dmx {number}`"),
            Self::Other(_) => format!("name a port by its number, as in `{name}.1`"),
        }
    }
}

/// A port or output that the controller or receiver does not have; `has` says which it has.
pub fn beyond(
    span: Span,
    name: &str,
    missing: Missing<'_>,
    has: Option<&str>,
    declared: Span,
) -> Diagnostic {
    let cure = missing.cure(name);
    RULE.report(span, format!("`{name}` has no {}", missing.words()))
        .label(match has {
            Some(has) => format!("`{name}` has {has}"),
            None => "not there".to_owned(),
        })
        .why("there is no socket for this plug")
        .help(match (has, missing) {
            (Some(_), Missing::Other(_)) | (None, _) => cure,
            (Some(_), Missing::Ports(first, last) | Missing::Carried(first, last))
                if first != last =>
            {
                format!("use ports that it has, or {cure}")
            }
            (Some(_), _) => format!("use one that it has, or {cure}"),
        })
        .and(declared, "declared here")
}

/// A receiver that carries ports its controller does not have.
pub fn carried(span: Span, name: &str, port: u32, controller: &str, declared: Span) -> Diagnostic {
    RULE.report(
        span,
        format!("`{name}` carries port {port} of `{controller}`, which has no such port"),
    )
    .label(format!("`{controller}` has no port {port}"))
    .why("no data would come out of the receiver there")
    .help(format!("carry ports that `{controller}` has, or declare port {port} in it"))
    .and(declared, "declared here")
}

/// More chains than there are ports in their range.
pub fn too_few(span: Span, chains: usize, ports: usize) -> Diagnostic {
    RULE.report(span, format!("{chains} chains are wired to a range of {}", counted(ports, "port")))
        .label(counted(ports, "port"))
        .why("each chain takes a port of the range, and some would be left without")
        .help(format!("make the range {chains} ports long, or join chains with `->`"))
}
