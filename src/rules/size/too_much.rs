//! `size/too-much`: a text that stands for more than the compiler takes, which bounds time and
//! memory.

use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "size/too-much",
    severity: Severity::Error,
    title: "more than a display can have",
    page: Page {
        means: "A count in the text stands for more strings, ports or references than the compiler takes. \
                A text may have 20,000 strings and fixtures, or one for each 20 bytes of its text where \
                that is more, and never more than 400,000; 50,000 ports, or one for each 20 bytes; \
                200,000 points of injection; and references that name 2,000,000 strings together. Mostly it is a slip: a digit too many, or a family that is \
                counted again in each of its members.",
        why: "Every command must answer in seconds and within the memory of a small computer, whatever a \
              text says.",
        source: "the limits of this compiler; E1.31-2018 has 63,999 universes",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller porch { ports 1..4 { chip ws2811 } }\n\
                prop lamp * 40000 { node bullet; string 6 nodes }\n\
                wire porch: lamp\n",
        change: &[("40000", "40")],
    },
    check: None,
};

const WHY: &str = "it would take more time and memory than a command may use";

fn finding(at: Span, message: String, label: String, help: String) -> Diagnostic {
    let why = WHY.to_owned();
    RULE.report(at, message).label(label).why(why).help(help)
}

/// More strings and fixtures than a display may have; `at` is what makes them too many.
#[must_use]
pub fn strings(at: Span, most: u32) -> Diagnostic {
    let all = counted(most, "string");
    finding(
        at,
        format!("the display has more than {all} and fixtures"),
        "these are too many".to_owned(),
        format!("declare fewer members or strings: {most} in all"),
    )
}

/// More ports than a display may have; `at` is the setting that makes them too many.
#[must_use]
pub fn ports(at: Span, most: usize) -> Diagnostic {
    finding(
        at,
        format!("the controllers and receivers of the display have more than {most} ports"),
        "these are too many".to_owned(),
        format!("declare the ports that are there: at most {most} in all"),
    )
}

/// More points of injection than a display may have; `at` is what makes them too many.
#[must_use]
pub fn points(at: Span, most: u32) -> Diagnostic {
    finding(
        at,
        format!("power is injected at more than {most} points"),
        "these are too many".to_owned(),
        format!("inject at fewer points: at most {most} in all"),
    )
}

/// References that together name more strings than allowed; from the one at `at` on.
#[must_use]
pub fn picked(at: Span, most: u64) -> Diagnostic {
    finding(
        at,
        format!("the references of the display name more than {most} strings, counted each time"),
        "from this one on they are too many".to_owned(),
        "name each string once where it is wired, stored, fed or shown".to_owned(),
    )
}

/// A prop that shows one that shows another, and so on, over more than `most` steps.
#[must_use]
pub fn same_as(at: Span, most: usize) -> Diagnostic {
    finding(
        at,
        format!("more than {most} props show each other's data in a row (`same as` of `same as`)"),
        "it begins here".to_owned(),
        "name the prop whose data is shown, not one that shows it in turn".to_owned(),
    )
}
