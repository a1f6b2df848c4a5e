//! `dmx/footprint`: a fixture that runs past the last slot of its DMX output.

use crate::diagnostic::{Diagnostic, Severity};
use crate::limits::DMX_SLOTS;
use crate::model::{ControllerId, Model, Output, StringId};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use crate::usage::output_name;

/// The rule.
pub const RULE: Rule = Rule {
    code: "dmx/footprint",
    severity: Severity::Error,
    title: "a fixture that runs past the last slot",
    page: Page {
        means: "A DMX output has 512 slots (or as many as `universe N slots` says). The fixture starts within them, \
                but its footprint reaches past it.",
        why: "The slots past the last do not exist: the fixture's last functions get no data.",
        source: "ANSI E1.11-2008 (R2018), at most 512 data slots; ANSI E1.20-2010, start address and footprint; both free from ESTA",
        wrong: "prop flood * 2 { slots 6 }\n\
                controller pier { dmx 1 }\n\
                wire pier.dmx1: flood[1] at 1 -> flood[2] at 510\n",
        change: &[("510", "507")],
    },
    check: None,
};

/// A fixture that reaches past the last slot of its output.
pub struct Over {
    /// The fixture, and the reference in the wire.
    pub one: (StringId, Span),
    /// Its controller, as an index of the model's controllers.
    pub controller: usize,
    /// The DMX output.
    pub output: Output,
    /// The first slot it would take, from 1.
    pub first: u64,
    /// The last slot it would take.
    pub last: u64,
    /// The place of its pin, if it has one.
    pub pin: Option<Span>,
}

/// A fixture that does not fit, reported by itself.
#[must_use]
pub fn over(model: &Model, over: &Over) -> Diagnostic {
    let name = model.name_of(over.one.0);
    let output = output_name(model, ControllerId::from(over.controller), over.output);
    let room = model.display.universe_slots.each();
    let slots = over.last + 1 - over.first;
    let short = room < u64::from(DMX_SLOTS) && over.last <= u64::from(DMX_SLOTS);
    let why = if short {
        format!(
            "with `universe {}`, {} of a DMX output can't be reached",
            counted(room, "slot"),
            beyond(room)
        )
    } else {
        format!("slots past {room} do not exist, so its last functions would get no data")
    };
    let help = if slots > room {
        format!(
            "no DMX output can take {slots} slots: use a mode of `{name}` with fewer, or split it into several props"
        )
    } else if over.pin.is_some() {
        format!("pin it at {} or lower", room + 1 - slots)
    } else {
        format!("wire `{name}` to another DMX output, or pin it into a gap of `{output}`")
    };
    RULE.report(
        over.one.1,
        format!(
            "`{name}` takes slots {} to {} of `{output}`, the last one is {room}",
            over.first, over.last
        ),
    )
    .label(format!("{} from slot {}", counted(slots, "slot"), over.first))
    .why(why)
    .help(help)
    .and_if(over.pin, "pinned here")
    .and_if(
        model.display.universe_slots_at.filter(|_| short),
        format!("{} set here", counted(room, "slot")),
    )
}

/// The slots of a DMX output that a universe of fewer than 512 `slots` leaves out, in words.
pub(in crate::rules) fn beyond(slots: u64) -> String {
    let last = u64::from(DMX_SLOTS);
    match last.saturating_sub(slots) {
        1 => format!("slot {last}"),
        2 => format!("slots {} and {last}", last - 1),
        _ => format!("slots {} to {last}", slots + 1),
    }
}
