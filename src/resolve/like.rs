//! `like`: whose settings a declaration takes before its own.

use super::names::{Names, Table};
use crate::ast::{Block, BlockKind};
use crate::diagnostic::Sink;
use crate::graph;
use crate::model::Like;
use crate::rules;
use crate::source::Span;

/// Who is like whom in one kind.
#[derive(Debug, Default)]
pub struct Lineage {
    /// The parent of each declaration, by index; rings are cut.
    parents: Vec<Option<u32>>,
    /// Whether a declaration's parent is unknown or in a ring, so that its settings are not all known.
    lost: Vec<bool>,
}

impl Lineage {
    /// Reads the `like` of every declaration of a kind; tells unknown names and rings. `known` says whether
    /// a name that no declaration has is known all the same (a chip known beforehand).
    pub fn read<'a>(
        table: &Table<'a>,
        kind: BlockKind,
        names: &Names<'a>,
        known: impl Fn(&str) -> bool,
        sink: &mut Sink,
    ) -> Self {
        let mut lineage = Self {
            parents: vec![None; table.rows.len()],
            lost: vec![false; table.rows.len()],
        };
        let mut needs = Vec::new();
        for (index, row) in table.rows.iter().enumerate() {
            let Some(like) = row.block.like else { continue };
            let key = names.key(like);
            if table.get(&key).is_none() && known(&key) {
                continue;
            }
            let parent = names.find_other(table, kind.word(), like, Some(&row.name), sink);
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

    /// The statements whose settings make up a declaration, the furthest ancestor first, itself last.
    #[must_use]
    pub fn blocks<'a>(&self, table: &Table<'a>, index: u32) -> Vec<&'a Block> {
        let mut blocks = Vec::with_capacity(1);
        let mut at = Some(index);
        while let Some(index) = at {
            blocks.extend(table.row(index).map(|row| row.block));
            at = self.parents.get(index as usize).copied().flatten();
        }
        blocks.reverse();
        blocks
    }

    /// Who takes whose settings.
    pub fn likes(&self, kind: BlockKind) -> impl Iterator<Item = Like> {
        (0_u32..)
            .zip(&self.parents)
            .filter_map(move |(child, parent)| {
                Some(Like {
                    kind,
                    child,
                    parent: (*parent)?,
                })
            })
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
