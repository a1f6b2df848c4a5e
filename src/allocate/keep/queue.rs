//! The order of lines on an output: those that lay there or beside it keep theirs, new open lines
//! come last.

use crate::allocate::chains::Seat;
use crate::model::{Addressing, Line, Model, Output, PieceKind};
use crate::plan::Past;

/// Puts the open lines of each unbroken output into the order that they had; new ones come last.
///
/// Lines whose wire names the output stay in file order, as do all where strings have own starts.
pub(in crate::allocate) fn order(model: &Model, past: &Past, order: &mut [(Seat, usize)]) {
    let same = |a: &(Seat, usize), b: &(Seat, usize)| a.0 == b.0;
    for lines in order.chunk_by_mut(same) {
        let Some((seat, _)) = lines.first() else {
            continue;
        };
        let broken =
            model.controller(seat.controller).is_none_or(|c| c.addressing == Addressing::PerProp);
        if lines.len() < 2 || broken || matches!(seat.output, Output::Dmx(_)) {
            continue;
        }
        let seat = *seat;
        let lay: Vec<Option<Lay>> =
            lines.iter().map(|(_, line)| lay(model, past, model.lines.get(*line)?, seat)).collect();
        // What lay elsewhere counts where it touched what is on this output now: then all may stay.
        let touches = |one: &Lay| {
            let others = lay.iter().flatten();
            others.clone().any(|other| other.end == one.start || one.end == other.start)
        };
        let rows: Vec<(usize, Option<u64>, bool)> = lines
            .iter()
            .zip(&lay)
            .filter_map(|((_, line), lay)| {
                let row = model.lines.get(*line)?;
                let counts = lay.filter(|lay| lay.here || touches(lay));
                Some((*line, counts.map(|lay| lay.start), row.target.is_open()))
            })
            .collect();
        if rows.iter().all(|(_, began, _)| began.is_none()) {
            continue;
        }
        let mut chain: Vec<(usize, Option<u64>)> = rows
            .iter()
            .filter(|(.., open)| !open)
            .map(|(line, began, _)| (*line, *began))
            .collect();
        let mut open: Vec<(usize, Option<u64>)> = rows
            .iter()
            .filter(|(.., open)| *open)
            .map(|(line, began, _)| (*line, *began))
            .collect();
        // New ones after all that were there, in the order of the file.
        open.sort_by_key(|(line, began)| (began.is_none(), *began, *line));
        for (line, began) in open {
            let at = match began {
                Some(start) => {
                    let before = chain
                        .iter()
                        .rposition(|(_, other)| other.is_some_and(|other| other < start));
                    before.map_or(0, |before| before + 1)
                }
                None => chain.len(),
            };
            chain.insert(at, (line, began));
        }
        for (entry, (line, _)) in lines.iter_mut().zip(chain) {
            entry.1 = line;
        }
    }
}

/// Where a line lay.
#[derive(Clone, Copy)]
struct Lay {
    start: u64,
    end: u64,
    /// On the output that it has now.
    here: bool,
}

/// From the first to the last slot that a line had; `None` where none of its strings lay anywhere.
fn lay(model: &Model, past: &Past, line: &Line, seat: Seat) -> Option<Lay> {
    let pieces = model.pieces_of(line).iter();
    let places = pieces.filter_map(|piece| {
        let PieceKind::String(id, _) = piece.kind else {
            return None;
        };
        let own = model.string(id).is_some_and(|one| one.same_as.is_none());
        let was = past.of(id).filter(|_| own)?;
        let here = (was.controller, was.output) == (Some(seat.controller), seat.output);
        Some(Lay { start: was.start, end: was.end(), here })
    });
    let mut places: Vec<Lay> = places.collect();
    if places.iter().any(|place| place.here) {
        places.retain(|place| place.here);
    }
    let (start, end) = (
        places.iter().map(|place| place.start).min()?,
        places.iter().map(|place| place.end).max()?,
    );
    let here = places.iter().any(|place| place.here);
    Some(Lay { start, end, here })
}
