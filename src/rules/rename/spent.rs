//! `rename/spent`: a rename that has nothing to carry over.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Severity, Sink};
use crate::model::Model;
use crate::plan::{Carried, Plan};
use crate::rules::{Page, Rule};

/// The rule.
pub const RULE: Rule = Rule {
    code: "rename/spent",
    severity: Severity::Advice,
    title: "a rename that has nothing to carry over",
    page: Page {
        means: "`renamed OLD -> NEW` carries the addresses that the lock holds for OLD over to NEW. A build does this once and \
                notes it in the lock; from then on the statement does nothing. Here it has been built, or no lock holds OLD.",
        why: "A statement that does nothing misleads whoever reads the display next. Take it away: the next build takes its \
              note out of the lock, and the same names can be renamed again.",
        source: "grammar/LANGUAGE.md, \"renamed\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n\
                renamed hoop -> arch\n",
        change: &[("renamed hoop -> arch\n", "")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for (index, rename) in model.renames.iter().enumerate() {
        let (old, new) = (shown(&rename.old), shown(&rename.new));
        let carried = plan.past.as_ref().and_then(|past| past.carried.get(index));
        let (message, label) = match carried {
            Some(Carried::Now) => continue,
            Some(Carried::Before) => (
                format!("a build has carried `{old}` over to `{new}`, so this rename does nothing"),
                "carried over already".to_owned(),
            ),
            Some(Carried::Nothing) => (
                format!("the lock does not hold `{old}`, so nothing is carried over to `{new}`"),
                format!("the lock has no `{old}`"),
            ),
            None => (
                format!(
                    "there is no lock that holds `{old}`, so nothing is carried over to `{new}`"
                ),
                format!("no lock holds `{old}`"),
            ),
        };
        sink.push(
            RULE.report(rename.at, message)
                .label(label)
                .why("a rename that does nothing misleads whoever reads the display next")
                .help(format!("take `renamed {old} -> {new}` away")),
        );
    }
}
