//! What is taken before anything is laid, and whether a stretch touches any of it. Pure arithmetic
//! over channels; owners are plain numbers.

use crate::source::Span;
use std::collections::BTreeMap;
use std::ops::Range;

/// A taken stretch.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Block {
    /// The channel after its last.
    pub end: u64,
    /// Its owner.
    pub owner: u32,
    /// The place that says so.
    pub at: Span,
}

/// The owner of a block that belongs to no output.
pub(super) const NOBODY: u32 = u32::MAX;

/// Fixed blocks, sorted for lookup. They may overlap.
#[derive(Debug, Default)]
pub(super) struct Blocks {
    rows: Vec<Row>,
}

/// A block's start, and how far the blocks up to here reach: the furthest block, and the furthest
/// of any other owner, so that one owner can be left out.
#[derive(Debug)]
struct Row {
    start: u64,
    furthest: Block,
    other: Option<Block>,
}

impl Blocks {
    /// Sorts them for lookup.
    pub fn new(mut blocks: Vec<(u64, Block)>) -> Self {
        blocks.sort_by_key(|(start, block)| (*start, block.end));
        let mut rows: Vec<Row> = Vec::with_capacity(blocks.len());
        for (start, block) in blocks {
            let row = match rows.last() {
                None => Row { start, furthest: block, other: None },
                Some(before) => before.with(start, block),
            };
            rows.push(row);
        }
        Self { rows }
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The furthest block that a stretch touches, those of `without` left out. Between the
    /// stretch's start and that block's end no free stretch of the same length begins.
    pub fn touched(&self, stretch: &Range<u64>, without: Option<u32>) -> Option<Block> {
        let before = self.rows.partition_point(|row| row.start < stretch.end);
        let row = self.rows.get(before.checked_sub(1)?)?;
        let block = if Some(row.furthest.owner) == without { row.other? } else { row.furthest };
        (block.end > stretch.start).then_some(block)
    }
}

impl Row {
    fn with(&self, start: u64, block: Block) -> Self {
        let mut row = Self { start, furthest: self.furthest, other: self.other };
        let further = |than: Option<Block>| than.is_none_or(|than| block.end > than.end);
        if block.owner == row.furthest.owner {
            if further(Some(row.furthest)) {
                row.furthest = block;
            }
        } else if further(Some(row.furthest)) {
            row.other = Some(row.furthest);
            row.furthest = block;
        } else if further(row.other) {
            row.other = Some(block);
        }
        row
    }
}

/// Blocks that are added while laying. None of them touches another.
#[derive(Debug, Default)]
pub(super) struct Laid {
    blocks: BTreeMap<u64, Block>,
}

impl Laid {
    /// Adds one.
    pub fn add(&mut self, stretch: &Range<u64>, owner: u32, at: Span) {
        let end = stretch.end;
        self.blocks.insert(stretch.start, Block { end, owner, at });
    }

    /// Forgets all.
    pub fn clear(&mut self) {
        self.blocks.clear();
    }

    /// The last block that a stretch touches, those of `without` left out.
    pub fn touched(&self, stretch: &Range<u64>, without: Option<u32>) -> Option<Block> {
        self.blocks
            .range(..stretch.end)
            .rev()
            .map(|(_, block)| *block)
            .take_while(|block| block.end > stretch.start)
            .find(|block| Some(block.owner) != without)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(end: u64, owner: u32) -> Block {
        Block { end, owner, at: Span::default() }
    }

    #[test]
    fn one_owner_can_be_left_out_wherever_it_reaches() {
        let all = [(0, 10, 1), (2, 30, 2), (5, 20, 1), (25, 28, 3), (40, 50, 2)];
        let blocks = Blocks::new(all.iter().map(|(s, e, o)| (*s, block(*e, *o))).collect());
        for without in [Some(1), Some(2), Some(3), Some(NOBODY), None] {
            for start in 0..55 {
                for end in start + 1..56 {
                    let slow = all
                        .iter()
                        .filter(|(s, e, o)| *s < end && *e > start && Some(*o) != without)
                        .map(|(_, e, _)| *e)
                        .max();
                    let quick = blocks.touched(&(start..end), without).map(|b| b.end);
                    assert_eq!(quick, slow, "{start}..{end} without {without:?}");
                }
            }
        }
    }

    #[test]
    fn laid_stretches_are_found_behind_ones_left_out() {
        let mut laid = Laid::default();
        laid.add(&(10..20), 1, Span::default());
        laid.add(&(20..30), 2, Span::default());
        assert_eq!(laid.touched(&(0..40), None), Some(block(30, 2)));
        assert_eq!(laid.touched(&(0..40), Some(2)), Some(block(20, 1)));
        assert_eq!(laid.touched(&(20..40), Some(2)), None);
        assert_eq!(laid.touched(&(0..10), None), None);
    }
}
