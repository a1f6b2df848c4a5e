//! `power/unchecked`: nodes whose power could not be checked.

use crate::diagnostic::{Diagnostic, Severity, words};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/unchecked",
    severity: Severity::Advice,
    title: "nodes whose power could not be checked",
    page: Page {
        means: "The display names a supply or a fuse, and some of its nodes do not say what the check needs. Without \
                `draw` the current of a node is not known and is counted as 0. Without `pitch` the string's own loss \
                counts as \
                nothing, so its last nodes may get less than is shown. Without `gauge` there is no loss either, and \
                no fuse and no current is held against the string's conductor. Reported once for a display, with the \
                number of nodes for each reason. A display with fuses and without a supply is asked for `draw` and \
                `gauge` only, where its ports name a fuse.",
        why: "A check that finds nothing may have looked at nothing.",
        source: "common practice, no standard",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 20 mA; pitch 100 mm }\n\
                prop arch { node dot; string 100 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 4 A } }\n\
                wire pier.1: arch\n",
        change: &[("mm", "mm; gauge 18 AWG")],
    },
    check: None,
};

/// Why some nodes could not be checked.
pub struct Reason {
    /// The reason after the number of nodes: "without `draw`".
    pub what: &'static str,
    /// The setting that would help, if one would: "`draw`".
    pub setting: Option<&'static str>,
    /// How many nodes.
    pub nodes: u64,
    /// The place of the first of them: a make of node or a string.
    pub at: Span,
}

/// All reasons of a display in one finding; `None` where there are none.
#[must_use]
pub fn reasons(reasons: &[Reason]) -> Option<Diagnostic> {
    let first = reasons.first()?;
    let count = |reason: &Reason| format!("{} {}", counted(reason.nodes, "node"), reason.what);
    let all: Vec<String> = reasons.iter().map(count).collect();
    let settings: Vec<&str> = reasons.iter().filter_map(|one| one.setting).collect();
    let help = if settings.is_empty() {
        "work these out by hand, or split them into shorter lines".to_owned()
    } else {
        format!("add {} to the `node` of these strings", words::list(&settings, "and"))
    };
    let finding = RULE
        .report(
            first.at,
            format!("the power of some nodes could not be checked: {}", words::list(&all, "and")),
        )
        .label(count(first))
        .why("a check that finds nothing may have looked at nothing")
        .help(help);
    let others = reasons.iter().skip(1).filter(|one| one.at != first.at);
    Some(others.fold(finding, |finding, one| finding.and(one.at, count(one))))
}
