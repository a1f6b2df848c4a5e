//! Which slots of which universe are in use, and by whom.
//!
//! A string is cut at universe borders into stretches. Slots that are left free at the end of a
//! universe are in no stretch. Strings that share slots give equal stretches; their slots count
//! once.

use crate::grid::Body;
use crate::model::{ControllerId, Model, Output, StringId};
use crate::plan::{Plan, Why};
use crate::protocol::UNIVERSES;
use crate::usage::grid_of;

/// A string's part of one universe.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct SlotRange {
    /// The universe, from 1.
    pub universe: u32,
    /// Its first slot, from 1.
    pub first: u32,
    /// Its last slot.
    pub last: u32,
    /// The string.
    pub string: StringId,
}

/// What is in use of one universe.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Used {
    /// The universe, from 1.
    pub universe: u32,
    /// The controller it belongs to.
    pub owner: ControllerId,
    /// Whether a DMX output of that controller sends it.
    pub dmx: bool,
    /// Slots in use.
    pub slots: u32,
    /// Where its stretches begin in the list that they were counted from.
    pub from: usize,
    /// The place in that list after the last of them.
    pub to: usize,
}

/// Every string's stretches, by universe and slot.
pub fn stretches(model: &Model, plan: &Plan) -> Vec<SlotRange> {
    let mut all = Vec::with_capacity(plan.placed.len() + plan.placed.len() / 2);
    for index in 0..plan.placed.len() {
        each(model, plan, StringId::from(index), |stretch| all.push(stretch));
    }
    all.sort_unstable();
    all
}

/// Calls `take` with each stretch of one string.
pub fn each(model: &Model, plan: &Plan, id: StringId, mut take: impl FnMut(SlotRange)) {
    let (Some(placed), Some(body)) = (plan.of(id), Body::of(model, id)) else {
        return;
    };
    let Some(grid) = grid_of(model, plan, id) else {
        return;
    };
    // Beyond the last universe there is no table.
    let most = *UNIVERSES.end() as usize;
    for segment in grid.segments(placed.start, body).take(most) {
        // Slots are at most 512.
        take(SlotRange {
            universe: grid.universe(segment.start),
            first: grid.offset(segment.start) as u32 + 1,
            last: grid.offset(segment.end - 1) as u32 + 1,
            string: id,
        });
    }
}

/// What is in use, one row for each universe, from stretches in order.
pub fn by_universe(plan: &Plan, stretches: &[SlotRange]) -> Vec<Used> {
    let mut rows: Vec<Used> = Vec::new();
    let mut own = false;
    let mut covered = 0;
    for (at, stretch) in stretches.iter().enumerate() {
        let (Some(placed), Some(port)) = (plan.of(stretch.string), plan.port_of(stretch.string))
        else {
            continue;
        };
        let controller = port.controller;
        let dmx = matches!(port.output, Output::Dmx(_));
        let shows_other = matches!(placed.why, Why::SameAs(_));
        if rows.last().is_none_or(|row| row.universe != stretch.universe) {
            rows.push(Used {
                universe: stretch.universe,
                owner: controller,
                dmx,
                slots: 0,
                from: at,
                to: at,
            });
            own = !shows_other;
            covered = 0;
        }
        if let Some(row) = rows.last_mut() {
            if !own && !shows_other {
                // A universe belongs to whoever has a string of its own in it.
                row.owner = controller;
                row.dmx = dmx;
                own = true;
            }
            row.slots += (stretch.last + 1).saturating_sub(stretch.first.max(covered + 1));
            row.to = at + 1;
        }
        covered = covered.max(stretch.last);
    }
    rows
}
