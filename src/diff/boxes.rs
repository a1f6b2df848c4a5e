//! Which controllers must be set up again, and what of them.

use super::split;
use crate::model::{Model, Output};
use crate::plan::{Past, Plan, Was};
use crate::protocol::UniverseSlots;
use std::collections::BTreeMap;

/// A stretch of slots on an output.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stretch {
    /// Channel of its first slot, from 0.
    pub start: u64,
    /// How many slots lie between its first and its last, both counted.
    pub slots: u64,
}

/// An output whose start or length is another one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct OutputChange {
    /// Which.
    pub output: Output,
    /// Before; `None` where nothing was on it.
    pub before: Option<Stretch>,
    /// Now; `None` where nothing is on it any more.
    pub now: Option<Stretch>,
}

/// A controller that must be set up again.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct BoxChange {
    /// Its name; of one that is gone, as the lock has it.
    pub name: Box<str>,
    /// Its universes before, in runs: first and last.
    pub before: Vec<(u64, u64)>,
    /// Its universes now.
    pub now: Vec<(u64, u64)>,
    /// Its outputs that changed, by number.
    pub outputs: Vec<OutputChange>,
}

/// What an output held: its first and last channel.
type Held = BTreeMap<Output, (u64, u64)>;

fn hold(held: &mut Held, output: Output, first: u64, last: u64) {
    let row = held.entry(output).or_insert((first, last));
    *row = (row.0.min(first), row.1.max(last));
}

/// The controllers of which an output begins elsewhere or is longer or shorter.
pub(super) fn boxes(model: &Model, plan: &Plan, past: Option<&Past>) -> Vec<BoxChange> {
    let mut now: Vec<Held> = vec![Held::new(); model.controllers.len()];
    let mut before = now.clone();
    let mut gone: BTreeMap<Box<str>, Held> = BTreeMap::new();
    for placed in plan.placed.iter().flatten() {
        let port = plan.ports.as_slice().get(placed.port as usize);
        let held = port.and_then(|port| Some((port, now.get_mut(port.controller.index())?)));
        if let Some((port, held)) = held {
            hold(held, port.output, placed.start, placed.end);
        }
    }
    let last = |was: &Was| was.end().saturating_sub(1);
    let bound = past.iter().flat_map(|past| past.was.iter().flatten());
    let freed = past.iter().flat_map(|past| &past.freed);
    for was in bound.chain(freed.clone().map(|freed| &freed.was)) {
        if let Some(held) = was.controller.and_then(|id| before.get_mut(id.index())) {
            hold(held, was.output, was.start, last(was));
        }
    }
    for freed in freed.filter(|freed| freed.was.controller.is_none()) {
        let held = gone.entry(freed.controller_name.clone()).or_default();
        hold(held, freed.was.output, freed.was.start, last(&freed.was));
    }
    let kept = model.controllers.iter().zip(before).zip(now);
    let kept = kept.map(|((controller, before), now)| (controller.name.clone(), before, now));
    let gone = gone
        .into_iter()
        .map(|(name, before)| (name, before, Held::new()));
    let old = past.map_or(plan.universe_slots, |past| past.universe_slots);
    kept.chain(gone)
        .filter(|(_, before, now)| before != now || (old != plan.universe_slots && !now.is_empty()))
        .map(|(name, before, now)| change(name, &before, &now, (old, plan.universe_slots)))
        .collect()
}

fn change(
    name: Box<str>,
    before: &Held,
    now: &Held,
    slots: (UniverseSlots, UniverseSlots),
) -> BoxChange {
    let universes = |held: &Held, slots: UniverseSlots| {
        let ends = held.values();
        let mut runs: Vec<(u64, u64)> = ends
            .map(|(first, last)| (split(*first, slots).0, split(*last, slots).0))
            .collect();
        runs.sort_unstable();
        runs.dedup_by(|next, run| {
            let joins = next.0 <= run.1 + 1;
            if joins {
                run.1 = run.1.max(next.1);
            }
            joins
        });
        runs
    };
    let stretch = |held: &Held, output: &Output| {
        held.get(output).map(|(first, last)| Stretch {
            start: *first,
            slots: last - first + 1,
        })
    };
    let mut outputs: Vec<Output> = before.keys().chain(now.keys()).copied().collect();
    outputs.sort_unstable();
    outputs.dedup();
    let outputs = outputs.iter().map(|output| OutputChange {
        output: *output,
        before: stretch(before, output),
        now: stretch(now, output),
    });
    BoxChange {
        name,
        before: universes(before, slots.0),
        now: universes(now, slots.1),
        outputs: outputs
            .filter(|change| change.before != change.now)
            .collect(),
    }
}
