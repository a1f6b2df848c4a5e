//! Where the data of each string that was there before went, channel by channel, so that any script can re-cut a show.
//!
//! A row is a run of channels that moved as one: `from`, `to` and `count`, channels counted from 1 as in the tables, with
//! universe and slot of both. Only slots that nodes use are told; what is new has no row.

use crate::grid::{Body, Grid};
use crate::model::{Model, Output, StringId};
use crate::plan::{Past, Plan, Was};
use std::io;
use std::ops::Range;

/// A run of channels that moved as one, counted from 0.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Run {
    /// The first before.
    pub from: u64,
    /// The first now.
    pub to: u64,
    /// How many.
    pub count: u64,
}

/// All runs, by where they were.
#[must_use]
pub fn runs(model: &Model, plan: &Plan, past: &Past) -> Vec<Run> {
    let mut runs = Vec::new();
    for (index, was) in past.was.iter().enumerate() {
        let id = StringId::from(index);
        // What shows another's data lies on its slots.
        let own = model.string(id).is_some_and(|one| one.same_as.is_none());
        if let Some(was) = was.filter(|_| own) {
            of_string(model, plan, past, id, &was, &mut runs);
        }
    }
    runs.sort_by_key(|run| (run.from, run.to));
    runs.dedup_by(|next, run| {
        let joins = run.from + run.count == next.from && run.to + run.count == next.to;
        if joins {
            run.count += next.count;
        }
        joins
    });
    runs
}

fn of_string(
    model: &Model,
    plan: &Plan,
    past: &Past,
    id: StringId,
    was: &Was,
    runs: &mut Vec<Run>,
) -> Option<()> {
    let placed = plan.of(id)?;
    let port = plan.ports.as_slice().get(placed.port as usize)?;
    let controller = model.controller(port.controller)?;
    let body = Body::of(model, id)?;
    let now = Grid::of_output(model, controller, port.output);
    let whole = controller.whole_nodes || model.display.whole_nodes;
    let grid = |whole| Grid::new(past.universe_slots, whole);
    let own = controller.slots_used(past.universe_slots);
    let own = |whole| match port.output {
        Output::Pixel(_) => grid(whole).using(own),
        Output::Dmx(_) => grid(whole),
    };
    // Where the setting for whole nodes or the slots in use were others, the length in the lock says so.
    let grids = [own(whole), own(!whole), grid(whole), grid(!whole)];
    let (nodes, before) = grids
        .into_iter()
        .find_map(|grid| Some((nodes_before(was, body, grid)?, grid)))?;
    let old = Body { nodes, ..body };
    let mut theirs = before.segments(was.start, old);
    let mut ours = now.segments(placed.start, body);
    let mut from: Range<u64> = theirs.next()?;
    let mut to: Range<u64> = ours.next()?;
    loop {
        let count = (from.end - from.start).min(to.end - to.start);
        runs.push(Run {
            from: from.start,
            to: to.start,
            count,
        });
        from.start += count;
        to.start += count;
        if from.start == from.end {
            from = theirs.next()?;
        }
        if to.start == to.end {
            to = ours.next()?;
        }
    }
}

/// How many nodes a string had, by the length in the lock; `None` where no number of them makes that length.
fn nodes_before(was: &Was, body: Body, grid: Grid) -> Option<u64> {
    let fits = |nodes: u64| {
        let laid = grid.lay(was.start, Body { nodes, ..body });
        (laid.start == was.start).then_some(laid.end - laid.start)
    };
    if fits(body.nodes) == Some(was.slots) {
        return Some(body.nodes);
    }
    let (mut low, mut high) = (1, was.slots / body.each.max(1));
    while low < high {
        let middle = high - (high - low) / 2;
        if fits(middle)? <= was.slots {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    (low >= 1 && fits(low)? == was.slots).then_some(low)
}

/// Writes the runs as CSV.
///
/// # Errors
/// What the writer says.
pub fn write(model: &Model, plan: &Plan, past: &Past, out: &mut dyn io::Write) -> io::Result<()> {
    let mut rows = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(out);
    rows.write_record([
        "from",
        "to",
        "count",
        "from_universe",
        "from_slot",
        "to_universe",
        "to_slot",
    ])?;
    for run in runs(model, plan, past) {
        let (from, from_slot) = super::split(run.from, past.universe_slots);
        let (to, to_slot) = super::split(run.to, plan.universe_slots);
        let row = [
            run.from + 1,
            run.to + 1,
            run.count,
            from,
            from_slot,
            to,
            to_slot,
        ];
        rows.write_record(row.map(|figure| figure.to_string()))?;
    }
    rows.flush()
}
