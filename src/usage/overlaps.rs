//! Strings that share a slot, found by one sweep over the strings in the order of their starts.

use super::{controller_of, grid_of};
use crate::grid::Body;
use crate::model::{Model, StringId};
use crate::plan::{Plan, Why};
use std::ops::Range;

/// Two strings that share a slot.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Overlap {
    /// The one that starts first.
    pub holder: StringId,
    /// The other one.
    pub comer: StringId,
    /// The first slot that they share, as a channel from 0.
    pub from: u64,
    /// How many slots they share.
    pub slots: u64,
}

/// Bits of a string's index in a packed key; 400,000 strings need 19.
const INDEX_BITS: u32 = 20;

/// The placed strings that have slots of their own, in the order of their starts.
#[must_use]
pub fn by_start(model: &Model, plan: &Plan) -> Vec<StringId> {
    let strings = model.strings.iter().zip(&plan.placed).enumerate();
    let mut keys: Vec<u64> = strings
        .filter_map(|(index, (string, placed))| {
            let start = placed.filter(|_| string.same_as.is_none())?.start;
            // Far beyond the last universe, order no longer matters.
            Some(start.min(u64::MAX >> INDEX_BITS) << INDEX_BITS | index as u64)
        })
        .collect();
    keys.sort_unstable();
    let mask = (1 << INDEX_BITS) - 1;
    keys.into_iter().map(|key| StringId::from((key & mask) as usize)).collect()
}

/// All overlaps of strings that must not share a slot. Each string is compared with the string of
/// its controller that reaches furthest before it, and each pinned one also with the pinned one
/// that reaches furthest before it, if that is another controller's.
///
/// Other strings of two controllers that overlap are left out: there the universes clash.
#[must_use]
pub fn overlaps(model: &Model, plan: &Plan, by_start: &[StringId]) -> Vec<Overlap> {
    let mut overlaps = Vec::new();
    let mut furthest = model.controllers.map(|_| None);
    let mut pinned: Option<(StringId, u64)> = None;
    for id in by_start {
        let (Some(placed), Some(controller)) = (plan.of(*id), controller_of(plan, *id)) else {
            continue;
        };
        let reaches =
            |before: Option<(StringId, u64)>| before.filter(|(_, end)| placed.start <= *end);
        let further =
            |before: Option<(StringId, u64)>| before.is_none_or(|(_, end)| placed.end > end);
        let own = &mut furthest[controller];
        let holder = reaches(*own);
        overlaps.extend(holder.and_then(|(holder, _)| overlap(model, plan, holder, *id)));
        if further(*own) {
            *own = Some((*id, placed.end));
        }
        if matches!(placed.why, Why::Pinned(_)) {
            let holder = reaches(pinned)
                .filter(|(holder, _)| controller_of(plan, *holder) != Some(controller));
            overlaps.extend(holder.and_then(|(holder, _)| overlap(model, plan, holder, *id)));
            if further(pinned) {
                pinned = Some((*id, placed.end));
            }
        }
    }
    overlaps
}

/// The slots that two strings share; `None` where at most padding overlaps.
fn overlap(model: &Model, plan: &Plan, holder: StringId, comer: StringId) -> Option<Overlap> {
    let mut ours = used(model, plan, holder)?.peekable();
    let mut from = None;
    let mut slots = 0;
    for theirs in used(model, plan, comer)? {
        while let Some(segment) = ours.peek() {
            let shared = segment.start.max(theirs.start)..segment.end.min(theirs.end);
            if shared.start < shared.end {
                from = from.or(Some(shared.start));
                slots += shared.end - shared.start;
            }
            if segment.end > theirs.end {
                break;
            }
            ours.next();
        }
    }
    from.map(|from| Overlap { holder, comer, from, slots })
}

fn used(model: &Model, plan: &Plan, id: StringId) -> Option<impl Iterator<Item = Range<u64>>> {
    let grid = grid_of(model, plan, id)?;
    // What lies beyond the last universe is reported by `address/range`.
    let most = *crate::protocol::UNIVERSES.end() as usize;
    Some(grid.segments(plan.of(id)?.start, Body::of(model, id)?).take(most))
}
