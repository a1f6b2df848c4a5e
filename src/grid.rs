//! How nodes lie on universes: pure arithmetic over channels counted from 0, no names.
//!
//! With `whole nodes` a node that does not fit in what is left of its universe starts the next one. The slots
//! it leaves free are padding: they lie within the stretch of a string but are not used by it.

use crate::model::{Controller, Model, StringId};
use std::ops::Range;

/// What is to be laid: nodes of so many slots each.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Body {
    /// How many nodes; for a prop of `slots`, its slots.
    pub nodes: u64,
    /// Slots of each; 1 for a prop of `slots`, which may be cut anywhere.
    pub each: u64,
}

impl Body {
    /// What a string takes; `None` where that is unknown or nothing.
    #[must_use]
    pub fn of(model: &Model, id: StringId) -> Option<Self> {
        let shape = model.shape_of(id)?;
        let body = match model.node_of(id) {
            Some(node) => Self {
                nodes: u64::from(shape.nodes),
                each: u64::from(node.slots),
            },
            None => Self {
                nodes: u64::from(shape.slots),
                each: 1,
            },
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
    slots: u64,
    whole: bool,
}

impl Grid {
    /// Universes of `slots` slots (at least 1), nodes kept whole or not.
    #[must_use]
    pub fn new(slots: u32, whole: bool) -> Self {
        Self {
            slots: u64::from(slots.max(1)),
            whole,
        }
    }

    /// As a controller fills them.
    #[must_use]
    pub fn of(model: &Model, controller: &Controller) -> Self {
        Self::new(
            model.display.universe_slots,
            controller.whole_nodes || model.display.whole_nodes,
        )
    }

    /// The first channel of a universe (from 1).
    #[must_use]
    pub fn begin(self, universe: u32) -> u64 {
        u64::from(universe.max(1) - 1) * self.slots
    }

    /// The universe (from 1) that a channel lies in.
    #[must_use]
    pub fn universe(self, channel: u64) -> u32 {
        u32::try_from(channel / self.slots + 1).unwrap_or(u32::MAX)
    }

    /// The first channel of a universe at or behind a channel.
    #[must_use]
    pub fn up(self, channel: u64) -> u64 {
        channel
            .checked_next_multiple_of(self.slots)
            .unwrap_or(u64::MAX)
    }

    /// A stretch widened to the whole universes that it touches.
    #[must_use]
    pub fn universes(self, stretch: &Range<u64>) -> Range<u64> {
        stretch.start / self.slots * self.slots..self.up(stretch.end)
    }

    /// How far a channel is behind the first of its universe.
    #[must_use]
    pub fn offset(self, channel: u64) -> u64 {
        channel % self.slots
    }

    /// A node larger than a universe can't be kept whole; it is cut as if that were not asked.
    fn keeps(self, each: u64) -> bool {
        self.whole && each <= self.slots
    }

    /// The stretch of a body laid at or, where its first node would not stay whole, behind a channel.
    #[must_use]
    pub fn lay(self, at: u64, body: Body) -> Range<u64> {
        if !self.keeps(body.each) {
            return at..at.saturating_add(body.slots());
        }
        let left = self.slots - self.offset(at);
        let (start, left) = if left < body.each {
            (at.saturating_add(left), self.slots)
        } else {
            (at, left)
        };
        let here = left / body.each;
        if body.nodes <= here {
            return start..start.saturating_add(body.slots());
        }
        let in_one = self.slots / body.each;
        let rest = body.nodes - here;
        let full = (rest - 1) / in_one;
        let last = rest - full * in_one;
        let end = start
            .saturating_add(left)
            .saturating_add(full.saturating_mul(self.slots))
            .saturating_add(last * body.each);
        start..end
    }

    /// The used slots of a body that starts at a channel, one stretch a universe, padding left out.
    pub fn segments(self, start: u64, body: Body) -> impl Iterator<Item = Range<u64>> {
        let whole = self.keeps(body.each);
        let mut at = start;
        let mut left = body.slots();
        std::iter::from_fn(move || {
            if left == 0 {
                return None;
            }
            let room = self.slots - self.offset(at);
            let usable = if whole {
                room / body.each * body.each
            } else {
                room
            };
            let taken = left.min(usable);
            let segment = at..at + taken;
            left -= taken;
            at = at.saturating_add(room);
            // A start without room for one node does not come from `lay`; it ends the walk instead of hanging it.
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
        let grid = Grid::new(512, true);
        assert_eq!(grid.lay(0, rgb(170)), 0..510);
        assert_eq!(grid.lay(0, rgb(171)), 0..515);
        assert_eq!(grid.lay(510, rgb(1)), 512..515);
        let used: Vec<_> = grid.segments(0, rgb(400)).collect();
        assert_eq!(used, [0..510, 512..1022, 1024..1204]);
        assert_eq!(grid.lay(0, rgb(400)), 0..1204);
    }

    #[test]
    fn packed_nodes_run_over_the_boundary() {
        let grid = Grid::new(512, false);
        assert_eq!(grid.lay(0, rgb(400)), 0..1200);
        let used: Vec<_> = grid.segments(0, rgb(400)).collect();
        assert_eq!(used, [0..512, 512..1024, 1024..1200]);
    }

    #[test]
    fn laying_is_what_the_segments_say() {
        for whole in [false, true] {
            for slots in [1, 4, 7, 512] {
                let grid = Grid::new(slots, whole);
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
