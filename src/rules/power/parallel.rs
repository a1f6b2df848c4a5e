//! `power/parallel`: two supplies joined on the plus side.

use crate::diagnostic::{Diagnostic, Severity, words};
use crate::model::{Injection, Model, PowerFeed};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::usage::fed_ports;

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/parallel",
    severity: Severity::Error,
    title: "two supplies joined on the plus side",
    page: Page {
        means: "A line is fed from two supplies and its plus is whole between them, or a port is named by two `power` statements. \
                Where one supply takes over from another, the plus conductor is cut: `apart` says so. The minus stays joined, since \
                the data needs it.",
        why: "No two supplies have quite the same voltage. The higher one feeds into the lower, which may switch off, fail, or hold \
              the line live when its own fuse is out.",
        source: "makers' notes on parallel operation of supplies; common practice, no standard",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 20 mA; pitch 50 mm; gauge 18 AWG }\n\
                prop arch { node dot; string 100 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 150 W }\n\
                supply tree { volts 12 V; rated 150 W }\n\
                power pier.1..4 from shed through 0.5 m of 12 AWG fuse 20 A\n\
                inject arch at node 50 from tree through 1 m of 16 AWG fuse 5 A\n",
        change: &[(" AWG fuse 5 A", " AWG fuse 5 A apart")],
    },
    check: None,
};

/// An injection from another supply than `other`, which feeds the line already at `first`. `last`
/// says whether one of its points has no node after it.
#[must_use]
pub fn joined(
    model: &Model,
    injection: &Injection,
    (other, first): (&str, Span),
    last: bool,
) -> Diagnostic {
    let own = &model.supplies[injection.lead.supply].name;
    let string = injection.strings.first();
    let string = string.map_or(String::new(), |id| model.name_of(*id));
    RULE.report(
        injection.at,
        format!("`{string}` joins the plus of supplies `{other}` and `{own}`"),
    )
    .label(format!("`{own}` feeds it here"))
    .why("the supply with the higher voltage feeds into the other, which may switch off or fail")
    .help(help(model, injection, other, last))
    .and(first, format!("`{other}` feeds the same plus here"))
}

/// What to do. A cut is not offered after the last node: the injection would feed nothing.
fn help(model: &Model, injection: &Injection, other: &str, last: bool) -> String {
    let cut = "cut the plus before this point and write `apart` after the statement";
    let string = injection.strings.first().copied();
    let nodes = string.map_or(0, |id| model.shape(id).nodes);
    match string.filter(|_| nodes > 1) {
        _ if injection.apart => format!("inject from `{other}`, or take this one away"),
        _ if !last => format!("{cut}, or inject from `{other}`"),
        Some(id) if injection.strings.len() == 1 => {
            let (name, node) = (words::shown(&model.name_of(id)), nodes / 2 + 1);
            format!(
                "inject from `{other}`. Or let this supply feed the end of the line only: move the injection to the \
                 first node of that part and write `apart` (`inject {name} at node {node} … apart`)"
            )
        }
        _ => format!(
            "inject from `{other}`: no node comes after this point, so a cut here would leave it nothing to feed"
        ),
    }
}

/// Two `power` statements that name the same port.
#[must_use]
pub fn twice(model: &Model, power: &PowerFeed, first: &PowerFeed) -> Diagnostic {
    let (ports, others) = (fed_ports(model, power), fed_ports(model, first));
    RULE.report(
        power.at,
        format!("`{ports}` and `{others}` have ports in common: they are fed twice"),
    )
    .label("fed here too")
    .why(
        "a port has one pair of terminals for its power, and two supplies on it work against each \
         other",
    )
    .help("name each port in one `power` statement, and feed a line in more places with `inject`")
    .and(first.at, "fed here")
}
