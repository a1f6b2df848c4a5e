//! What is laid so far, over all controllers, and what is in the way of a stretch: slots of the
//! same controller, whole universes of all others.

use std::collections::BTreeMap;
use std::ops::Range;

/// Stretches with their controllers. None overlaps another.
#[derive(Debug, Default)]
pub(super) struct Taken {
    slots: u64,
    blocks: BTreeMap<u64, (u64, usize)>,
}

impl Taken {
    /// Nothing yet; universes have `slots` slots.
    pub fn new(slots: u64) -> Self {
        Self { slots: slots.max(1), blocks: BTreeMap::new() }
    }

    /// Adds a stretch.
    pub fn add(&mut self, controller: usize, stretch: &Range<u64>) {
        let block = self.blocks.entry(stretch.start).or_insert((stretch.end, controller));
        block.0 = block.0.max(stretch.end);
    }

    /// Takes away what a controller has.
    pub fn clear(&mut self, controller: usize) {
        self.blocks.retain(|_, (_, owner)| *owner != controller);
    }

    /// The channel after the furthest block that is in the way of a controller's stretch.
    pub fn touched(&self, controller: usize, stretch: &Range<u64>) -> Option<u64> {
        let floor = stretch.start / self.slots * self.slots;
        let reach = stretch.end.div_ceil(self.slots).saturating_mul(self.slots);
        let near = self.blocks.range(..reach).rev();
        near.take_while(|(_, (end, _))| end.div_ceil(self.slots).saturating_mul(self.slots) > floor)
            .find_map(|(start, (end, owner))| {
                if *owner == controller {
                    (*start < stretch.end && *end > stretch.start).then_some(*end)
                } else {
                    Some(end.div_ceil(self.slots).saturating_mul(self.slots))
                }
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn others_have_whole_universes() {
        let mut taken = Taken::new(10);
        taken.add(0, &(3..5));
        taken.add(1, &(27..32));
        assert_eq!(taken.touched(0, &(5..9)), None);
        assert_eq!(taken.touched(0, &(4..9)), Some(5));
        assert_eq!(taken.touched(1, &(5..9)), Some(10));
        assert_eq!(taken.touched(0, &(10..20)), None);
        assert_eq!(taken.touched(0, &(12..21)), Some(40));
        assert_eq!(taken.touched(1, &(32..34)), None);
    }
}
