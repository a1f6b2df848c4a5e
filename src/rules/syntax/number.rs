//! `syntax/number`: a number that can't be read, or that lies out of its range.

mod arithmetic;
mod notation;
mod whole;

pub use arithmetic::*;
pub use notation::*;

use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use std::fmt::Display;

/// The rule.
pub const RULE: Rule = Rule {
    code: "syntax/number",
    severity: Severity::Error,
    title: "a number that can't be read or is out of its range",
    page: Page {
        means: "A number is written in a way that is not read here, or it is too small or too large for what it \
                counts. Numbers are plain digits with at most nine decimals after the point: `448`, `1_344`, `2.5`.",
        why: "A number that was cut or guessed would put nodes on channels that nobody meant.",
        source: "grammar/LANGUAGE.md, \"Numbers and units\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                prop lamp { node bullet; string 0x24 nodes }\n\
                controller porch { ports 1..4 { chip ws2811 } }\n\
                wire porch.1: lamp\n",
        change: &[("0x24", "36")],
    },
    check: Some(whole::check),
};

const OUTSIDE: &str = "a value outside its range can't be set on any controller or fixture";

/// Why a value may not lie outside its range; `what` names the value, as in [`too_small`].
fn outside(what: &str) -> &'static str {
    match what {
        "the temperature" => "a conductor of a running display is never colder or hotter than that",
        "the wire size" => {
            "the tables of resistance and of what a conductor may carry have no such size"
        }
        _ => OUTSIDE,
    }
}

const WHY: &str = "a misread number would move every channel after it";

fn finding(span: Span, message: String, label: &str, help: String) -> Diagnostic {
    RULE.report(span, message).label(label.to_owned()).why(WHY.to_owned()).help(help)
}

/// A value that is too small. `what` names it ("the universe"), `written` is it with its unit.
#[must_use]
pub fn too_small(span: Span, what: &str, written: impl Display, least: impl Display) -> Diagnostic {
    RULE.report(span, format!("{what} is {written}, but it must be at least {least}"))
        .label(format!("less than {least}"))
        .why(outside(what).to_owned())
        .help(format!("write {least} or more"))
}

/// A value that is too large; arguments as in [`too_small`].
#[must_use]
pub fn too_big(span: Span, what: &str, written: impl Display, most: impl Display) -> Diagnostic {
    RULE.report(span, format!("{what} is {written}, but it may be at most {most}"))
        .label(format!("more than {most}"))
        .why(outside(what).to_owned())
        .help(format!("write {most} or less"))
}

/// `4/0 AWG`, which reads as a division. Sizes thicker than 0 AWG are written by area. `number` is
/// what stands before the `/`, 1 to 4.
#[must_use]
pub fn aught(span: Span, number: u32) -> Diagnostic {
    // Areas by ASTM B258, rounded to three digits.
    let (label, size) = match number {
        1 => ("0 AWG", "0 AWG"),
        2 => ("thicker than 0 AWG, the thickest by number here", "67.4 mm2"),
        3 => ("thicker than 0 AWG, the thickest by number here", "85 mm2"),
        _ => ("thicker than 0 AWG, the thickest by number here", "107 mm2"),
    };
    RULE.report(span, format!("a wire size is written `{number}/0 AWG`"))
        .label(label.to_owned())
        .why("`/` divides, so this can't be read as a wire size")
        .help(format!("write `{size}`"))
}

/// A value that must be a whole number and is not; arguments as in [`too_small`].
#[must_use]
pub fn not_whole(span: Span, what: &str, written: impl Display) -> Diagnostic {
    finding(
        span,
        format!("{what} is {written}, but it must be a whole number"),
        "not a whole number",
        "write a whole number".to_owned(),
    )
}

/// A node number that a string does not have.
#[must_use]
pub fn no_such_node(span: Span, name: &str, node: u32, nodes: u32, declared: Span) -> Diagnostic {
    RULE.report(span, format!("`{name}` has nodes 1 to {nodes}, there is no node {node}"))
        .label(format!("not one of 1 to {nodes}"))
        .why("power can't go in where there is no node")
        .help(format!("write a node from 1 to {nodes}, or `at end`"))
        .and(declared, format!("{} here", counted(nodes, "node")))
}

/// A string longer than any display can address.
#[must_use]
pub fn string_too_long(span: Span) -> Diagnostic {
    RULE.report(span, "the string is longer than all universes hold")
        .label("too long")
        .why("63999 universes of 512 slots hold 10922496 three-slot nodes")
        .help("write the number of nodes that the string really has")
}

/// A colour depth other than 8 and 16 bits.
#[must_use]
pub fn depth(span: Span, written: impl Display) -> Diagnostic {
    RULE.report(span, format!("the depth is {written}, but it must be 8 or 16"))
        .label("neither 8 nor 16")
        .why("a colour takes one slot or two, nothing between")
        .help("write `depth 8` or `depth 16`")
}
