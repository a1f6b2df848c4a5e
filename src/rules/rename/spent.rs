//! `rename/spent`: a rename that has nothing to carry over.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Severity, Sink, Words};
use crate::model::{Model, Rename};
use crate::plan::Plan;
use crate::rules::{Page, Rule};

/// The rule.
pub const RULE: Rule = Rule {
    code: "rename/spent",
    severity: Severity::Advice,
    title: "a rename that has nothing to carry over",
    page: Page {
        means: "`renamed OLD -> NEW` carries the addresses that the lock holds for OLD over to NEW. No lock holds OLD: the \
                rename has done its work, or there never was such a name.",
        why: "A rename that stays would catch a new thing that is called OLD one day.",
        source: "grammar/LANGUAGE.md, \"renamed\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n\
                renamed hoop -> arch\n",
        right: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n",
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for (index, rename) in model.renames.iter().enumerate() {
        let (old, new) = (shown(&rename.old), shown(&rename.new));
        let carried = plan
            .past
            .as_ref()
            .map(|past| past.carried.get(index) == Some(&true));
        let (message, label) = match carried {
            // Names that are handed on in a ring stay in the lock, so the next build would hand them on once more.
            Some(true) if in_ring(model, index) => {
                sink.push(again(rename, &old, &new));
                continue;
            }
            Some(true) => continue,
            Some(false) => (
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
        let words = Words {
            message,
            label,
            why: "a rename without use would catch the next thing that gets the old name".into(),
            help: format!("take `renamed {old} -> {new}` away"),
        };
        sink.push(RULE.at(rename.at, words));
    }
}

/// Whether a rename is one of a ring: `a -> b`, `b -> a`.
fn in_ring(model: &Model, index: usize) -> bool {
    let Some(first) = model.renames.get(index) else {
        return false;
    };
    let mut name = &first.new;
    for _ in &model.renames {
        let Some(next) = model.renames.iter().find(|other| other.old == *name) else {
            return false;
        };
        name = &next.new;
        if *name == first.new {
            return true;
        }
    }
    false
}

/// A rename that would be carried out at every build.
fn again(rename: &Rename, old: &str, new: &str) -> Diagnostic {
    let words = Words {
        message: format!("`{old}` becomes `{new}` and its own name goes on to another, at every build anew"),
        label: "carried out at each build while it stands here".to_owned(),
        why: "after the next build the lock has the new names, and one more build would swap the addresses back".into(),
        help: format!("build once, then take `renamed {old} -> {new}` away before the next build"),
    };
    RULE.at(rename.at, words)
}
