//! `wire/kind`: a fixture on a pixel port, or a pixel string on a DMX output.

use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/kind",
    severity: Severity::Error,
    title: "a fixture on a pixel port, or a pixel string on a DMX output",
    page: Page {
        means: "A prop of `slots` hangs on a pixel port, or a string of nodes (or a `skip`) on a DMX output. A \
                pixel port takes `slots` props only where it says `slots at most`, for a panel driver or a \
                relay board.",
        why: "A DMX line (EIA-485) and a pixel data line are different signals on different plugs: nothing \
              would light, and the port's driver may be damaged.",
        source: "ANSI E1.11-2008 (R2018), DMX512-A over EIA-485, free from ESTA; the data sheets of the pixel chips",
        wrong: "controller shed { ports 1..4 { }; dmx 1 }\n\
                prop flood { slots 6 }\n\
                wire shed.1: flood\n",
        change: &[("shed.1:", "shed.dmx1:")],
    },
    check: None,
};

/// A fixture on a pixel port.
///
/// `other` is a DMX output of the same controller, if it has one.
pub fn fixture(
    span: Span,
    name: &str,
    target: Span,
    (output, other): (&str, Option<&str>),
    declared: Span,
) -> Diagnostic {
    RULE.report(
        span,
        format!("fixture `{name}` hangs on pixel port {output}"),
    )
    .label("a fixture with slots")
    .why("a pixel port does not speak DMX")
    .help(format!(
        "wire it to a DMX output ({}); for a panel driver or relay board give the port `slots at \
         most N`",
        match other {
            Some(other) => format!("`{other}`"),
            None => "a controller has those by `dmx 1`".to_owned(),
        }
    ))
    .and(target, "a pixel port")
    .and(declared, "declared with `slots` here")
}

/// A string of nodes on a DMX output.
///
/// `other` is a pixel port of the same controller, if it has one.
pub fn string(
    span: Span,
    name: &str,
    target: Span,
    (output, other): (&str, Option<&str>),
    declared: Span,
) -> Diagnostic {
    RULE.report(span, format!("pixel string `{name}` hangs on DMX output {output}"))
        .label("a string of nodes")
        .why("pixels do not understand DMX")
        .help(match other {
            Some(other) => format!("wire it to a pixel port, such as `{other}`"),
            None => {
                "wire it to a pixel port; a controller has those by `ports 1..4 { }`".to_owned()
            }
        })
        .and(target, "a DMX output")
        .and(declared, "declared with nodes here")
}

/// A string of nodes on a port that counts slots.
pub fn on_slots(span: Span, name: &str, output: &str, limit: Span) -> Diagnostic {
    RULE.report(
        span,
        format!("pixel string `{name}` hangs on port {output}, which takes `slots` props"),
    )
    .label("a string of nodes")
    .why("the port feeds a panel driver or relay board, not pixels")
    .help("wire it to another port, or give this port `nodes at most` in place of `slots at most`")
    .and(limit, "this port counts slots")
}

/// `skip` on a DMX output.
pub fn skip(span: Span, output: &str) -> Diagnostic {
    RULE.report(span, format!("`skip` on DMX output {output}"))
        .label("skips are nodes of a data line")
        .why("a DMX line has no nodes to skip; free slots are left by pinning the next fixture")
        .help("pin what comes next, as in `flood[2] at 17`")
}

/// A fixture and a string of nodes joined in one chain whose port is open.
pub fn mixed(span: Span, name: &str, other: Span, other_name: &str) -> Diagnostic {
    RULE.report(
        span,
        format!(
            "`{name}` and `{other_name}` are joined, but one is a fixture and the other a string of nodes"
        ),
    )
    .label(format!("`{name}`"))
    .why("no line carries both DMX and pixel data")
    .help("write a comma in place of the `->` between them")
    .and(other, format!("`{other_name}`"))
}

/// Slots reserved on a pixel port.
pub fn reserved_slots(span: Span) -> Diagnostic {
    RULE.report(span, "slots are reserved on a pixel port")
        .label("a pixel port")
        .why("only a DMX output has slots of its own to keep free")
        .help("reserve the port whole, or name a DMX output such as `.dmx1`")
}

/// Power for a DMX output.
pub fn power_to_dmx(span: Span) -> Diagnostic {
    RULE.report(span, "power is led to a DMX output")
        .label("a DMX output")
        .why("a DMX line carries data only; its fixtures have their own supply")
        .help("name the pixel ports that the supply feeds")
}

/// Power injected into a fixture.
pub fn injected_fixture(span: Span, name: &str, declared: Span) -> Diagnostic {
    RULE.report(span, format!("power is injected into fixture `{name}`"))
        .label("a fixture")
        .why("a fixture is no string that power could be fed into")
        .help("name a prop made of nodes")
        .and(declared, "declared with `slots` here")
}
