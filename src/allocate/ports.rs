//! Lines that name no port → ports.
//!
//! Pixel lines are placed all together by the placement engine ([`super::pack`]): a prop's lines
//! on one controller, side by side and in order wherever that can be, then the fewest ports, the
//! shortest leads, even load (`prefer` takes one of these to the front). A port that a wire names
//! is a port like any other. Fixtures fill a DMX output before they begin the next; where some
//! find no room that way, the engine packs them more closely.
//!
//! Input: the model, and the seats of the lines that have one. Output: a seat for each open line.
//! Lines that find none are reported by [`super::refuse`].

use super::addresses;
use super::chains::{self, Seat};
use super::cures::Refused;
use super::fixtures::Fixtures;
use super::needs::{Hint, Kind, Need, State, Way};
use super::outlets::Outlets;
use super::refuse;
use super::seek::{Aim, Asked, Homes, Universes};
use crate::diagnostic::Sink;
use crate::model::{ControllerId, Model, Start, Target};
use crate::plan::{Past, Picked};
use crate::usage;
use std::cell::OnceCell;
use std::collections::BTreeMap;

/// At most this many rounds take universes from controllers whose strings lie past their last one.
const MOST_TIGHTER: usize = 12;

/// The order in which fixtures look for an output.
const FIXTURE: &[Way] = &[
    (Kind::Dmx, State::Picked),
    (Kind::Dmx, State::Free),
    (Kind::Dmx, State::Wired),
    (Kind::Slots, State::Free),
    (Kind::Slots, State::Picked),
    (Kind::Slots, State::Wired),
];

/// The result of placing.
pub(super) struct Filled {
    /// What is known of the ports that were picked.
    pub picked: Option<Picked>,
    /// Lines without a seat, fixtures and others.
    pub left: Vec<(usize, Need)>,
}

/// Gives a seat to every open line that fits somewhere; reports the rest. `past`: what lay before.
pub(super) fn place(
    model: &Model,
    seats: &mut [Option<Seat>],
    past: Option<&Past>,
    sink: &mut Sink,
) -> Option<Picked> {
    let said = seats.to_vec();
    let homes = Homes::new();
    let lines = open(model, seats);
    let filled = fill(model, seats, lines, past.map(|past| (past, &homes)), Aim::Best);
    let asked = Refused { model, said: &said, filled: seats, errors: OnceCell::new() };
    for fixtures in [false, true] {
        let its = filled.left.iter().filter(|(_, need)| need.fixture == fixtures);
        let left: Vec<usize> = its.map(|(index, _)| *index).collect();
        if left.is_empty() {
            continue;
        }
        for finding in refuse::findings(&asked, fixtures, &left) {
            sink.push(finding);
        }
    }
    filled.picked
}

/// The open lines that have no seat yet, each with what it asks for.
pub(super) fn open(model: &Model, seats: &[Option<Seat>]) -> Vec<(usize, Need)> {
    let lines = model.lines.iter().zip(seats).enumerate();
    lines
        .filter(|(_, (line, seat))| line.target.is_open() && seat.is_none())
        .filter_map(|(index, (line, _))| Some((index, Need::of(model, line)?)))
        .collect()
}

/// Gives a seat to each of `lines`, which are open, that fits somewhere.
///
/// With `past` (what lay before, and the outputs that lines have now), lines stay if they can.
pub(super) fn fill(
    model: &Model,
    seats: &mut [Option<Seat>],
    mut lines: Vec<(usize, Need)>,
    past: Option<(&Past, &Homes)>,
    aim: Aim,
) -> Filled {
    let said = seats.to_vec();
    let mut filled = Filled { picked: None, left: Vec::new() };
    if lines.is_empty() {
        return filled;
    }
    let mut outlets = Outlets::new(model, seats);
    if let Some((past, homes)) = past {
        outlets.keep(seats, past, homes);
    }
    outlets.mark_unfed(&mut lines);
    let (fixtures, pixel): (Vec<_>, Vec<_>) = lines.into_iter().partition(|(_, need)| need.fixture);
    let homes = past.map(|(_, homes)| homes);
    let (outputs, picked) = together(model, &outlets, &pixel, (homes, aim), seats);
    filled.picked = picked;
    let mut search = Search { model, outlets, hints: BTreeMap::new(), left: Vec::new() };
    for ((index, need), at) in pixel.iter().zip(outputs) {
        let at = at.filter(|at| search.outlets.fits(*at, need).is_ok());
        search.seat(*index, need, at, seats);
    }
    for (index, need) in &fixtures {
        let at = search.single(need);
        search.seat(*index, need, at, seats);
    }
    if search.left.iter().any(|(_, need)| need.fixture) {
        search.closer(&fixtures, &said, seats);
    }
    filled.left = search.left;
    filled
}

/// The output of each pixel line, and what is known of the choice where all have one.
fn together(
    model: &Model,
    outlets: &Outlets<'_>,
    lines: &[(usize, Need)],
    (homes, aim): (Option<&Homes>, Aim),
    seats: &[Option<Seat>],
) -> (Vec<Option<usize>>, Option<Picked>) {
    if lines.is_empty() {
        return (Vec::new(), None);
    }
    let ask = |universes| {
        let asked = Asked::new(model, outlets, lines, universes);
        match homes {
            Some(homes) => asked.at_home(homes),
            None => asked,
        }
    };
    let asked = ask(Universes::Safe);
    let limited = asked.is_limited();
    let mut found = asked.place(aim);
    if found.is_err() && limited {
        found = ask(Universes::Least).place(aim);
    }
    if limited && homes.is_none() {
        // What is reserved or pinned may push strings past the universes of a controller.
        let mut less = vec![0; model.controllers.len()];
        for _ in 0..MOST_TIGHTER {
            let Ok(now) = &found else {
                break;
            };
            let seats = outlets.seated(seats.to_vec(), lines, &now.outputs);
            if !pushed_out(model, &seats, &mut less) {
                break;
            }
            let next = ask(Universes::Safe).tighter(&less).place(aim);
            if next.is_err() {
                break;
            }
            found = next;
        }
    }
    match found {
        Ok(found) => (found.outputs.into_iter().map(Some).collect(), Some(found.picked)),
        Err(outputs) => (outputs, None),
    }
}

/// Whether some controller needs more universes than it has; adds one universe to `less` of each.
fn pushed_out(model: &Model, seats: &[Option<Seat>], less: &mut [u64]) -> bool {
    let ports = chains::join(model, &chains::order(model, seats, None));
    let plan = addresses::lay(model, ports, None, &mut Sink::default()).0;
    let mut any = false;
    for (index, (controller, less)) in model.controllers.iter().zip(less).enumerate() {
        let id = ControllerId::from(index);
        let Some((_, last)) = plan.controllers.as_slice().get(index).and_then(|own| own.universes)
        else {
            continue;
        };
        let most = controller.most_universes.map_or(usize::MAX, |most| most.value as usize);
        let past = matches!(controller.start, Start::Range(_, end) if last > end);
        if past || usage::heard(model, &plan, id).len() > most {
            *less += u64::from(controller.slots_used(model.display.universe_slots));
            any = true;
        }
    }
    any
}

struct Search<'a> {
    model: &'a Model,
    outlets: Outlets<'a>,
    /// Where the search resumes: no output before that fits.
    hints: BTreeMap<Hint, usize>,
    left: Vec<(usize, Need)>,
}

impl Search<'_> {
    fn seat(&mut self, index: usize, need: &Need, at: Option<usize>, seats: &mut [Option<Seat>]) {
        let seat = at.and_then(|at| {
            self.opens(at);
            self.outlets.take(at, need)
        });
        if seat.is_none() {
            self.left.push((index, need.clone()));
        }
        if let Some(entry) = seats.get_mut(index) {
            *entry = seat;
        }
    }

    /// Before a free output becomes a picked one: fixtures must look there again.
    fn opens(&mut self, at: usize) {
        let Some(row) = self.outlets.rows.get(at) else {
            return;
        };
        let way = (row.kind, State::Picked);
        if !self.outlets.is(at, (row.kind, State::Free)) {
            return;
        }
        let start = self.outlets.scope(Target::Controller(row.controller)).start;
        for scope in [1, 2 * start] {
            for (_, from) in self.hints.range_mut((way, scope, 0)..=(way, scope, u32::MAX)) {
                *from = at.min(*from);
            }
        }
    }

    /// Packs fixtures with the engine, where some found no room one after another.
    fn closer(
        &mut self,
        lines: &[(usize, Need)],
        said: &[Option<Seat>],
        seats: &mut [Option<Seat>],
    ) {
        let mut outlets = Outlets::new(self.model, said);
        let Some(found) = Fixtures::new(self.model, &outlets, lines).place() else {
            return;
        };
        for ((index, need), at) in lines.iter().zip(found) {
            if let Some(entry) = seats.get_mut(*index) {
                *entry = outlets.take(at, need);
            }
        }
        self.left.retain(|(_, need)| !need.fixture);
    }

    /// The first output that takes a fixture.
    fn single(&mut self, need: &Need) -> Option<usize> {
        let scope = self.outlets.scope(need.target);
        for way in FIXTURE {
            let hint = need.hint(*way, scope.start);
            let from = self.hints.get(&hint).copied().unwrap_or(scope.start);
            let fits =
                |at: &usize| self.outlets.is(*at, *way) && self.outlets.fits(*at, need).is_ok();
            let found = (from..scope.end).find(fits);
            self.hints.insert(hint, found.unwrap_or(scope.end));
            if found.is_some() {
                return found;
            }
        }
        None
    }
}
