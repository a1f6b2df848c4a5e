//! In which order controllers are laid, and the highest universe given so far.

use crate::model::{Model, Start};

/// Every controller once, as declared, but the one that an `after` names comes before the other.
pub(super) fn of(model: &Model) -> Vec<usize> {
    let count = model.controllers.len();
    let mut order = Vec::with_capacity(count);
    let mut seen = vec![false; count];
    let mut waiting = Vec::new();
    for first in 0..count {
        let mut next = Some(first);
        // Marking on the way in also ends a ring; rings were refused before.
        while let Some(index) = next.take() {
            if seen.get(index).copied().unwrap_or(true) {
                break;
            }
            if let Some(mark) = seen.get_mut(index) {
                *mark = true;
            }
            waiting.push(index);
            if let Some(Start::After(other)) =
                model.controllers.as_slice().get(index).map(|c| c.start)
            {
                next = Some(other.index());
            }
        }
        order.extend(waiting.drain(..).rev());
    }
    order
}

/// The highest universe given to the controllers declared before one, whatever the order they are
/// laid in: a tree of maxima over prefixes (a Fenwick tree).
#[derive(Debug)]
pub(super) struct Given {
    tree: Vec<u32>,
}

impl Given {
    /// Nothing given yet to any of `count` controllers.
    pub fn new(count: usize) -> Self {
        Self { tree: vec![0; count + 1] }
    }

    /// A controller was given universes up to `last`.
    pub fn give(&mut self, controller: usize, last: u32) {
        let mut at = controller + 1;
        while let Some(entry) = self.tree.get_mut(at) {
            *entry = last.max(*entry);
            at += at & at.wrapping_neg();
        }
    }

    /// The highest given to those declared before a controller; 0 for none.
    pub fn before(&self, controller: usize) -> u32 {
        let mut at = controller;
        let mut highest = 0;
        while at > 0 {
            highest = highest.max(self.tree.get(at).copied().unwrap_or(0));
            at &= at - 1;
        }
        highest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_those_declared_before_count() {
        let mut given = Given::new(6);
        given.give(4, 90);
        given.give(1, 7);
        given.give(2, 3);
        let seen: Vec<u32> = (0..6).map(|at| given.before(at)).collect();
        assert_eq!(seen, [0, 0, 7, 7, 7, 90]);
    }
}
