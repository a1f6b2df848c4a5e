//! `syntax/number`: a number that can't be read, or that lies out of its range.

use crate::diagnostic::{Diagnostic, Edit, Severity, Words, words};
use crate::rules::{Page, Rule};
use crate::source::Span;
use std::fmt::Display;

/// The rule.
pub const RULE: Rule = Rule {
    code: "syntax/number",
    severity: Severity::Error,
    title: "a number that can't be read or is out of its range",
    page: Page {
        means: "A number is written in a way that is not read here, or it is too small or too large for what it \
                counts. Numbers are plain digits with at most nine decimals behind a point: `448`, `1_344`, `2.5`.",
        why: "A number that was cut or guessed would put nodes on channels that nobody meant.",
        source: "the language guide, numbers",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                prop lamp { node bullet; string 0x24 nodes }\n\
                controller porch { ports 1..4 { chip ws2811 } }\n\
                wire porch.1: lamp\n",
        right: "node bullet { chip ws2811; colour RGB }\n\
                prop lamp { node bullet; string 36 nodes }\n\
                controller porch { ports 1..4 { chip ws2811 } }\n\
                wire porch.1: lamp\n",
    },
    check: None,
};

const WHY: &str = "a number read in another way than meant would move every channel behind it";

fn finding(span: Span, message: String, label: &str, help: String) -> Diagnostic {
    RULE.at(
        span,
        Words {
            message,
            label: label.to_owned(),
            why: WHY.to_owned(),
            help,
        },
    )
}

/// A value outside what its setting takes: `what` names it ("the universe"), `written` is the value as read.
#[must_use]
pub fn out_of_range(
    span: Span,
    what: &str,
    written: impl Display,
    least: impl Display,
    most: impl Display,
) -> Diagnostic {
    RULE.at(
        span,
        Words {
            message: format!("{what} is {written}, it can be {least} to {most}"),
            label: format!("not within {least} to {most}"),
            why: "a value outside its range can't be set on any controller or fixture".to_owned(),
            help: format!("write a value from {least} to {most}"),
        },
    )
}

/// `1-4` or `-4` of it, written where a range was meant: the same with dots. None for anything else.
#[must_use]
pub fn dotted(written: &str) -> Option<String> {
    let (from, to) = written.split_once('-')?;
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let (from, to) = (from.trim(), to.trim());
    (digits(from) && digits(to) && !to.is_empty()).then(|| format!("{from}..{to}"))
}

/// `1-4`, a subtraction that leaves too little, where `1..4` may be meant: `what` names it, `written` is the text.
#[must_use]
pub fn hyphen(span: Span, what: &str, written: &str, range: &str) -> Diagnostic {
    finding(
        span,
        format!("{what} is written `{written}`, which subtracts"),
        "this `-` is a minus",
        format!("write a range with two dots: `{range}`"),
    )
}

/// A value that must be whole and is not: `what` names it, `written` is the value as read.
#[must_use]
pub fn not_whole(span: Span, what: &str, written: impl Display) -> Diagnostic {
    finding(
        span,
        format!("{what} is {written}, it can only be whole"),
        "not a whole number",
        "write a whole number".to_owned(),
    )
}

/// A division that leaves a rest.
#[must_use]
pub fn uneven(span: Span, left: i64, right: i64) -> Diagnostic {
    finding(
        span,
        format!("{left} / {right} does not come out even"),
        "leaves a rest",
        "write numbers that divide without a rest, or the result itself".to_owned(),
    )
}

/// A division by zero.
#[must_use]
pub fn by_zero(span: Span) -> Diagnostic {
    finding(
        span,
        "a number is divided by 0".to_owned(),
        "this is 0",
        "divide by a number above 0".to_owned(),
    )
}

/// Arithmetic whose result is too large to be kept.
#[must_use]
pub fn overflow(span: Span) -> Diagnostic {
    finding(
        span,
        "this arithmetic gives a number too large to be kept".to_owned(),
        "too large",
        "write smaller numbers; no display needs more than 18 digits".to_owned(),
    )
}

/// A number with more digits than can be kept.
#[must_use]
pub fn too_large(span: Span, text: &str) -> Diagnostic {
    finding(
        span,
        format!(
            "the number `{}` is too large to be kept",
            words::shown(text)
        ),
        "too many digits",
        "write at most 18 digits".to_owned(),
    )
}

/// A number with more than nine decimals.
#[must_use]
pub fn too_fine(span: Span, text: &str) -> Diagnostic {
    finding(
        span,
        format!(
            "the number `{}` has more than nine decimals",
            words::shown(text)
        ),
        "more than nine decimals",
        "write at most nine digits behind the point".to_owned(),
    )
}

/// Arithmetic with more operators than are taken.
#[must_use]
pub fn too_long(span: Span, most: u32) -> Diagnostic {
    finding(
        span,
        format!("this arithmetic has more than {most} operators"),
        "too long",
        "give parts of it a name: `let per-side = 4 * 28`".to_owned(),
    )
}

/// `1e3`, `0x10`.
#[must_use]
pub fn notation(span: Span, text: &str) -> Diagnostic {
    finding(
        span,
        format!(
            "the number `{}` has an exponent or another base",
            words::shown(text)
        ),
        "not a plain number",
        "write it out in plain digits: `1000` for `1e3`, `16` for `0x10`".to_owned(),
    )
}

/// A digit that is none of `0` to `9`.
#[must_use]
pub fn foreign_digit(span: Span, digit: char) -> Diagnostic {
    finding(
        span,
        format!(
            "the digit `{digit}` (U+{:04X}) is none of 0 to 9",
            u32::from(digit)
        ),
        "not one of 0 to 9",
        "write numbers with the digits 0 to 9".to_owned(),
    )
}

/// `.5`: a number that begins with its point.
#[must_use]
pub fn bare_point(span: Span) -> Diagnostic {
    finding(
        span,
        "a number begins with its point".to_owned(),
        "a digit is missing before the point",
        "write a 0 before the point: `0.5`".to_owned(),
    )
    .fix(
        "write a 0 before the point",
        vec![Edit {
            span: Span::new(span.start, span.start),
            text: "0".to_owned(),
        }],
    )
}

/// `1,5`: a comma where the point of a number stands. `comma` is the place of the comma.
#[must_use]
pub fn decimal_comma(span: Span, comma: Span) -> Diagnostic {
    finding(
        span,
        "a number is written with a comma".to_owned(),
        "a comma begins the next value here",
        "write decimals with a point: `1.5`".to_owned(),
    )
    .fix(
        "write a point",
        vec![Edit {
            span: comma,
            text: ".".to_owned(),
        }],
    )
}

/// A range whose first end is above its last where it can only rise.
#[must_use]
pub fn backwards(span: Span, from: i64, to: i64) -> Diagnostic {
    finding(
        span,
        format!("the range {from}..{to} runs backwards"),
        "the first number is above the last",
        format!("write `{to}..{from}`"),
    )
    .fix(
        format!("write `{to}..{from}`"),
        vec![Edit {
            span,
            text: format!("{to}..{from}"),
        }],
    )
}

/// More strings and fixtures than a display may have.
#[must_use]
pub fn too_many_strings(span: Span, most: u32) -> Diagnostic {
    let most = words::figure(u64::from(most));
    RULE.at(
        span,
        Words {
            message: format!("the display has more than {most} strings and fixtures"),
            label: "this one goes beyond".to_owned(),
            why: "all 63,999 universes together hold fewer strings of any useful length".to_owned(),
            help: format!("declare fewer members or strings, at most {most} in all"),
        },
    )
}

/// A node that a string does not have.
#[must_use]
pub fn no_such_node(span: Span, name: &str, node: u32, nodes: u32, declared: Span) -> Diagnostic {
    RULE.at(
        span,
        Words {
            message: format!("`{name}` has nodes 1 to {nodes}, there is no node {node}"),
            label: format!("not one of 1 to {nodes}"),
            why: "power can't go in where there is no node".to_owned(),
            help: format!("write a node from 1 to {nodes}, or `at end`"),
        },
    )
    .and(declared, format!("{nodes} nodes here"))
}

/// A string longer than any display can address.
#[must_use]
pub fn string_too_long(span: Span) -> Diagnostic {
    RULE.at(
        span,
        Words {
            message: "the string is longer than all universes hold".to_owned(),
            label: "too long".to_owned(),
            why: "63,999 universes of 512 slots hold 10,922,496 three-slot nodes".to_owned(),
            help: "write the number of nodes that the string really has".to_owned(),
        },
    )
}

/// A colour depth that no chip has.
#[must_use]
pub fn depth(span: Span, written: impl Display) -> Diagnostic {
    RULE.at(
        span,
        Words {
            message: format!("the depth is {written}, it can be 8 or 16"),
            label: "neither 8 nor 16".to_owned(),
            why: "a colour takes one slot or two, nothing between".to_owned(),
            help: "write `depth 8` or `depth 16`".to_owned(),
        },
    )
}
