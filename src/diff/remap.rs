//! Where the show data of each string went, channel by channel, for scripts that re-cut a show.
//!
//! A row is a run of channels that moved together: `from`, `to` and `count`, with universe and slot
//! of both. Channels count from 1, as in the tables. Padding and new strings have no row. The lock
//! says how the nodes lay before. A string whose old and new nodes don't match has no row and is
//! listed with the reason.

use super::typed;
use crate::grid::{Body, Grid};
use crate::lock::{Lock, Made};
use crate::model::{Model, Output, StringId};
use crate::plan::{Past, Plan, Was};
use crate::protocol::UniverseSlots;
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

/// All runs, by old channel, and the strings whose data can't be carried over, with the reason.
#[must_use]
pub fn runs(
    model: &Model,
    plan: &Plan,
    past: &Past,
    lock: &Lock,
) -> (Vec<Run>, Vec<(StringId, String)>) {
    let (mut runs, mut lost) = (Vec::new(), Vec::new());
    for (index, was) in past.was.iter().enumerate() {
        let id = StringId::from(index);
        // A string with `same as` has no data of its own.
        let own = model.string(id).is_some_and(|one| one.same_as.is_none());
        let Some((was, placed)) = was.filter(|_| own).zip(plan.of(id)) else {
            continue;
        };
        let found = bodies(model, plan, lock, id, &was);
        match found {
            Some(Ok(((old, before), (body, now)))) => {
                let theirs = before.segments(was.start, old);
                pair(theirs, now.segments(placed.start, body), &mut runs);
            }
            Some(Err(why)) => lost.push((id, why)),
            None => {}
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
    (runs, lost)
}

/// Nodes and how they lie on universes.
type Laid = (Body, Grid);

/// How a string lay and how it lies, or why its data can't be carried over; `None` where the plan,
/// the lock or the size of the string is missing.
fn bodies(
    model: &Model,
    plan: &Plan,
    lock: &Lock,
    id: StringId,
    was: &Was,
) -> Option<Result<(Laid, Laid), String>> {
    let port = plan.port_of(id)?;
    let controller = model.controller(port.controller)?;
    let body = Body::of(model, id)?;
    let now = (body, Grid::of_output(model, controller, port.output));
    let row = lock.rows.get(was.row)?;
    let set_up = lock.set_up(&row.controller);
    let grid = match (set_up, row.output) {
        (Some(_), output) => typed::grid(lock, set_up, output),
        // An older format does not say, so the present setting is taken.
        (None, Output::Dmx(_)) => Grid::new(lock.universe_slots, false),
        (None, Output::Pixel(_)) => {
            let whole = controller.whole_nodes || model.display.whole_nodes;
            Grid::new(lock.universe_slots, whole).using(controller.slots_used(lock.universe_slots))
        }
    };
    let node = model.node_of(id);
    let old = match (&row.made, node) {
        (Some(made), Some(node)) if letters(&made.colour) == letters(&node.colour) => {
            let old = of_made(made);
            if old.each != body.each {
                return Some(Err(format!("{} slots a node, before {}", body.each, old.each)));
            }
            old
        }
        (Some(made), Some(node)) => {
            return Some(Err(format!("its nodes are {}, before {}", node.colour, made.colour)));
        }
        (Some(_), None) => return Some(Err("it has no nodes any more".to_owned())),
        (None, Some(_)) if set_up.is_some() => {
            return Some(Err("the lock does not say what nodes it had".to_owned()));
        }
        (None, Some(_)) => body,
        (None, None) => Body { nodes: was.slots, each: 1 },
    };
    let laid = grid.lay(was.start, old);
    Some(match (laid.start, laid.end) == (was.start, was.end()) {
        true => Ok(((old, grid), now)),
        false => Err(format!("the lock does not say which nodes lay on its {} slots", was.slots)),
    })
}

fn of_made(made: &Made) -> Body {
    Body { nodes: u64::from(made.nodes), each: u64::from(made.each) }
}

/// The letters of a colour order, sorted: their order on the wire is the controller's concern.
fn letters(colour: &str) -> Vec<char> {
    let mut letters: Vec<char> = colour.chars().collect();
    letters.sort_unstable();
    letters
}

/// Pairs old and new slots in order, up to the end of the shorter side.
fn pair(
    mut theirs: impl Iterator<Item = Range<u64>>,
    mut ours: impl Iterator<Item = Range<u64>>,
    runs: &mut Vec<Run>,
) -> Option<()> {
    let mut from: Range<u64> = theirs.next()?;
    let mut to: Range<u64> = ours.next()?;
    loop {
        let count = (from.end - from.start).min(to.end - to.start);
        runs.push(Run { from: from.start, to: to.start, count });
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

/// Writes the runs as CSV, with the slots of a universe before and now.
///
/// # Errors
/// Any error of the writer.
pub fn write(
    runs: &[Run],
    (before, now): (UniverseSlots, UniverseSlots),
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let mut rows = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    rows.write_record([
        "from",
        "to",
        "count",
        "from_universe",
        "from_slot",
        "to_universe",
        "to_slot",
    ])?;
    for run in runs {
        let (from, from_slot) = super::split(run.from, before);
        let (to, to_slot) = super::split(run.to, now);
        let row = [run.from + 1, run.to + 1, run.count, from, from_slot, to, to_slot];
        rows.write_record(row.map(|figure| figure.to_string()))?;
    }
    rows.flush()
}
