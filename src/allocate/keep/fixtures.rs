//! Fixtures of a DMX output: each keeps the slot that it is set to, new ones take free slots.

use super::Old;
use super::choose::{self, Interval};
use super::room::{self, Case};
use super::units::Place;
use crate::model::Model;
use crate::model::StringId;
use std::ops::Range;

/// A fixture without a pin: itself and its slots.
pub(in crate::allocate) type Footprint = (StringId, u64);

/// The first slot of each fixture, counted from 0, off the stretches that are taken; `None` where
/// not all fit. A new one goes right after the one before it if it can.
pub(in crate::allocate) fn slots(
    model: &Model,
    old: &Old<'_>,
    fixtures: &[Footprint],
    taken: &[Range<u64>],
) -> Option<Vec<u64>> {
    let room = model.display.universe_slots.each();
    let gaps = gaps(room, taken);
    let place = |(id, size): &Footprint| {
        let was = old.past.of(*id).filter(|_| old.same_size)?;
        let lost = old.lost.get(id.index()).copied().flatten();
        let start = was.start % room;
        let place = Place { start, end: start + size, kept: was.slots };
        let within = gaps.iter().any(|gap| gap.start <= place.start && place.end <= gap.end);
        (within && lost.is_none()).then_some(place)
    };
    let places: Vec<Option<Place>> = fixtures.iter().map(place).collect();
    let intervals: Vec<Interval> = places
        .iter()
        .enumerate()
        .filter_map(|(unit, place)| {
            let place = (*place)?;
            Some(Interval {
                unit,
                choice: 0,
                controller: 0,
                start: place.start,
                end: place.end,
                weight: place.kept,
            })
        })
        .collect();
    let picked = choose::best(&intervals, fixtures.len(), (1, room), old.choose_looks()).picked;
    let kept: Vec<Option<Place>> = places
        .iter()
        .zip(picked)
        .map(|(place, picked)| place.filter(|_| picked.is_some()))
        .collect();
    first_free(fixtures, &kept, &gaps).or_else(|| {
        let size = |unit: usize| fixtures.get(unit).map_or(0, |(_, size)| *size);
        let lay = |unit: usize, at: u64| at..at.saturating_add(size(unit));
        let case = Case {
            places: places.iter().map(|place| place.iter().copied().collect()).collect(),
            old: fixtures.iter().map(|(id, _)| old.slots(*id)).collect(),
            gaps,
            grid: 1,
            lay: &lay,
        };
        let found = room::search(&case, &old.room_looks)?;
        Some(found.starts.into_iter().map(|(start, _)| start).collect())
    })
}

/// Stretches of an output that nothing has taken.
fn gaps(room: u64, taken: &[Range<u64>]) -> Vec<Range<u64>> {
    let mut taken = taken.to_vec();
    taken.sort_by_key(|stretch| (stretch.start, stretch.end));
    let mut gaps = Vec::new();
    let mut at = 0;
    for stretch in taken {
        if at < stretch.start.min(room) {
            gaps.push(at..stretch.start.min(room));
        }
        at = at.max(stretch.end);
    }
    if at < room {
        gaps.push(at..room);
    }
    gaps
}

fn first_free(
    fixtures: &[Footprint],
    kept: &[Option<Place>],
    gaps: &[Range<u64>],
) -> Option<Vec<u64>> {
    let mut lain: Vec<Range<u64>> = kept.iter().flatten().map(|p| p.start..p.end).collect();
    let mut behind = 0;
    let mut starts = Vec::with_capacity(fixtures.len());
    for ((_, size), kept) in fixtures.iter().zip(kept) {
        let start = match kept {
            Some(place) => place.start,
            None => {
                let free = |start: u64| {
                    let end = start + size;
                    gaps.iter().any(|gap| gap.start <= start && end <= gap.end)
                        && lain.iter().all(|one| one.end <= start || end <= one.start)
                };
                let ends = lain.iter().map(|one| one.end);
                let begins = gaps.iter().map(|gap| gap.start);
                let start = Some(behind)
                    .filter(|behind| free(*behind))
                    .or_else(|| ends.chain(begins).filter(|start| free(*start)).min())?;
                lain.push(start..start + size);
                start
            }
        };
        behind = start + size;
        starts.push(start);
    }
    Some(starts)
}
