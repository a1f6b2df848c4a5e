//! How nodes lie on universes: arithmetic over channels, which count from 0.
//!
//! With `whole nodes`, a node that does not fit into the rest of its universe starts the next one.
//! A controller may use fewer slots of each universe than the display counts; it then goes on at
//! slot 1 of the next universe. Slots that are left free in either way are padding: they lie within
//! the stretch of a string, which does not use them.

use crate::model::{Controller, Model, Output, StringId};
use crate::protocol::UniverseSlots;
use std::ops::Range;

/// What is to be laid: nodes with an equal number of slots.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Body {
    /// How many nodes; for a prop of `slots`, its slots.
    pub nodes: u64,
    /// Slots of each; 1 for a prop of `slots`, which may be cut anywhere.
    pub each: u64,
}

impl Body {
    /// The nodes or slots of a string; `None` where it has none or they are unknown.
    #[must_use]
    #[inline]
    pub fn of(model: &Model, id: StringId) -> Option<Self> {
        let shape = model.shape(id);
        let body = match model.node_of(id) {
            Some(node) => Self { nodes: u64::from(shape.nodes), each: u64::from(node.slots) },
            None => Self { nodes: u64::from(shape.slots), each: 1 },
        };
        (body.nodes > 0 && body.each > 0).then_some(body)
    }

    /// Its slots, padding left out.
    #[must_use]
    pub fn slots(self) -> u64 {
        self.nodes * self.each
    }
}

/// The universes of a display as one controller fills them.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Grid {
    /// Channels from one universe to the next.
    slots: u64,
    /// Slots of each universe that are used: its first ones.
    used: u64,
    whole: bool,
}

impl Grid {
    /// Universes of `slots` slots, nodes kept whole or not.
    #[must_use]
    pub fn new(slots: UniverseSlots, whole: bool) -> Self {
        let slots = slots.each();
        let used = slots;
        Self { slots, used, whole }
    }

    /// The same universes, but only the first `used` slots of each are used (1 to all).
    #[must_use]
    pub fn using(self, used: u32) -> Self {
        let used = u64::from(used).clamp(1, self.slots);
        Self { used, ..self }
    }

    /// As the pixel ports of a controller fill them.
    #[must_use]
    pub fn of(model: &Model, controller: &Controller) -> Self {
        let whole = controller.whole_nodes || model.display.whole_nodes;
        let all = model.display.universe_slots;
        Self::new(all, whole).using(controller.slots_used(all))
    }

    /// As an output of a controller fills them: a DMX output sends all slots of its universe.
    #[must_use]
    pub fn of_output(model: &Model, controller: &Controller, output: Output) -> Self {
        let pixel = Self::of(model, controller);
        match output {
            Output::Pixel(_) => pixel,
            Output::Dmx(_) => pixel.using(model.display.universe_slots.get()),
        }
    }

    /// Whether all slots are used and nodes may be cut, so that a body fills any slots alike.
    #[must_use]
    pub fn is_plain(self) -> bool {
        !self.whole && self.used == self.slots
    }

    /// Whether a channel is in the part of its universe that is used.
    #[must_use]
    pub fn uses(self, channel: u64) -> bool {
        self.offset(channel) < self.used
    }

    /// The first channel of a universe (from 1).
    #[must_use]
    pub fn begin(self, universe: u32) -> u64 {
        u64::from(universe.max(1) - 1) * self.slots
    }

    /// The universe (from 1) that a channel lies in.
    #[must_use]
    #[inline]
    pub fn universe(self, channel: u64) -> u32 {
        u32::try_from(channel / self.slots + 1).unwrap_or(u32::MAX)
    }

    /// The first channel of a universe at or after a channel.
    #[must_use]
    #[inline]
    pub fn up(self, channel: u64) -> u64 {
        channel.checked_next_multiple_of(self.slots).unwrap_or(u64::MAX)
    }

    /// The channel at which `slots` slots begin that end right before `channel`, where nodes may be
    /// cut; `None` if fewer slots come before it. Whole nodes begin there or earlier.
    #[must_use]
    pub fn back(self, channel: u64, slots: u64) -> Option<u64> {
        let before = channel / self.slots * self.used + self.offset(channel).min(self.used);
        let first = before.checked_sub(slots)?;
        Some(first / self.used * self.slots + first % self.used)
    }

    /// A stretch widened to the whole universes that it touches.
    #[must_use]
    pub fn universes(self, stretch: &Range<u64>) -> Range<u64> {
        stretch.start / self.slots * self.slots..self.up(stretch.end)
    }

    /// How many channels of its universe come before a channel.
    #[must_use]
    #[inline]
    pub fn offset(self, channel: u64) -> u64 {
        channel % self.slots
    }

    /// The size of a unit that may not be cut, in slots, and how many such units a body has. A node
    /// larger than a universe can't be kept whole, so it is cut in spite of `whole nodes`.
    fn units(self, body: Body) -> (u64, u64) {
        if self.whole && body.each <= self.used {
            (body.each, body.nodes)
        } else {
            (1, body.slots())
        }
    }

    /// Used slots of its universe from a channel on.
    fn room(self, channel: u64) -> u64 {
        self.used.saturating_sub(self.offset(channel))
    }

    /// The stretch of a body laid from a channel, or later if its first node would be cut there.
    #[must_use]
    #[inline]
    pub fn lay(self, at: u64, body: Body) -> Range<u64> {
        let (each, units) = self.units(body);
        let start = if self.room(at) < each { self.up(at) } else { at };
        let here = self.room(start) / each;
        if units <= here {
            return start..start.saturating_add(units * each);
        }
        let in_one = self.used / each;
        let rest = units - here;
        let full = (rest - 1) / in_one;
        let last = rest - full * in_one;
        let end = self
            .up(start.saturating_add(1))
            .saturating_add(full.saturating_mul(self.slots))
            .saturating_add(last * each);
        start..end
    }

    /// The used slots of a body from a channel: a stretch in each universe, without padding.
    pub fn segments(self, start: u64, body: Body) -> impl Iterator<Item = Range<u64>> {
        let (each, _) = self.units(body);
        let mut at = start;
        let mut left = body.slots();
        std::iter::from_fn(move || {
            if left == 0 {
                return None;
            }
            let taken = left.min(self.room(at) / each * each);
            let segment = at..at + taken;
            left -= taken;
            at = self.up(at.saturating_add(1));
            // `lay` gives no start without room for a node. From such a start this ends, not loops.
            (taken > 0).then_some(segment)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RGB: u64 = 3;

    fn rgb(nodes: u64) -> Body {
        Body { nodes, each: RGB }
    }

    // 512 div 3: 170 RGB nodes whole in one universe, 510 slots used.
    #[test]
    fn whole_nodes_leave_two_slots_of_a_universe() {
        let grid = Grid::new(UniverseSlots::ALL, true);
        assert_eq!(grid.lay(0, rgb(170)), 0..510);
        assert_eq!(grid.lay(0, rgb(171)), 0..515);
        assert_eq!(grid.lay(510, rgb(1)), 512..515);
        let used: Vec<_> = grid.segments(0, rgb(400)).collect();
        assert_eq!(used, [0..510, 512..1022, 1024..1204]);
        assert_eq!(grid.lay(0, rgb(400)), 0..1204);
    }

    #[test]
    fn what_is_cut_anywhere_begins_as_far_back_as_it_is_long() {
        for used in [1, 100, 507, 512] {
            let grid = Grid::new(UniverseSlots::ALL, false).using(used);
            for (channel, slots) in [(511, 3), (512, 3), (900, 600), (5_000, 1_234)] {
                let end = |start: &u64| grid.lay(*start, Body { nodes: slots, each: 1 }).end;
                let mut starts = (0..channel).rev().filter(|at| grid.uses(*at));
                let last = starts.find(|at| end(at) <= channel);
                assert_eq!(grid.back(channel, slots), last, "{used}: {slots} before {channel}");
            }
        }
    }

    #[test]
    fn packed_nodes_run_over_the_boundary() {
        let grid = Grid::new(UniverseSlots::ALL, false);
        assert_eq!(grid.lay(0, rgb(400)), 0..1200);
        let used: Vec<_> = grid.segments(0, rgb(400)).collect();
        assert_eq!(used, [0..512, 512..1024, 1024..1200]);
    }

    // 510 div 3: with 510 of 512 slots in use no RGB node is cut; slots 511 and 512 stay free.
    #[test]
    fn a_box_that_uses_fewer_slots_goes_on_in_the_next_universe() {
        let grid = Grid::new(UniverseSlots::ALL, false).using(510);
        assert_eq!(grid.lay(0, rgb(170)), 0..510);
        assert_eq!(grid.lay(0, rgb(400)), 0..1204);
        assert_eq!(grid.lay(510, rgb(1)), 512..515);
        let used: Vec<_> = grid.segments(0, rgb(400)).collect();
        assert_eq!(used, [0..510, 512..1022, 1024..1204]);
        let rgbw = Body { nodes: 130, each: 4 };
        let cut: Vec<_> = grid.segments(0, rgbw).collect();
        assert_eq!(cut, [0..510, 512..522]);
        let kept: Vec<_> =
            Grid::new(UniverseSlots::ALL, true).using(510).segments(0, rgbw).collect();
        assert_eq!(kept, [0..508, 512..524]);
    }

    #[test]
    fn laying_is_what_the_segments_say() {
        for whole in [false, true] {
            for (slots, used) in [(1, 1), (4, 4), (4, 3), (7, 7), (7, 2), (512, 512), (512, 5)] {
                let grid = Grid::new(UniverseSlots::new(slots).unwrap(), whole).using(used);
                for at in 0..20 {
                    for nodes in 1..40 {
                        for each in 1..9 {
                            let body = Body { nodes, each };
                            let laid = grid.lay(at, body);
                            let parts: Vec<_> = grid.segments(laid.start, body).collect();
                            assert_eq!(parts.last().map(|p| p.end), Some(laid.end));
                            let sum: u64 = parts.iter().map(|p| p.end - p.start).sum();
                            assert_eq!(sum, body.slots());
                        }
                    }
                }
            }
        }
    }
}
