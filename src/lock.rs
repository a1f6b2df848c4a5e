//! What was decided last time: for each string its output and its slots, by the string's name.
//!
//! A lock is data: how it is written is `lockfile`'s, what it means for the next compile is `allocate`'s. Identity is the
//! full name of a string (`heron[3]`, `lighthouse.2`), never its place in a file.

use crate::model::{Model, Output, Rename, StringId};
use crate::plan::Plan;
use crate::protocol::UniverseSlots;
use crate::source::Span;

/// A whole lock.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lock {
    /// The name of the display it is for; empty if that has none.
    pub display: Box<str>,
    /// Slots in a universe, 1 to 512; universe and slot of a row count by it.
    pub universe_slots: UniverseSlots,
    /// The renames that a build has carried over, old and new name of each, in byte order. They do nothing again.
    pub renamed: Vec<(Box<str>, Box<str>)>,
    /// A row a string, by name in byte order, no name twice.
    pub rows: Vec<Row>,
}

/// What is laid out afresh although a lock holds it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Relay {
    /// Nothing: what may stay stays.
    #[default]
    Nothing,
    /// All but what is on these controllers.
    AllBut(Vec<String>),
    /// Only what is on these controllers.
    Only(Vec<String>),
}

impl Relay {
    /// Whether what is on a controller is laid out afresh.
    #[must_use]
    pub fn has(&self, controller: &str) -> bool {
        let named = |names: &[String]| names.iter().any(|name| name == controller);
        match self {
            Self::Nothing => false,
            Self::AllBut(kept) => !named(kept),
            Self::Only(names) => named(names),
        }
    }

    /// The controllers that it names.
    #[must_use]
    pub fn names(&self) -> &[String] {
        match self {
            Self::Nothing => &[],
            Self::AllBut(names) | Self::Only(names) => names,
        }
    }
}

/// Where a string lay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// The string's full name, as [`Model::name_of`] makes it.
    pub name: Box<str>,
    /// Its controller's name.
    pub controller: Box<str>,
    /// Its output there.
    pub output: Output,
    /// Channel of its first slot, from 0, with the lock's own [`Lock::universe_slots`].
    pub start: u64,
    /// How many slots it takes, from its first to its last, those left free by `whole nodes` included; above 0.
    pub slots: u64,
    /// Its line in the lock; empty for one that was not read from a text.
    pub at: Span,
}

impl Lock {
    /// The lock that a finished plan makes. Strings that were not placed have no row.
    #[must_use]
    pub fn of(model: &Model, plan: &Plan) -> Self {
        let row = |index: usize| {
            let id = StringId::from(index);
            let placed = plan.of(id)?;
            let port = plan.ports.as_slice().get(placed.port as usize)?;
            Some(Row {
                name: model.name_of(id).into(),
                controller: model.controller(port.controller)?.name.clone(),
                output: port.output,
                start: placed.start,
                slots: placed.end.checked_sub(placed.start)?.checked_add(1)?,
                at: Span::default(),
            })
        };
        let mut rows: Vec<Row> = (0..model.strings.len()).filter_map(row).collect();
        rows.sort_by(|a, b| a.name.cmp(&b.name));
        let mut renamed: Vec<_> = model.renames.iter().map(names_of).collect();
        renamed.sort();
        renamed.dedup();
        Self {
            display: model.display.name.clone(),
            universe_slots: plan.universe_slots,
            renamed,
            rows,
        }
    }

    /// Universe and slot of a channel, both from 1.
    #[must_use]
    pub fn universe_slot(&self, channel: u64) -> (u32, u32) {
        self.universe_slots.split(channel)
    }

    /// The row of a name.
    #[must_use]
    pub fn row(&self, name: &str) -> Option<&Row> {
        self.rows
            .binary_search_by(|row| (*row.name).cmp(name))
            .ok()
            .and_then(|at| self.rows.get(at))
    }

    /// Whether a build has carried a rename over.
    #[must_use]
    pub fn has_carried(&self, rename: &Rename) -> bool {
        self.renamed.binary_search(&names_of(rename)).is_ok()
    }
}

/// The names of a rename as a lock has them: without blanks and comments.
fn names_of(rename: &Rename) -> (Box<str>, Box<str>) {
    let bare = |text: &str| {
        let lines = text.lines().flat_map(|line| line.split('#').next());
        let words = lines.flat_map(str::split_whitespace);
        words.collect::<String>().into()
    };
    (bare(&rename.old), bare(&rename.new))
}

impl Row {
    /// Channel of its last slot, from 0.
    #[must_use]
    pub fn last(&self) -> u64 {
        self.start.saturating_add(self.slots.max(1)) - 1
    }
}
