//! Model → plan: which output each string hangs on, and which universe and slots it takes.
//!
//! The rule, in prose. Lines that name no port are given one ([`ports`]; [`refuse`] where there is
//! no room). Then all lines of an output are joined ([`chains`]). Controllers are laid as declared:
//! their pixel ports by number, then their DMX outputs; the strings of a port one after another.
//! What is fixed is laid first: reserved universes, pins, and what follows a pin on an unbroken
//! port. Whatever is laid later and would touch it moves up to the first place after it where it
//! fits. Strings that show another's data come last: they take its place.
//!
//! A pin moves its own port only. The next port is laid as if the pinned one were still where it
//! would have been, so adding or removing a pin leaves all others alone.

mod addresses;
mod chain;
mod chains;
mod cures;
mod dmx;
mod fixed;
mod fixtures;
mod fuse;
mod keep;
mod makes;
mod moves;
mod needs;
mod order;
mod outlets;
pub mod pack;
mod pixels;
mod ports;
mod refuse;
mod same;
mod seek;
mod space;
mod spare;
mod stored;
mod tried;

#[cfg(test)]
mod display;
#[cfg(test)]
mod tests;

use crate::diagnostic::Sink;
use crate::lock::{Lock, Relay};
use crate::model::{Addressing, Model, Output, StringId};
use crate::plan::{Past, Plan, PortPlan};
use chains::Seat;
pub use spare::{has_room, strings_to_spare};

/// The strings of an output in the order in which they are laid, without those that lie where the
/// string does whose data they show.
#[must_use]
pub fn laid(model: &Model, port: &PortPlan) -> Vec<StringId> {
    let declared = model.controller(port.controller);
    let consecutive = declared.is_some_and(|one| one.addressing == Addressing::Consecutive);
    let with_same = consecutive && matches!(port.output, Output::Pixel(_));
    chain::items(model, port, with_same).iter().map(|item| item.id).collect()
}

/// Decides where everything goes, around what the lock holds. Findings: pins that cannot hold,
/// outputs that are too full, strings without a port, lines that close up where a string is stored.
#[must_use]
pub fn allocate(model: &Model, lock: Option<&Lock>, sink: &mut Sink) -> Plan {
    relay(model, lock, &Relay::Nothing, sink)
}

/// The same, but the controllers that `relay` names are laid out afresh.
#[must_use]
pub fn relay(model: &Model, lock: Option<&Lock>, relay: &Relay, sink: &mut Sink) -> Plan {
    let mut plan = decide(model, lock, relay, sink);
    if let Some(past) = &mut plan.past {
        past.trade = past.trade.and_then(|trade| keep::trade(model, lock, relay, trade));
    }
    stored::report(model, lock, &plan, sink);
    plan
}

fn decide(model: &Model, lock: Option<&Lock>, relay: &Relay, sink: &mut Sink) -> Plan {
    let mut seats: Vec<Option<Seat>> =
        model.lines.iter().map(|line| Seat::said(model, line.target)).collect();
    let Some(lock) = lock else {
        let picked = ports::place(model, &mut seats, None, sink);
        let plan = addresses::lay(
            model,
            chains::join(model, &chains::order(model, &seats, None)),
            None,
            sink,
        )
        .0;
        return Plan { picked, ..plan };
    };
    let past = keep::bind(model, lock);
    let mut old = keep::Old::new(model, &past, relay);
    let (mut off, mut trade) = (0, None);
    let (picked, (plan, record)) = if old.all_afresh() {
        let picked = ports::place(model, &mut seats, None, sink);
        let ports = chains::join(model, &chains::order(model, &seats, None));
        (picked, addresses::lay(model, ports, None, sink))
    } else {
        let (picked, settled) = keep::seats::place(model, &old, &mut seats, sink);
        (off, trade) = (settled.off, settled.trade);
        old.settle(model, &settled.ports);
        (picked, addresses::lay(model, settled.ports, Some(&old), sink))
    };
    off = off.max(record.off);
    let moves = moves::find(model, &plan, &old, &record);
    let mut told = past.told.clone();
    told.retain(|id, _| !old.afresh(*id));
    let past = Past { moves, told, off: (off > 0).then_some(off), trade, ..past };
    Plan { picked, past: Some(Box::new(past)), ..plan }
}
