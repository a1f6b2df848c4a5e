//! Outputs that open lines keep: what may stay plugged in where it is stays there.

use super::Old;
use super::search::{self, Settled};
use crate::allocate::chains::{self, Seat};
use crate::allocate::needs::Need;
use crate::allocate::outlets::Outlets;
use crate::allocate::ports;
use crate::allocate::seek::{Aim, Homes};
use crate::diagnostic::Sink;
use crate::model::{Model, PieceKind};
use crate::plan::Picked;
use std::collections::BTreeMap;

/// An open line with the output that most of its strings had.
struct Candidate {
    /// Its place in the list of open lines.
    place: usize,
    /// Its index in the model.
    line: usize,
    /// How many of its strings lay there, and with how many slots.
    had: (usize, u64),
    /// Where the first of them began.
    start: u64,
}

/// Gives a seat to every open line that fits somewhere, if possible the one it had, and reports the
/// rest. Then settles the order of lines.
pub(in crate::allocate) fn place(
    model: &Model,
    old: &Old<'_>,
    seats: &mut [Option<Seat>],
    sink: &mut Sink,
) -> (Option<Picked>, Settled) {
    let past = old.past;
    let (kept, homes) = keep(model, old, seats);
    // Where something finds no room beside what stays, the fewest strings are plugged in elsewhere.
    for (mut tried, homes) in [(kept, Homes::new()), (seats.to_vec(), homes)] {
        let lines = ports::open(model, &tried);
        let filled = ports::fill(model, &mut tried, lines, Some((past, &homes)), Aim::Best);
        if filled.left.is_empty() {
            return (filled.picked, search::settle(model, old, &tried));
        }
    }
    let picked = ports::place(model, seats, Some(past), sink);
    let order = chains::order(model, seats, Some(past));
    let settled = Settled { ports: chains::join(model, &order), off: 0, trade: None };
    (picked, settled)
}

/// Seats the open lines that may stay on the output they had. Returns all seats, and the homes of
/// the lines that have one.
fn keep(model: &Model, old: &Old<'_>, said: &[Option<Seat>]) -> (Vec<Option<Seat>>, Homes) {
    let mut seats = said.to_vec();
    let mut lines = ports::open(model, said);
    let mut outlets = Outlets::new(model, said);
    outlets.mark_unfed(&mut lines);
    outlets.staying = true;
    let mut outputs: BTreeMap<usize, Vec<Candidate>> = BTreeMap::new();
    for (place, (line, need)) in lines.iter().enumerate() {
        if let Some((at, candidate)) = candidate(model, old, &outlets, (place, *line), need) {
            outputs.entry(at).or_default().push(candidate);
        }
    }
    let mut homes = Homes::new();
    for (at, mut candidates) in outputs {
        for one in &candidates {
            homes.insert(one.line, (at, (one.had.0 as u64, one.had.1)));
        }
        candidates.sort_by_key(|one| (one.start, one.line));
        for one in staying(&mut outlets, at, &candidates, &lines) {
            let Some((line, need)) = lines.get(one.place) else {
                continue;
            };
            if let Some(entry) = seats.get_mut(*line) {
                *entry = outlets.take(at, need);
            }
        }
    }
    (seats, homes)
}

fn candidate(
    model: &Model,
    old: &Old<'_>,
    outlets: &Outlets<'_>,
    (place, line): (usize, usize),
    need: &Need,
) -> Option<(usize, Candidate)> {
    let pieces = model.pieces_of(model.lines.get(line)?);
    let mut had: BTreeMap<usize, (usize, u64, u64)> = BTreeMap::new();
    for piece in pieces {
        let PieceKind::String(id, _) = piece.kind else {
            continue;
        };
        let Some(was) = old.past.of(id).filter(|_| !old.afresh(id)) else {
            continue;
        };
        let Some(at) = was.controller.and_then(|c| outlets.find(c, was.output)) else {
            continue;
        };
        let row = had.entry(at).or_insert((0, 0, was.start));
        *row = (row.0 + 1, row.1 + was.slots, row.2.min(was.start));
    }
    let most = had
        .into_iter()
        .filter(|(at, _)| outlets.fits(*at, need).is_ok())
        .max_by_key(|(at, (strings, slots, _))| (*strings, *slots, std::cmp::Reverse(*at)));
    let (at, (strings, slots, start)) = most?;
    let candidate = Candidate { place, line, had: (strings, slots), start };
    Some((at, candidate))
}

/// Those of an output's lines that stay: one after the other as they hang, as long as they fit.
fn staying<'c>(
    outlets: &mut Outlets<'_>,
    at: usize,
    candidates: &'c [Candidate],
    lines: &[(usize, Need)],
) -> Vec<&'c Candidate> {
    let mut kept: Vec<&Candidate> = Vec::new();
    let mut needs: Vec<&Need> = Vec::new();
    for one in candidates {
        let Some((_, need)) = lines.get(one.place) else {
            continue;
        };
        needs.push(need);
        if outlets.fit_together(at, &needs) {
            kept.push(one);
        } else {
            needs.pop();
        }
    }
    kept
}
