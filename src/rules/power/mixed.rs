//! `power/mixed`: two voltages on one plus.

use crate::diagnostic::{Diagnostic, Severity};
use crate::model::{FeedLead, Model, Stated};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, quantity};

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/mixed",
    severity: Severity::Error,
    title: "two voltages on one plus",
    page: Page {
        means: "A supply feeds ports or strings that are made for another voltage, or strings of different voltages hang on one \
                unbroken plus. Where the voltage changes along a data line, the plus is cut and fed anew: `inject … at start … \
                apart`.",
        why: "Too much voltage destroys nodes at once; too little leaves them dark or off-colour.",
        source: "data sheets of the chips (supply voltage)",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 20 mA; pitch 50 mm; gauge 18 AWG }\n\
                prop arch { node dot; string 100 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n\
                supply shed { volts 24 V; rated 150 W }\n\
                power pier.1..4 from shed through 0.5 m of 12 AWG fuse 20 A\n",
        change: &[("24", "12")],
    },
    check: None,
};

fn why(more: bool) -> String {
    if more {
        "more voltage than the nodes are made for destroys them at once".into()
    } else {
        "nodes with too little voltage stay dark or show the wrong colours".into()
    }
}

/// A supply whose voltage differs from what it feeds: `what` is made for `wants`, in millivolts.
/// `None` where they agree or the supply's voltage is not known.
#[must_use]
pub fn feed(
    model: &Model,
    at: Span,
    lead: &FeedLead,
    what: &str,
    wants: Stated<i64>,
) -> Option<Diagnostic> {
    let supply = &model.supplies[lead.supply];
    let volts = supply.volts.filter(|volts| volts.value != wants.value)?;
    let words = |value| quantity(value, Dimension::Voltage);
    let (gives, needs) = (words(volts.value), words(wants.value));
    let finding = RULE
        .report(at, format!("`{}` gives {gives} to {what}, which is made for {needs}", supply.name))
        .label(format!("{gives} go in here"))
        .why(why(volts.value > wants.value))
        .help(format!("feed it from a supply of {needs}"));
    let finding = finding.and(volts.at, format!("`{}` gives {gives}", supply.name));
    Some(finding.and(wants.at, format!("made for {needs}")))
}

/// A string on a plus that already feeds strings of another voltage.
#[must_use]
pub fn strings(at: Span, name: &str, volts: Stated<i64>, first: (&str, Stated<i64>)) -> Diagnostic {
    let words = |value| quantity(value, Dimension::Voltage);
    let (needs, other) = (words(volts.value), words(first.1.value));
    RULE.report(
        at,
        format!("`{name}` is made for {needs}, `{}` on the same plus for {other}", first.0),
    )
    .label(format!("made for {needs}"))
    .why(why(first.1.value > volts.value))
    .help(format!(
        "put `{name}` on another port, or feed it on its own with `inject {name} at start from \
         SUPPLY through LENGTH of GAUGE apart`"
    ))
    .and(volts.at, format!("{needs} set here"))
    .and(first.1.at, format!("{other} set here"))
}
