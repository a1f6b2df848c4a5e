//! `dmx/full`: more slots on a DMX output than one universe has.

use super::footprint::Over;
use crate::diagnostic::{Diagnostic, Severity};
use crate::model::{ControllerId, Model};
use crate::rules::{Page, Rule};
use crate::unit::counted;
use crate::usage::output_name;

/// The rule.
pub const RULE: Rule = Rule {
    code: "dmx/full",
    severity: Severity::Error,
    title: "more than one universe on a DMX output",
    page: Page {
        means: "The fixtures on a DMX output need more slots together than its one universe has.",
        why: "A DMX line carries 512 slots. A fixture past the last gets no data.",
        source: "ANSI E1.11-2008 (R2018), at most 512 data slots; free from ESTA",
        wrong: "prop bar * 9 { slots 60 }\n\
                controller pier { dmx 1..2 }\n\
                wire pier.dmx1: bar[1..9]\n",
        change: &[(
            "wire pier.dmx1: bar[1..9]\n",
            "wire pier.dmx1: bar[1..8]\nwire pier.dmx2: bar[9]\n",
        )],
    },
    check: None,
};

/// Fixtures that together need more slots (`asked`) than a universe has. `over` is the first that
/// does not fit.
#[must_use]
pub fn full(model: &Model, over: &Over, asked: u64, fixtures: usize) -> Diagnostic {
    let name = model.name_of(over.one.0);
    let output = output_name(model, ControllerId::from(over.controller), over.output);
    let room = model.display.universe_slots.each();
    RULE.report(
        over.one.1,
        format!(
            "{} on DMX output `{output}` need {}, but it has {room}",
            counted(fixtures, "fixture"),
            counted(asked, "slot")
        ),
    )
    .label(format!(
        "`{name}` is the first that does not fit, {} too many in all",
        counted(asked - room, "slot")
    ))
    .why(format!(
        "a DMX line carries {}, so fixtures past the last get no data",
        counted(room, "slot")
    ))
    .help(format!("wire `{name}` and those after it to another DMX output"))
    .and_if(
        model.display.universe_slots_at.filter(|_| room < u64::from(crate::limits::DMX_SLOTS)),
        format!("{} set here", counted(room, "slot")),
    )
}
