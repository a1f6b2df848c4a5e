//! Room for what has no place, where a controller's universes have no gap that is long enough: what
//! must move then, so that the fewest slots move. Pure arithmetic.
//!
//! A state says for each unit at which of its places it stays, or that it may go anywhere. States
//! are tried by the slots that they move, fewest first. Where two units of a state overlap, one of
//! them must give way; where the free ones do not fit into the gaps, one more must. So the first
//! state that works is the best. Where the steps run out, no answer beats the state at hand.

use super::units::Place;
use std::cell::Cell;
use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};
use std::ops::Range;

/// What needs room, and where.
pub(super) struct Case<'a> {
    /// By unit: the places at which it keeps something, the one that keeps most first.
    pub places: Vec<Vec<Place>>,
    /// By unit: slots of its strings that lay somewhere before.
    pub old: Vec<u64>,
    /// Stretches that may be used, in order, none touching another.
    pub gaps: Vec<Range<u64>>,
    /// Units lie alike from two channels that are a multiple of this apart.
    pub grid: u64,
    /// The stretch of a unit from the first lawful channel at or after one.
    pub lay: &'a dyn Fn(usize, u64) -> Range<u64>,
}

/// An answer.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Found {
    /// By unit: where it begins, and the place that it keeps.
    pub starts: Vec<(u64, Option<usize>)>,
    /// At most this many slots fewer might have moved.
    pub off: u64,
}

/// At most this many looks at a unit or a gap are taken for all controllers of a display together.
pub(super) const MOST_LOOKS: u64 = 30_000_000;

/// At most this many where a way is only tried.
pub(super) const FEW_LOOKS: u64 = 100_000;

/// This many looks for each unit may be taken even when those are used up.
const LEAST_LOOKS: u64 = 20;

/// For each state, at most this many tries are made to fit the free units into the gaps.
const MOST_TRIES: u32 = 400;

/// The answer that moves the fewest slots; `None` where none was found. Takes its looks off `left`.
pub(super) fn search(case: &Case<'_>, left: &Cell<u64>) -> Option<Found> {
    let count = case.places.len();
    let most = left.get().max(LEAST_LOOKS * count as u64);
    let mut search = Search { case, best: None, most, looks: 0, unsure: u64::MAX };
    let found = search.answer();
    left.set(left.get().saturating_sub(search.looks));
    found
}
type Starts = Vec<(u64, Option<usize>)>;

struct Search<'a> {
    case: &'a Case<'a>,
    /// Slots moved, and where everything lies.
    best: Option<(u64, Starts)>,
    /// At most this many looks may be taken.
    most: u64,
    looks: u64,
    /// The fewest slots moved by a state for which it is unknown whether the free units fit.
    unsure: u64,
}

/// What is wrong with a state.
enum Fault {
    /// Two units overlap.
    Clash(usize, usize),
    /// The free ones do not fit.
    Full,
}

impl Search<'_> {
    fn answer(&mut self) -> Option<Found> {
        let count = self.case.places.len();
        let sizes: u64 = (0..count).map(|unit| self.size(unit)).sum();
        if sizes > self.case.gaps.iter().map(|gap| gap.end - gap.start).sum() {
            return None;
        }
        self.try_state(&vec![usize::MAX; count]);
        self.windows();
        let off = self.best_first();
        let (moved, starts) = self.best.take()?;
        let off = off.max(moved.saturating_sub(self.unsure));
        Some(Found { starts, off })
    }

    fn size(&self, unit: usize) -> u64 {
        let stretch = (self.case.lay)(unit, 0);
        stretch.end - stretch.start
    }

    fn place(&self, unit: usize, level: usize) -> Option<Place> {
        self.case.places.get(unit)?.get(level).copied()
    }

    fn cost(&self, state: &[usize]) -> u64 {
        let moved = state.iter().enumerate().map(|(unit, level)| {
            let old = self.case.old.get(unit).copied().unwrap_or(0);
            let kept = self.place(unit, *level).map_or(0, |place| place.kept);
            old.saturating_sub(kept)
        });
        moved.sum()
    }

    /// Tries a state; if it works and is better than the best so far, it becomes the best.
    fn try_state(&mut self, state: &[usize]) -> Option<Fault> {
        self.looks += 4 * state.len() as u64;
        let mut kept: Vec<(Place, usize)> = state
            .iter()
            .enumerate()
            .filter_map(|(unit, level)| Some((self.place(unit, *level)?, unit)))
            .collect();
        kept.sort_by_key(|(place, unit)| (place.start, *unit));
        for pair in kept.windows(2) {
            if let [(a, one), (b, two)] = pair
                && b.start < a.end
            {
                return Some(Fault::Clash(*one, *two));
            }
        }
        let free: Vec<usize> = (0..state.len())
            .filter(|unit| state.get(*unit).is_none_or(|level| self.place(*unit, *level).is_none()))
            .collect();
        let cost = self.cost(state);
        let mut tries = MOST_TRIES;
        let Some(laid) = self.pack(&kept, &free, &mut tries) else {
            if tries == 0 {
                self.unsure = self.unsure.min(cost);
            }
            return Some(Fault::Full);
        };
        if self.best.as_ref().is_none_or(|(best, _)| cost < *best) {
            let mut starts: Starts = vec![(0, None); state.len()];
            for (place, unit) in &kept {
                if let Some(entry) = starts.get_mut(*unit) {
                    *entry = (place.start, state.get(*unit).copied());
                }
            }
            for (unit, start) in laid {
                if let Some(entry) = starts.get_mut(unit) {
                    *entry = (start, None);
                }
            }
            self.best = Some((cost, starts));
        }
        None
    }

    /// Fits free units into what the kept ones leave of the gaps: in order, then the largest first,
    /// then by trying.
    fn pack(
        &mut self,
        kept: &[(Place, usize)],
        free: &[usize],
        tries: &mut u32,
    ) -> Option<Vec<(usize, u64)>> {
        let gaps = without(&self.case.gaps, kept);
        self.looks += (gaps.len() * (free.len() + 1)) as u64;
        let room: u64 = gaps.iter().map(|gap| gap.end - gap.start).sum();
        if free.iter().map(|unit| self.size(*unit)).sum::<u64>() > room {
            return None;
        }
        if let Some(laid) = self.first_fit(&gaps, free) {
            return Some(laid);
        }
        let mut large = free.to_vec();
        large.sort_by_key(|unit| (Reverse(self.size(*unit)), *unit));
        if let Some(laid) = self.first_fit(&gaps, &large) {
            return Some(laid);
        }
        let mut laid = Vec::new();
        let mut gaps = gaps;
        self.fit(&mut gaps, &large, &mut laid, tries).then_some(laid)
    }

    fn first_fit(&self, gaps: &[Range<u64>], units: &[usize]) -> Option<Vec<(usize, u64)>> {
        let mut gaps = gaps.to_vec();
        let mut laid = Vec::with_capacity(units.len());
        for unit in units {
            let found = gaps.iter_mut().find_map(|gap| {
                let stretch = (self.case.lay)(*unit, gap.start);
                (stretch.end <= gap.end).then(|| {
                    gap.start = stretch.end;
                    stretch.start
                })
            });
            laid.push((*unit, found?));
        }
        Some(laid)
    }

    fn fit(
        &mut self,
        gaps: &mut [Range<u64>],
        units: &[usize],
        laid: &mut Vec<(usize, u64)>,
        tries: &mut u32,
    ) -> bool {
        let Some((unit, rest)) = units.split_first() else {
            return true;
        };
        // Of gaps of one length at one place in the grid, only the first is tried.
        let mut seen: BTreeSet<(u64, u64)> = BTreeSet::new();
        for at in 0..gaps.len() {
            let Some(gap) = gaps.get(at).cloned() else {
                continue;
            };
            let stretch = (self.case.lay)(*unit, gap.start);
            let alike = (gap.end - gap.start, gap.start % self.case.grid);
            if stretch.end > gap.end || !seen.insert(alike) {
                continue;
            }
            if *tries == 0 {
                return false;
            }
            *tries -= 1;
            self.looks += gaps.len() as u64;
            if let Some(entry) = gaps.get_mut(at) {
                entry.start = stretch.end;
            }
            laid.push((*unit, stretch.start));
            if self.fit(gaps, rest, laid, tries) {
                return true;
            }
            laid.pop();
            if let Some(entry) = gaps.get_mut(at) {
                *entry = gap;
            }
        }
        false
    }

    /// A first answer: neighbouring units give way, few at first.
    fn windows(&mut self) {
        let mut order: Vec<(u64, usize)> = (0..self.case.places.len())
            .filter_map(|unit| Some((self.place(unit, 0)?.start, unit)))
            .collect();
        order.sort_unstable();
        for length in 1..order.len() {
            for window in order.windows(length) {
                if self.looks > self.most / 2 {
                    return;
                }
                let mut state = vec![0; self.case.places.len()];
                self.looks += state.len() as u64;
                for (_, unit) in window {
                    if let Some(entry) = state.get_mut(*unit) {
                        *entry = usize::MAX;
                    }
                }
                if self.best.as_ref().is_none_or(|(best, _)| self.cost(&state) < *best) {
                    self.try_state(&state);
                }
            }
        }
    }

    /// Tries states by what they move, the least first; returns how far off the best may be.
    fn best_first(&mut self) -> u64 {
        let first = vec![0_usize; self.case.places.len()];
        let mut seen: BTreeSet<Vec<usize>> = BTreeSet::new();
        let mut heap = BinaryHeap::from([Reverse((self.cost(&first), first))]);
        while let Some(Reverse((cost, state))) = heap.pop() {
            let best = self.best.as_ref().map(|(best, _)| *best);
            if best.is_some_and(|best| best <= cost) {
                return 0;
            }
            if self.looks > self.most {
                return best.map_or(0, |best| best - cost);
            }
            let advance: Vec<usize> = match self.try_state(&state) {
                None => return 0,
                Some(Fault::Clash(one, two)) => vec![one, two],
                Some(Fault::Full) => (0..state.len()).collect(),
            };
            for unit in advance {
                let Some(level) = state.get(unit).copied() else {
                    continue;
                };
                if self.place(unit, level).is_none() {
                    continue;
                }
                let mut next = state.clone();
                if let Some(entry) = next.get_mut(unit) {
                    *entry = level + 1;
                }
                let cost = self.cost(&next);
                self.looks += next.len() as u64;
                let better = self.best.as_ref().is_none_or(|(best, _)| cost < *best);
                if better && seen.insert(next.clone()) {
                    heap.push(Reverse((cost, next)));
                }
            }
        }
        0
    }
}

/// The gaps without what is kept in them; `kept` is sorted by start.
fn without(gaps: &[Range<u64>], kept: &[(Place, usize)]) -> Vec<Range<u64>> {
    let mut left = Vec::with_capacity(gaps.len() + kept.len());
    let mut kept = kept.iter().map(|(place, _)| place).peekable();
    for gap in gaps {
        let mut at = gap.start;
        while let Some(place) = kept.peek().filter(|place| place.start < gap.end) {
            if at < place.start {
                left.push(at..place.start);
            }
            at = at.max(place.end);
            kept.next();
        }
        if at < gap.end {
            left.push(at..gap.end);
        }
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::{Body, Grid};
    use crate::protocol::UniverseSlots;

    /// Units of a size each, some at a place, in `room` slots.
    fn moved(room: u64, units: &[(u64, Option<u64>)]) -> Option<(u64, u64)> {
        let sizes: Vec<u64> = units.iter().map(|(size, _)| *size).collect();
        let lay = |unit: usize, at: u64| at..at + sizes.get(unit).copied().unwrap_or(0);
        let place = |(size, at): &(u64, Option<u64>)| {
            let place = at.map(|start| Place { start, end: start + size, kept: *size });
            place.into_iter().collect()
        };
        let case = Case {
            places: units.iter().map(place).collect(),
            old: units.iter().map(|(size, at)| at.map_or(0, |_| *size)).collect(),
            gaps: std::iter::once(0..room).collect(),
            grid: 1,
            lay: &lay,
        };
        let found = search(&case, &Cell::new(MOST_LOOKS))?;
        let kept: u64 = found
            .starts
            .iter()
            .zip(units)
            .filter(|((_, kept), _)| kept.is_some())
            .map(|(_, (size, _))| size)
            .sum();
        let old: u64 = units.iter().filter_map(|(size, at)| at.map(|_| size)).sum();
        Some((old - kept, found.off))
    }

    /// Four nodes of six slots fit into the first gap only: in the second, one would be cut.
    #[test]
    fn gaps_of_one_length_differ_by_where_they_lie() {
        let grid = Grid::new(UniverseSlots::ALL, true);
        let bodies = [(8, 3), (4, 6)].map(|(nodes, each)| Body { nodes, each });
        let lay = |unit: usize, at: u64| grid.lay(at, bodies[unit]);
        let case = Case {
            places: vec![Vec::new(), Vec::new()],
            old: vec![0, 0],
            gaps: vec![0..26, 497..523],
            grid: 512,
            lay: &lay,
        };
        let found = search(&case, &Cell::new(MOST_LOOKS)).unwrap();
        assert_eq!(found.starts, [(497, None), (0, None)]);
    }

    #[test]
    fn the_cheapest_gives_way() {
        // The first has a gap of 8. In the second only all of it fits, so the small unit moves.
        assert_eq!(moved(20, &[(4, Some(3)), (2, Some(10)), (8, None)]), Some((0, 0)));
        assert_eq!(moved(14, &[(4, Some(0)), (2, Some(8)), (8, None)]), Some((2, 0)));
        assert_eq!(moved(13, &[(4, Some(0)), (2, Some(8)), (8, None)]), None);
    }

    /// Every order of all units that are free, for every set of kept ones: laid from the left.
    fn slow(room: u64, units: &[(u64, Option<u64>)]) -> Option<u64> {
        fn fits(gaps: &[Range<u64>], sizes: &[u64]) -> bool {
            let Some((size, rest)) = sizes.split_first() else {
                return true;
            };
            (0..gaps.len()).any(|at| {
                let mut gaps = gaps.to_vec();
                gaps[at].start += size;
                gaps[at].start <= gaps[at].end && fits(&gaps, rest)
            })
        }
        let mut least = None;
        for set in 0_u32..1 << units.len() {
            let stays = |at: usize| set >> at & 1 == 1;
            let mut kept: Vec<Range<u64>> = Vec::new();
            let mut free = Vec::new();
            let mut cost = 0;
            let mut lawful = true;
            for (at, (size, place)) in units.iter().enumerate() {
                match place {
                    Some(start) if stays(at) => kept.push(*start..start + size),
                    None if stays(at) => lawful = false,
                    Some(_) => {
                        cost += size;
                        free.push(*size);
                    }
                    None => free.push(*size),
                }
            }
            kept.sort_by_key(|one| one.start);
            let mut at = 0;
            let mut gaps = Vec::new();
            for one in &kept {
                lawful &= at <= one.start;
                gaps.push(at..one.start.max(at));
                at = one.end;
            }
            lawful &= at <= room;
            gaps.push(at..room.max(at));
            if lawful && fits(&gaps, &free) {
                least = Some(least.map_or(cost, |least: u64| least.min(cost)));
            }
        }
        least
    }

    #[test]
    fn it_is_as_good_as_trying_everything() {
        let mut seed = 3_u64;
        let mut lot = |below: u64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(11);
            (seed >> 33) % below
        };
        let mut answered = 0;
        for _ in 0..300 {
            let room = 12 + lot(20);
            let units: Vec<(u64, Option<u64>)> = (0..2 + lot(6))
                .map(|_| {
                    let size = 1 + lot(6);
                    let place = (lot(4) > 0).then(|| lot(room));
                    (size, place.filter(|start| start + size <= room))
                })
                .collect();
            let expected = slow(room, &units);
            answered += usize::from(expected.is_some_and(|moved| moved > 0));
            assert_eq!(moved(room, &units), expected.map(|moved| (moved, 0)), "{room} {units:?}");
        }
        assert!(answered > 40, "only {answered} of them have to move something");
    }
}
