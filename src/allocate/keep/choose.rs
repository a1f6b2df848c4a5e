//! Which stretches stay where they lay, so that the fewest slots move: arithmetic over intervals.
//!
//! Every unit (a port, a string, a whole controller) has places where it would keep something, each
//! an interval with a weight. Intervals of one controller must not overlap, those of different
//! controllers must not share a universe, and a unit has one place. Without that last rule one
//! sweep finds the best choice, a bound for the choice with it. Where the sweep gives a unit two
//! places, the search branches on them and sweeps again, the best bound first.

/// A place that a unit may keep.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Interval {
    /// The unit.
    pub unit: usize,
    /// Its place, as an index of the unit's own list.
    pub choice: usize,
    /// Its controller.
    pub controller: usize,
    /// First channel.
    pub start: u64,
    /// The channel after the last.
    pub end: u64,
    /// The weight of what it keeps.
    pub weight: u64,
}

/// What was chosen.
#[derive(Debug, Default)]
pub(super) struct Choice {
    /// The place of each unit; `None` where it keeps nothing.
    pub picked: Vec<Option<usize>>,
    /// How much more weight there might be, where the search was cut short.
    pub off: u64,
}

/// At most this many looks at an interval are taken in all.
pub(super) const MOST_LOOKS: u64 = 40_000_000;

/// At most this many where a way is only tried.
pub(super) const FEW_LOOKS: u64 = 100_000;

/// Chooses for `units` units. Universes have `slots` slots; controllers are below `controllers`.
pub(super) fn best(
    intervals: &[Interval],
    units: usize,
    (controllers, slots): (usize, u64),
    most: u64,
) -> Choice {
    let mut sweep = Sweep::new(intervals, controllers, slots);
    let mut off = vec![false; intervals.len()];
    let (bound, chosen) = sweep.run(&off);
    let mut search = Search { sweep, best: Vec::new(), weight: 0, missed: 0, units, most };
    search.descend(bound, chosen, &mut off);
    let mut picked = vec![None; units];
    for at in &search.best {
        if let Some(interval) = intervals.get(*at)
            && let Some(entry) = picked.get_mut(interval.unit)
        {
            *entry = Some(interval.choice);
        }
    }
    Choice { picked, off: search.missed.saturating_sub(search.weight) }
}

/// The sweep without the rule of one place a unit.
struct Sweep<'a> {
    intervals: &'a [Interval],
    slots: u64,
    by_start: Vec<usize>,
    by_end: Vec<usize>,
    by_universe: Vec<usize>,
    controllers: usize,
    looks: u64,
}

impl<'a> Sweep<'a> {
    fn new(intervals: &'a [Interval], controllers: usize, slots: u64) -> Self {
        let sorted = |key: &dyn Fn(&Interval) -> u64| {
            let mut order: Vec<usize> = (0..intervals.len()).collect();
            order.sort_by_key(|at| intervals.get(*at).map(key));
            order
        };
        let slots = slots.max(1);
        Self {
            intervals,
            slots,
            by_start: sorted(&|one| one.start),
            by_end: sorted(&|one| one.end),
            by_universe: sorted(&|one| one.end.div_ceil(slots)),
            controllers,
            looks: 0,
        }
    }

    /// The most weight, and the intervals that have it; those marked are left out.
    fn run(&mut self, left_out: &[bool]) -> (u64, Vec<usize>) {
        self.looks += self.intervals.len() as u64 + 1;
        // The best chain that ends with each interval, and the interval before it there.
        let mut chains: Vec<(u64, Option<usize>)> = vec![(0, None); self.intervals.len()];
        let mut own: Vec<(u64, Option<usize>)> = vec![(0, None); self.controllers];
        let mut all: (u64, Option<usize>) = (0, None);
        let (mut ended, mut closed) = (0, 0);
        for at in &self.by_start {
            let Some(interval) = self.intervals.get(*at) else {
                continue;
            };
            while let Some((end, one)) = self.next(&self.by_end, ended)
                && one.end <= interval.start
            {
                let weight = chains.get(end).map_or(0, |chain| chain.0);
                if let Some(own) = own.get_mut(one.controller)
                    && weight > own.0
                {
                    *own = (weight, Some(end));
                }
                ended += 1;
            }
            while let Some((end, one)) = self.next(&self.by_universe, closed)
                && one.end.div_ceil(self.slots) <= interval.start / self.slots
            {
                let weight = chains.get(end).map_or(0, |chain| chain.0);
                if weight > all.0 {
                    all = (weight, Some(end));
                }
                closed += 1;
            }
            let own = own.get(interval.controller).copied().unwrap_or_default();
            let before = if own.0 >= all.0 { own } else { all };
            if !left_out.get(*at).copied().unwrap_or(true)
                && let Some(chain) = chains.get_mut(*at)
            {
                *chain = (before.0.saturating_add(interval.weight), before.1);
            }
        }
        let mut last: (u64, Option<usize>) = (0, None);
        for (at, (weight, _)) in chains.iter().enumerate() {
            if *weight > last.0 {
                last = (*weight, Some(at));
            }
        }
        let mut chosen = Vec::new();
        let mut next = last.1;
        while let Some(at) = next {
            chosen.push(at);
            next = chains.get(at).and_then(|chain| chain.1);
        }
        (last.0, chosen)
    }

    fn next(&self, order: &[usize], place: usize) -> Option<(usize, &Interval)> {
        let at = *order.get(place)?;
        Some((at, self.intervals.get(at)?))
    }
}

/// The search for one place per unit.
struct Search<'a> {
    sweep: Sweep<'a>,
    best: Vec<usize>,
    weight: u64,
    /// The highest bound that was not looked into.
    missed: u64,
    units: usize,
    /// At most this many looks may be taken.
    most: u64,
}

impl Search<'_> {
    fn descend(&mut self, bound: u64, chosen: Vec<usize>, left_out: &mut [bool]) {
        if bound <= self.weight {
            return;
        }
        let Some(twice) = self.twice(&chosen) else {
            self.weight = bound;
            self.best = chosen;
            return;
        };
        self.settle_for(&chosen);
        if self.sweep.looks > self.most {
            self.missed = self.missed.max(bound);
            return;
        }
        let of_unit: Vec<usize> = (0..self.sweep.intervals.len())
            .filter(|at| self.unit(*at) == Some(twice))
            .filter(|at| !left_out.get(*at).copied().unwrap_or(true))
            .collect();
        // Leaving in one of them at a time covers every lawful choice.
        let mut children = Vec::with_capacity(of_unit.len());
        for kept in &of_unit {
            mark(left_out, &of_unit, true);
            mark(left_out, &[*kept], false);
            let (bound, chosen) = self.sweep.run(left_out);
            children.push((bound, *kept, chosen));
        }
        children.sort_by_key(|(bound, kept, _)| (std::cmp::Reverse(*bound), *kept));
        for (bound, kept, chosen) in children {
            mark(left_out, &of_unit, true);
            mark(left_out, &[kept], false);
            self.descend(bound, chosen, left_out);
        }
        mark(left_out, &of_unit, false);
    }

    fn unit(&self, at: usize) -> Option<usize> {
        self.sweep.intervals.get(at).map(|one| one.unit)
    }

    /// The first unit with two places.
    fn twice(&self, chosen: &[usize]) -> Option<usize> {
        let mut seen = vec![false; self.units];
        let mut twice: Option<usize> = None;
        for unit in chosen.iter().filter_map(|at| self.unit(*at)) {
            if let Some(seen) = seen.get_mut(unit)
                && std::mem::replace(seen, true)
            {
                twice = Some(twice.map_or(unit, |first| first.min(unit)));
            }
        }
        twice
    }

    /// Takes what was chosen, with the heaviest place of each unit, if that is the best so far.
    fn settle_for(&mut self, chosen: &[usize]) {
        let mut kept: Vec<Option<usize>> = vec![None; self.units];
        let weight = |at: usize| self.sweep.intervals.get(at).map_or(0, |one| one.weight);
        for at in chosen {
            let unit = self.unit(*at);
            if let Some(entry) = unit.and_then(|unit| kept.get_mut(unit))
                && entry.is_none_or(|before| weight(*at) > weight(before))
            {
                *entry = Some(*at);
            }
        }
        let best: Vec<usize> = kept.into_iter().flatten().collect();
        let sum = best.iter().map(|at| weight(*at)).sum();
        if sum > self.weight {
            self.weight = sum;
            self.best = best;
        }
    }
}

fn mark(marks: &mut [bool], places: &[usize], value: bool) {
    for at in places {
        if let Some(entry) = marks.get_mut(*at) {
            *entry = value;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clash(a: &Interval, b: &Interval, slots: u64) -> bool {
        if a.unit == b.unit {
            return true;
        }
        if a.controller == b.controller {
            return a.start < b.end && b.start < a.end;
        }
        a.start / slots < b.end.div_ceil(slots) && b.start / slots < a.end.div_ceil(slots)
    }

    fn slow(intervals: &[Interval], slots: u64) -> u64 {
        let mut most = 0;
        for set in 0_u32..1 << intervals.len() {
            let taken: Vec<&Interval> = (0..intervals.len())
                .filter(|at| set >> at & 1 == 1)
                .filter_map(|at| intervals.get(at))
                .collect();
            let lawful = taken
                .iter()
                .enumerate()
                .all(|(at, a)| taken.iter().skip(at + 1).all(|b| !clash(a, b, slots)));
            if lawful {
                most = most.max(taken.iter().map(|one| one.weight).sum());
            }
        }
        most
    }

    #[test]
    fn it_is_as_good_as_trying_everything() {
        let mut seed = 7_u64;
        let mut lot = |below: u64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(11);
            (seed >> 33) % below
        };
        for _ in 0..400 {
            let slots = 4;
            let units = 1 + lot(5) as usize;
            let intervals: Vec<Interval> = (0..1 + lot(9))
                .map(|choice| {
                    let unit = lot(units as u64) as usize;
                    let start = lot(24);
                    Interval {
                        unit,
                        choice: choice as usize,
                        controller: unit % 2,
                        start,
                        end: start + 1 + lot(9),
                        weight: 1 + lot(12),
                    }
                })
                .collect();
            let choice = best(&intervals, units, (2, slots), MOST_LOOKS);
            let taken: Vec<Interval> = intervals
                .iter()
                .filter(|one| choice.picked.get(one.unit).copied().flatten() == Some(one.choice))
                .copied()
                .collect();
            for (at, a) in taken.iter().enumerate() {
                assert!(taken.iter().skip(at + 1).all(|b| !clash(a, b, slots)), "{taken:?}");
            }
            let weight: u64 = taken.iter().map(|one| one.weight).sum();
            assert_eq!((weight, choice.off), (slow(&intervals, slots), 0), "{intervals:?}");
        }
    }
}
