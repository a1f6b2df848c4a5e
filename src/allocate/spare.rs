//! Whether there is room for everything, and where not, which props may be cut into more strings.

use super::chains::Seat;
use super::fixtures::Fixtures;
use super::needs::Need;
use super::outlets::Outlets;
use super::ports;
use super::seek::{Aim, Asked, Universes};
use crate::model::{Model, PieceKind, PropId, Split, Target};
use std::collections::BTreeSet;

/// A prop is cut into at most this many strings more than the fewest.
const MOST_MORE: u32 = 64;

/// At most this many steps of search are spent on each way to cut.
const STEPS: u64 = 4_000_000;

/// Whether a short search finds a port for every line that names none, and a fuse feeds each.
#[must_use]
pub fn has_room(model: &Model) -> bool {
    let (fit, long) = look(model);
    fit && long.is_empty()
}

/// Whether every line that names no port finds one, and the props that are too long for any fuse.
fn look(model: &Model) -> (bool, BTreeSet<PropId>) {
    let said = said(model);
    let outlets = Outlets::new(model, &said);
    let mut lines = ports::open(model, &said);
    outlets.mark_unfed(&mut lines);
    let long = too_long(model, &lines);
    let (fixtures, pixel): (Vec<_>, Vec<_>) = lines.into_iter().partition(|(_, need)| need.fixture);
    let asked = Asked::new(model, &outlets, &pixel, Universes::Safe);
    let fit = asked.fits(STEPS).0;
    let fit = fit && (fixtures.is_empty() || Fixtures::new(model, &outlets, &fixtures).fits());
    (fit, long)
}

/// Props that can be cut into more strings and have a string that no fuse feeds.
fn too_long(model: &Model, lines: &[(usize, Need)]) -> BTreeSet<PropId> {
    let unfed = lines.iter().filter(|(_, need)| need.unfed);
    let unfed = unfed.filter_map(|(_, need)| model.string(need.first.0));
    let props: BTreeSet<PropId> = unfed.map(|string| string.prop).collect();
    let splits = model.splits.iter();
    let splits =
        splits.filter(|split| split.strings < split.strands && props.contains(&split.prop));
    splits.map(|split| split.prop).collect()
}

/// The seats that wires name.
fn said(model: &Model) -> Vec<Option<Seat>> {
    let lines = model.lines.iter();
    lines.map(|line| Seat::said(model, line.target)).collect()
}

/// How many more strings each `split` may make; `None` where there is room and current as it is, or
/// none may make more. Where only current is short, only props with a string that lacks it count.
///
/// What a wire puts on a port by name stays as it is.
#[must_use]
pub fn strings_to_spare(model: &Model) -> Option<Vec<u32>> {
    if model.splits.is_empty() || model.gaps.all {
        return None;
    }
    let mut tied: BTreeSet<PropId> = BTreeSet::new();
    for line in &model.lines {
        if !matches!(line.target, Target::Port(..) | Target::Dmx(..)) {
            continue;
        }
        for piece in model.pieces_of(line) {
            if let PieceKind::String(id, _) = piece.kind {
                tied.extend(model.string(id).map(|string| string.prop));
            }
        }
    }
    let more = |split: &Split| match tied.contains(&split.prop) {
        true => 0,
        false => MOST_MORE.min(split.strands.saturating_sub(split.strings)),
    };
    let mut more: Vec<u32> = model.splits.iter().map(more).collect();
    if more.iter().all(|more| *more == 0) {
        return None;
    }
    let (fit, long) = look(model);
    let placed = || {
        let mut seats = said(model);
        let lines = ports::open(model, &seats);
        ports::fill(model, &mut seats, lines, None, Aim::Any).left.is_empty()
    };
    if fit || long.is_empty() && placed() {
        for (more, split) in more.iter_mut().zip(&model.splits) {
            if !long.contains(&split.prop) {
                *more = 0;
            }
        }
    }
    more.iter().any(|more| *more > 0).then_some(more)
}
