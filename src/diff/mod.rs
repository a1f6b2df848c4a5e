//! What a build would change, by what a person must then do: controllers to set up again, show data to make again, what
//! is new and what is freed.
//!
//! `text.rs` and `json.rs` write it; `remap.rs` says channel by channel where the data of each string went.

mod hints;
pub mod json;
pub mod remap;
pub mod text;

use crate::lock::Lock;
use crate::model::{ControllerId, Model, Output, StringId};
use crate::plan::{Cause, Past, Plan, Was};
use crate::rules::lock::moved::reason;
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

/// Strings that moved for one reason.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Moved {
    /// Why.
    pub cause: Cause,
    /// Why, in words.
    pub reason: String,
    /// Which, in the order of the display.
    pub strings: Vec<StringId>,
}

/// All that would change.
pub struct Changes<'a> {
    /// The display.
    pub model: &'a Model,
    /// What was decided for it.
    pub plan: &'a Plan,
    /// What the lock held; `None` where there is none.
    pub past: Option<&'a Past>,
    /// Controllers to set up again.
    pub boxes: Vec<BoxChange>,
    /// Strings that moved, by reason.
    pub moved: Vec<Moved>,
    /// Strings that hang on another output and kept their slots.
    pub plugged: Vec<StringId>,
    /// Strings of another length that kept their start.
    pub longer: Vec<StringId>,
    /// Strings that have no row in the lock.
    pub new: Vec<StringId>,
    /// Names that were carried over: old and new.
    pub renamed: Vec<(Box<str>, Box<str>)>,
    /// Settings that would have saved moves, in words.
    pub hints: Vec<String>,
}

impl<'a> Changes<'a> {
    /// Between a lock and what was decided around it.
    #[must_use]
    pub fn of(model: &'a Model, plan: &'a Plan, lock: Option<&Lock>) -> Self {
        let past = plan.past.as_deref();
        let mut changes = Self {
            model,
            plan,
            past,
            boxes: boxes(model, plan, past),
            moved: Vec::new(),
            plugged: Vec::new(),
            longer: Vec::new(),
            new: Vec::new(),
            renamed: Vec::new(),
            hints: Vec::new(),
        };
        changes.strings();
        if let Some(past) = past {
            let renames = model.renames.iter().zip(&past.carried);
            let carried = renames.filter(|(_, carried)| **carried);
            changes.renamed = carried
                .map(|(r, _)| (r.old.clone(), r.new.clone()))
                .collect();
            changes.moved = moved(model, plan, past);
            if let Some(lock) = lock.filter(|_| !changes.moved.is_empty()) {
                changes.hints = hints::find(model, plan, past, lock);
            }
        }
        changes
    }

    fn strings(&mut self) {
        let moved: std::collections::BTreeSet<StringId> = self
            .past
            .iter()
            .flat_map(|past| &past.moves)
            .map(|one| one.string)
            .collect();
        for id in (0..self.model.strings.len()).map(StringId::from) {
            let Some(placed) = self.plan.of(id) else {
                continue;
            };
            let Some(was) = self.past.and_then(|past| past.of(id)) else {
                self.new.push(id);
                continue;
            };
            if moved.contains(&id) {
                continue;
            }
            let port = self.plan.ports.get(placed.port as usize);
            let here = port.map(|port| (Some(port.controller), port.output));
            if here != Some((was.controller, was.output)) {
                self.plugged.push(id);
            } else if placed.end.saturating_sub(placed.start) + 1 != was.slots {
                self.longer.push(id);
            }
        }
    }

    /// Whether nothing of all this is so.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.boxes.is_empty()
            && self.moved.is_empty()
            && self.plugged.is_empty()
            && self.longer.is_empty()
            && self.new.is_empty()
            && self.renamed.is_empty()
            && self.past.is_none_or(|past| past.freed.is_empty())
    }

    /// How many strings moved, and how many slots they had.
    #[must_use]
    pub fn moved_slots(&self) -> (usize, u64) {
        let strings = self.moved.iter().flat_map(|moved| &moved.strings);
        strings.fold((0, 0), |(count, slots), id| {
            let was = self.past.and_then(|past| past.of(*id));
            (count + 1, slots + was.map_or(0, |was| was.slots))
        })
    }

    /// Universe and slot, both from 1, of a channel as the lock counts them.
    #[must_use]
    pub fn before(&self, channel: u64) -> (u64, u64) {
        let slots = self
            .past
            .map_or(self.plan.universe_slots, |past| past.universe_slots);
        split(channel, slots)
    }

    /// Universe and slot, both from 1, of a channel as the display counts them.
    #[must_use]
    pub fn now(&self, channel: u64) -> (u64, u64) {
        split(channel, self.plan.universe_slots)
    }

    /// The output that a string hangs on.
    #[must_use]
    pub fn output(&self, id: StringId) -> Option<(ControllerId, Output)> {
        let port = self.plan.ports.get(self.plan.of(id)?.port as usize)?;
        Some((port.controller, port.output))
    }
}

fn split(channel: u64, slots: u32) -> (u64, u64) {
    let slots = u64::from(slots.max(1));
    (channel / slots + 1, channel % slots + 1)
}

fn moved(model: &Model, plan: &Plan, past: &Past) -> Vec<Moved> {
    let mut groups: BTreeMap<(Cause, Option<Output>), Moved> = BTreeMap::new();
    for one in &past.moves {
        // Words about a port are said of each port by itself.
        let port = plan
            .of(one.string)
            .and_then(|placed| plan.ports.get(placed.port as usize));
        let key = (one.cause, port.map(|port| port.output));
        let group = groups.entry(key).or_insert_with(|| Moved {
            cause: one.cause,
            reason: reason(model, plan, one.cause, Some(one.string)),
            strings: Vec::new(),
        });
        group.strings.push(one.string);
    }
    let mut groups: Vec<Moved> = groups.into_values().collect();
    groups.sort_by_key(|group| group.strings.first().copied());
    groups
}

/// What an output held: its first and last channel.
type Held = BTreeMap<Output, (u64, u64)>;

fn hold(held: &mut Held, output: Output, first: u64, last: u64) {
    let row = held.entry(output).or_insert((first, last));
    *row = (row.0.min(first), row.1.max(last));
}

/// The controllers of which an output begins elsewhere or is longer or shorter.
fn boxes(model: &Model, plan: &Plan, past: Option<&Past>) -> Vec<BoxChange> {
    let mut now: Vec<Held> = vec![Held::new(); model.controllers.len()];
    let mut before = now.clone();
    let mut gone: BTreeMap<Box<str>, Held> = BTreeMap::new();
    for placed in plan.placed.iter().flatten() {
        let port = plan.ports.get(placed.port as usize);
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

fn change(name: Box<str>, before: &Held, now: &Held, slots: (u32, u32)) -> BoxChange {
    let universes = |held: &Held, slots: u32| {
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
