//! What a build would change, as work for a person: what to type into controllers, what to dial at
//! fixtures, what to enter in the program that plays the show, what to plug in elsewhere.
//!
//! `text.rs` and `json.rs` write it; `remap.rs` says, channel by channel, where show data went.

mod hints;
pub mod json;
mod orders;
pub mod remap;
pub mod text;
mod typed;

pub use orders::{Dial, Retype, ShowEntry};

use crate::lock::Lock;
use crate::model::{ControllerId, Model, Output, StringId};
use crate::plan::{Carried, Cause, Past, Plan};
use crate::protocol::UniverseSlots;
use crate::rules::lock::moved::{is_only_plugged, reason};
use std::collections::BTreeMap;

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
    /// What to type into controllers, in the order of their set-up sheets.
    pub retype: Vec<Retype>,
    /// What to dial at fixtures, in the order of the display.
    pub dials: Vec<Dial>,
    /// What to enter in the program that plays the show, by prop in the order of the display.
    pub props: Vec<ShowEntry>,
    /// Strings that moved, by reason.
    pub moved: Vec<Moved>,
    /// Strings that hang on another output and kept their slots.
    pub plugged: Vec<StringId>,
    /// Strings that have no row in the lock.
    pub new: Vec<StringId>,
    /// Names that were carried over: old and new.
    pub renamed: Vec<(Box<str>, Box<str>)>,
    /// Where show data lay before, and where it lies now.
    pub runs: Vec<remap::Run>,
    /// Strings whose show data can't be carried over, and why.
    pub lost: Vec<(StringId, String)>,
    /// Settings that would have saved moves, in words.
    pub hints: Vec<String>,
}

impl<'a> Changes<'a> {
    /// The changes from a lock to what was decided around it.
    #[must_use]
    pub fn of(model: &'a Model, plan: &'a Plan, lock: Option<&Lock>) -> Self {
        let past = plan.past.as_deref();
        let orders = orders::Orders::of(model, plan, past.zip(lock));
        let mut changes = Self {
            model,
            plan,
            past,
            retype: orders.retype(),
            dials: orders.dials(),
            props: orders.props(),
            moved: Vec::new(),
            plugged: Vec::new(),
            new: Vec::new(),
            renamed: Vec::new(),
            runs: Vec::new(),
            lost: Vec::new(),
            hints: Vec::new(),
        };
        if let Some((past, lock)) = past.zip(lock) {
            (changes.runs, changes.lost) = remap::runs(model, plan, past, lock);
        }
        changes.strings();
        if let Some(past) = past {
            let renames = model.renames.iter().zip(&past.carried);
            let carried = renames.filter(|(_, carried)| **carried == Carried::Now);
            changes.renamed = carried.map(|(r, _)| (r.old.clone(), r.new.clone())).collect();
            let reshaped = past.reshaped.iter();
            let named = reshaped.map(|(old, id)| (old.clone(), model.name_of(*id).into()));
            changes.renamed.extend(named);
            changes.moved = moved(model, plan, past);
            if let Some(lock) = lock.filter(|_| !changes.moved.is_empty()) {
                changes.hints = hints::find(model, plan, past, lock);
            }
        }
        changes
    }

    fn strings(&mut self) {
        let moves = self.past.iter().flat_map(|past| past.moves.iter().map(move |one| (past, one)));
        let moved = moves.filter(|(past, one)| !is_only_plugged(self.plan, past, one));
        let moved: std::collections::BTreeSet<StringId> =
            moved.map(|(_, one)| one.string).collect();
        for id in (0..self.model.strings.len()).map(StringId::from) {
            if self.plan.of(id).is_none() {
                continue;
            }
            if self.past.and_then(|past| past.of(id)).is_none() {
                self.new.push(id);
            } else if self.is_replugged(id) && !moved.contains(&id) {
                self.plugged.push(id);
            }
        }
    }

    /// Whether a string of the lock is on another output now.
    #[must_use]
    pub fn is_replugged(&self, id: StringId) -> bool {
        let was = self.past.and_then(|past| past.of(id));
        let here = self.output(id).map(|(controller, output)| (Some(controller), output));
        was.is_some_and(|was| here.is_some_and(|here| here != (was.controller, was.output)))
    }

    /// Whether there is nothing to do.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.retype.is_empty()
            && self.dials.is_empty()
            && self.props.is_empty()
            && self.moved.is_empty()
            && self.plugged.is_empty()
            && self.new.is_empty()
            && self.renamed.is_empty()
            && self.past.is_none_or(|past| past.freed.is_empty())
    }

    /// The cause of a string's move and its words; `None` where [`Past::moves`] does not have it.
    #[must_use]
    pub fn unplugged(&self, id: StringId) -> Option<(Cause, String)> {
        let moves = &self.past?.moves;
        let one = moves.get(moves.binary_search_by_key(&id, |one| one.string).ok()?)?;
        let words = reason(self.model, self.plan, one.cause, Some(id));
        Some((one.cause, words))
    }

    /// How many strings moved, and how many slots they had in the lock.
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
        let slots = self.past.map_or(self.plan.universe_slots, |past| past.universe_slots);
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
        let port = self.plan.port_of(id)?;
        Some((port.controller, port.output))
    }
}

fn split(channel: u64, slots: UniverseSlots) -> (u64, u64) {
    let (universe, slot) = slots.split(channel);
    (universe.into(), slot.into())
}

fn moved(model: &Model, plan: &Plan, past: &Past) -> Vec<Moved> {
    let mut groups: BTreeMap<_, Moved> = BTreeMap::new();
    for one in &past.moves {
        if is_only_plugged(plan, past, one) {
            continue;
        }
        // The words may name the outputs, so strings of two outputs are not one group.
        let port =
            plan.of(one.string).and_then(|placed| plan.ports.as_slice().get(placed.port as usize));
        let was = past.of(one.string).map(|was| (was.controller, was.output));
        let key = (one.cause, port.map(|port| (port.controller, port.output)), was);
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
