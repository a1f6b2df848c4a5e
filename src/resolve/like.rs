//! `like`: a declaration takes the settings of another before its own.

use super::names::{Decl, NameTable, Names};
use crate::ast::BlockKind;
use crate::chip;
use crate::diagnostic::Sink;
use crate::graph;
use crate::model::Like;
use crate::rules;
use crate::source::Span;

/// Which declaration of one kind is `like` which.
pub struct Lineage<'t, 'a> {
    /// The declarations.
    pub table: &'t NameTable<'a>,
    /// The parent of each declaration, by index; rings are cut.
    parents: Vec<Option<u32>>,
    /// Whether a declaration's `like` is unknown or in a ring, so that some settings are unknown.
    lost: Vec<bool>,
}

impl<'t, 'a> Lineage<'t, 'a> {
    /// Reads the `like` of every declaration of a kind; reports unknown names and rings.
    pub fn read(table: &'t NameTable<'a>, names: &Names<'a>, sink: &mut Sink) -> Self {
        let mut lineage = Self {
            table,
            parents: vec![None; table.rows.len()],
            lost: vec![false; table.rows.len()],
        };
        let mut needs = Vec::new();
        for (index, row) in table.rows.iter().enumerate() {
            let Some(like) = row.block.like else { continue };
            let key = names.key(like);
            let beforehand = table.kind == BlockKind::Chip && chip::known(&key).is_some();
            if beforehand && table.get(&key).is_none() {
                continue;
            }
            let parent = names.find_other(table, like, Some(&row.name), sink);
            match parent {
                Some(parent) => needs.push((index, parent as usize)),
                None => set(&mut lineage.lost, index, true),
            }
            set(&mut lineage.parents, index, parent);
        }
        for ring in graph::rings(table.rows.len(), &needs) {
            let members: Vec<(String, Span)> = ring
                .iter()
                .filter_map(|index| table.rows.get(*index))
                .filter_map(|row| Some((row.name.to_string(), row.block.like?.span)))
                .collect();
            sink.push(rules::name::cycle::ring("like", &members));
            for index in ring {
                set(&mut lineage.parents, index, None);
                set(&mut lineage.lost, index, true);
            }
        }
        lineage
    }

    /// Makes a value for each declaration, and returns them in the order of their indices. `make`
    /// gets the index, the declaration and the value of its parent, which is made before it. Each
    /// value is made once, so a long row of `like` costs no more than a short one.
    pub fn each<T>(&self, mut make: impl FnMut(u32, &'t Decl<'a>, Option<&T>) -> T) -> Vec<T> {
        let mut made: Vec<Option<T>> = Vec::with_capacity(self.parents.len());
        made.resize_with(self.parents.len(), || None);
        let mut way = Vec::new();
        for index in 0..self.parents.len() {
            let mut at = Some(index);
            while let Some(index) = at.filter(|at| matches!(made.get(*at), Some(None))) {
                way.push(index);
                at = self.parent(index);
            }
            while let Some(index) = way.pop() {
                let parent = self.parent(index).and_then(|at| made.get(at)?.as_ref());
                let row = self.table.rows.get(index);
                let one = row.map(|row| make(index as u32, row, parent));
                set(&mut made, index, one);
            }
        }
        made.into_iter().flatten().collect()
    }

    /// The index of the declaration whose settings this one takes.
    #[must_use]
    pub fn parent(&self, index: usize) -> Option<usize> {
        let parent = self.parents.get(index).copied().flatten()?;
        Some(parent as usize)
    }

    /// For each declaration whether another takes its settings.
    #[must_use]
    pub fn are_parents(&self) -> Vec<bool> {
        let mut are = vec![false; self.parents.len()];
        for parent in self.parents.iter().flatten() {
            set(&mut are, *parent as usize, true);
        }
        are
    }

    /// Each pair of a declaration and the one whose settings it takes.
    pub fn likes(&self) -> impl Iterator<Item = Like> {
        let kind = self.table.kind;
        (0_u32..)
            .zip(&self.parents)
            .filter_map(move |(child, parent)| Some(Like { kind, child, parent: (*parent)? }))
    }

    /// Whether some of a declaration's settings are not known.
    #[must_use]
    pub fn is_lost(&self, index: u32) -> bool {
        self.lost.get(index as usize).copied().unwrap_or(false)
    }
}

fn set<T>(slots: &mut [T], index: usize, value: T) {
    if let Some(slot) = slots.get_mut(index) {
        *slot = value;
    }
}
