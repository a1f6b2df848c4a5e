//! `power/unfed`: strings that nothing feeds.

use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/unfed",
    severity: Severity::Error,
    title: "strings that nothing feeds",
    page: Page {
        means: "A string that draws hangs on a port that no `power` statement names, and no `inject` reaches it. A \
                receiver needs power of its own: its cable carries data, no power. A display that names no `supply` is \
                not asked.",
        why: "Without power the string stays dark, or is fed backwards through its data line, which destroys its first node.",
        source: "common practice, no standard",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 20 mA; pitch 50 mm; gauge 18 AWG }\n\
                prop arch { node dot; string 100 nodes }\n\
                prop star { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n\
                wire pier.2: star\n\
                supply shed { volts 12 V; rated 150 W }\n\
                power pier.1 from shed through 0.5 m of 12 AWG fuse 20 A\n",
        change: &[("power pier.1", "power pier.1..2")],
    },
    check: None,
};

/// Ports of one controller or receiver that nothing feeds: the first, its first string that draws,
/// how many more ports there are, and a supply that could feed them.
#[must_use]
pub fn ports(at: Span, port: &str, string: &str, more: usize, supply: &str) -> Diagnostic {
    let others = match more {
        0 => String::new(),
        more => format!(" and {} beside it", counted(more, "more port")),
    };
    RULE.report(at, format!("nothing feeds port `{port}`{others}"))
        .label(format!("`{string}` has no power"))
        .why(
            "without power it stays dark, or is fed backwards through its data line, which \
             destroys nodes",
        )
        .help(format!(
            "name it in a `power` statement: `power {port} from {supply} through LENGTH of GAUGE`"
        ))
}
