//! `place/no-room`: no port can take it.

use crate::diagnostic::words::list;
use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::model::{Model, StringId, Target};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "place/no-room",
    severity: Severity::Error,
    title: "no port can take it",
    page: Page {
        means: "The compiler was to pick a port and found none: every port it may use is taken, too short, too slow, made for \
                other nodes, or reserved.",
        why: "The string has no port, so it has no address and stays dark.",
        source: "LANGUAGE.md, section 4",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 90 nodes }\n\
                controller pier { ports 1..1 { nodes at most 100 } }\n\
                wire pier: arch[1], arch[2]\n",
        right: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 90 nodes }\n\
                controller pier { ports 1..2 { nodes at most 100 } }\n\
                wire pier: arch[1], arch[2]\n",
    },
    check: None,
};

/// Why ports were passed over, and what would have been needed.
pub struct Tried {
    /// Each reason with its ports, as in "4 ports do not drive `ws2815`".
    pub reasons: Vec<String>,
    /// What to say where there are none at all, as in "there is no DMX output".
    pub none: &'static str,
    /// What is missing, as in "a free port that drives `ws2815`".
    pub missing: String,
}

/// Nothing can take a line. `first` is its first string, with the reference; `more` counts further strings of the
/// same prop.
#[must_use]
pub fn no_room(
    model: &Model,
    first: (StringId, Span),
    more: usize,
    target: (Target, Span),
    tried: &Tried,
) -> Diagnostic {
    let name = model.name_of(first.0);
    let others = match more {
        0 => String::new(),
        1 => " and 1 more string of it".into(),
        more => format!(" and {more} more strings of it"),
    };
    let place = match target.0 {
        Target::Controller(id) => {
            format!("`{}`", model.controller(id).map_or("", |c| &*c.name))
        }
        Target::Receiver(id) => {
            format!(
                "`{}`",
                model.receivers.get(id.index()).map_or("", |r| &*r.name)
            )
        }
        Target::Any | Target::Port(..) | Target::Dmx(..) => "any controller".into(),
    };
    let reasons = if tried.reasons.is_empty() {
        tried.none.to_owned()
    } else {
        list(&tried.reasons, "and")
    };
    RULE.at(
        first.1,
        Words {
            message: format!("no port of {place} can take `{name}`{others}: {reasons}"),
            label: "no port can take it".into(),
            why: "without a port it has no address and stays dark".into(),
            help: format!("add {}, or wire `{name}` elsewhere", tried.missing),
        },
    )
    .and_if((target.1 != first.1).then_some(target.1), "looked for here")
}
