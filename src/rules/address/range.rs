//! `address/range`: an address outside the standard, or outside what the controller was given.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::limits::DMX_SLOTS;
use crate::model::{Addressing, ControllerId, Model, PieceKind, Pinned, Start, StringId};
use crate::plan::Plan;
use crate::protocol::UNIVERSES;
use crate::rules::dmx::footprint::beyond;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use std::ops::RangeInclusive;

/// The rule.
pub const RULE: Rule = Rule {
    code: "address/range",
    severity: Severity::Error,
    title: "a universe or slot outside the standard, or outside the controller's range",
    page: Page {
        means: "Universes run from 1 to 63999. `universes N..M` on a controller says which of them are its own; all its \
                strings must lie there.",
        why: "No source sends a universe that does not exist, and a controller that is set up for `N..M` does not \
              listen to \
              another: the strings there stay dark.",
        source: "ANSI E1.31-2018, 6.2.7 and 9.1.1; free from ESTA",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 4 { node dot; string 150 nodes }\n\
                controller pier { universes 1..3; ports 1..4 { chip ws2811 } }\n\
                wire pier.1..4: arch[1], arch[2], arch[3], arch[4]\n",
        change: &[("1..3;", "1..4;")],
    },
    check: Some(check),
};

/// A pin, written `universe/slot`, whose universe or slot does not exist; `slots` is how many slots
/// a universe of the display has.
#[must_use]
pub fn pin(at: Span, universe: i64, slot: i64, slots: i64) -> Diagnostic {
    let last = i64::from(*UNIVERSES.end());
    if (1..=last).contains(&universe) {
        return self::slot(at, slot, slots);
    }
    let last = *UNIVERSES.end();
    RULE.report(at, format!("the pin is to universe {universe}; universes run from 1 to {last}"))
        .label(format!("universe {universe}"))
        .why("no source may send that universe, so the string would stay dark")
        .help(format!("write a universe from 1 to {last}"))
}

/// A universe in a setting or a reservation that does not exist.
#[must_use]
pub fn universe(at: Span, universe: i64) -> Diagnostic {
    let last = *UNIVERSES.end();
    RULE.report(at, format!("there is no universe {universe}; universes run from 1 to {last}"))
        .label(format!("universe {universe}"))
        .why("no source may send that universe, so what lies there would stay dark")
        .help(format!("write a universe from 1 to {last}"))
}

/// A pin to a slot that does not exist; `slots` is how many slots a universe of the display has.
#[must_use]
pub fn slot(at: Span, slot: i64, slots: i64) -> Diagnostic {
    let why = if (slots + 1..=i64::from(DMX_SLOTS)).contains(&slot) {
        format!(
            "with `universe {}`, {} of a DMX output can't be reached",
            counted(slots, "slot"),
            beyond(slots.unsigned_abs())
        )
    } else {
        "no data can be sent there, so it would stay dark".into()
    };
    RULE.report(at, format!("the pin is to slot {slot}; slots run from 1 to {slots}"))
        .label(format!("slot {slot}"))
        .why(why)
        .help(format!("write a slot from 1 to {slots}"))
}

/// A pin of a string to a channel, from 0, in a universe that does not exist.
#[must_use]
pub fn channel(model: &Model, id: StringId, at: Span, pin: Pinned, channel: u64) -> Diagnostic {
    let name = model.name_of(id);
    let slots = model.display.universe_slots.each();
    let last = u64::from(*UNIVERSES.end());
    let universe = (channel / slots).saturating_add(1);
    let message = format!("`{name}` is pinned into universe {universe}; the last one is {last}");
    RULE.report(at, message)
        .label("pinned to where no data can go")
        .why("no source may send that universe, so the string would stay dark")
        .help(format!("pin it at or before channel {}", last * slots))
        .and(pin.at, format!("universe {universe}"))
}

/// A string that lies outside all universes or outside those of its controller.
struct Outside {
    id: StringId,
    at: Span,
    pin: Option<Span>,
    universe: u32,
    more: usize,
    /// The last universe that it or one of the `more` reaches.
    reached: u32,
}

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for (id, controller) in model.controllers.pairs() {
        let taken = &plan.controllers[id];
        let (first, last, at) = match controller.start {
            Start::Range(first, last) => (first, last.min(*UNIVERSES.end()), controller.start_at),
            Start::Auto | Start::From(_) | Start::After(_) => (1, *UNIVERSES.end(), None),
        };
        if taken.universes.is_none_or(|(from, to)| from >= first && to <= last) {
            continue;
        }
        let mut unpinned: Option<Outside> = None;
        // Strings after a pin outside the range follow it there: that is one fault.
        let mut led_out = false;
        for port in plan.ports_of(id) {
            led_out &= controller.addressing == Addressing::Consecutive;
            for piece in &port.pieces {
                led_out &= !matches!(piece.piece.kind, PieceKind::String(_, Some(_)));
                let Some(outside) =
                    outside(model, plan, piece.piece.kind, piece.piece.at, first..=last)
                else {
                    continue;
                };
                if led_out {
                    continue;
                }
                if outside.pin.is_some() {
                    led_out = true;
                    sink.push(finding(model, id, &outside, first..=last, at));
                } else if let Some(known) = &mut unpinned {
                    known.more += 1;
                    known.reached = known.reached.max(outside.reached);
                } else {
                    unpinned = Some(outside);
                }
            }
        }
        if let Some(outside) = unpinned {
            sink.push(finding(model, id, &outside, first..=last, at));
        }
    }
}

fn outside(
    model: &Model,
    plan: &Plan,
    kind: PieceKind,
    at: Span,
    range: RangeInclusive<u32>,
) -> Option<Outside> {
    let PieceKind::String(id, pin) = kind else {
        return None;
    };
    let placed = plan.of(id)?;
    if model.strings[id].same_as.is_some() {
        return None;
    }
    let ends = [placed.start, placed.end].map(|channel| plan.universe_slot(channel).0);
    let universe = ends.into_iter().find(|universe| !range.contains(universe))?;
    Some(Outside {
        id,
        at,
        pin: pin.map(|pin| pin.at),
        universe,
        more: 0,
        reached: ends.into_iter().max().unwrap_or(universe),
    })
}

fn finding(
    model: &Model,
    id: ControllerId,
    outside: &Outside,
    range: RangeInclusive<u32>,
    range_at: Option<Span>,
) -> Diagnostic {
    let name = model.name_of(outside.id);
    let whose = &*model.controllers[id].name;
    let (first, last) = (*range.start(), *range.end());
    let declared = range_at.is_some();
    let more = match outside.more {
        0 => String::new(),
        more => format!(" (and {} of `{whose}`)", counted(more, "more string")),
    };
    let limits = if declared {
        format!("`{whose}` has universes {first} to {last}")
    } else {
        format!("the last one is {last}")
    };
    let universe = outside.universe;
    let help = if outside.pin.is_some() {
        format!("pin it within universes {first} to {last}")
    } else if declared {
        format!(
            "give `{whose}` the universes it needs (`universes {first}..{}`), or wire some of its strings elsewhere",
            outside.reached.max(last)
        )
    } else {
        format!("start `{whose}` lower (`universes from N`), or pin less far up")
    };
    RULE.report(outside.at, format!("`{name}` lies in universe {universe}{more}; {limits}"))
        .label(format!("reaches universe {universe}"))
        .why(if declared {
            "the controller is set up for its own universes and does not listen to this one"
                .to_owned()
        } else {
            "no source may send that universe, so the string would stay dark".to_owned()
        })
        .help(help)
        .and_if(outside.pin, "pinned here")
        .and_if(range_at, format!("universes {first} to {last} are set here"))
}
