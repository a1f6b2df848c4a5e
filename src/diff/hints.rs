//! Settings of a controller that would have saved moves: each is tried in a copy of the display.

use crate::allocate::allocate;
use crate::diagnostic::Sink;
use crate::diagnostic::words::shown;
use crate::lock::Lock;
use crate::model::{Addressing, ControllerId, Model};
use crate::plan::{Past, Plan};
use crate::unit::counted;
use crate::usage::controller_of;
use std::collections::BTreeSet;

/// At most this many controllers are tried.
const MOST_TRIED: usize = 6;

/// No hints are looked for in displays with more strings.
const MOST_STRINGS: usize = 20_000;

/// What another `addressing` would save, one sentence a controller.
pub(super) fn find(model: &Model, plan: &Plan, past: &Past, lock: &Lock) -> Vec<String> {
    if model.strings.len() > MOST_STRINGS {
        return Vec::new();
    }
    let moved: BTreeSet<ControllerId> =
        past.moves.iter().filter_map(|one| controller_of(plan, one.string)).collect();
    let moved = moved.into_iter().take(MOST_TRIED);
    moved.filter_map(|id| of_controller(model, plan, past, lock, id)).collect()
}

fn of_controller(
    model: &Model,
    plan: &Plan,
    past: &Past,
    lock: &Lock,
    id: ControllerId,
) -> Option<String> {
    let here = |plan: &Plan, past: &Past| {
        let moves = past.moves.iter();
        moves.filter(|one| controller_of(plan, one.string) == Some(id)).count()
    };
    let asked = here(plan, past);
    let tries: &[Addressing] = match model.controller(id)?.addressing {
        Addressing::Consecutive => &[Addressing::PerPort, Addressing::PerProp],
        Addressing::PerPort => &[Addressing::PerProp],
        Addressing::PerProp => &[],
    };
    let mut best: Option<(usize, Addressing)> = None;
    for addressing in tries {
        let mut changed = model.clone();
        if let Some(controller) = changed.controllers.as_mut_slice().get_mut(id.index()) {
            controller.addressing = *addressing;
        }
        let mut sink = Sink::default();
        let tried = allocate(&changed, Some(lock), &mut sink);
        let left = tried.past.as_deref().map_or(asked, |past| here(&tried, past));
        let errors = sink.has_errors() || tried.past.is_none();
        if !errors && left < best.map_or(asked, |(left, _)| left) {
            best = Some((left, *addressing));
        }
    }
    let (left, addressing) = best?;
    let saved = counted(asked - left, "string");
    let name = shown(&model.controller(id)?.name);
    let rest = if left == 0 { "none" } else { "fewer" };
    Some(format!(
        "`{name}` could address {}, if it can do that: then {rest} of its strings would move ({saved} saved)",
        addressing.words()
    ))
}
