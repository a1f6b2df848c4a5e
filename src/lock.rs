//! What was decided last time: by the name of each string its output, its slots and the settings of
//! its port for it; by the name of each controller its settings.
//!
//! A lock is data only: `lockfile` reads and writes it, `allocate` decides what it means for the
//! next compile. A string is known by its full name (`heron[3]`, `lighthouse.2`), never by its
//! place in a file.

use crate::model::{Addressing, Controller, Model, Output, PieceKind, Rename};
use crate::plan::{Plan, PortPlan};
use crate::protocol::UniverseSlots;
use crate::source::Span;
use std::collections::BTreeMap;

/// A whole lock.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lock {
    /// The name of the display it is for; empty if that has none.
    pub display: Box<str>,
    /// Slots in a universe, 1 to 512; universe and slot of a row count by it.
    pub universe_slots: UniverseSlots,
    /// Old and new names of renames that builds have carried over and do not repeat, in byte order.
    pub renamed: Vec<(Box<str>, Box<str>)>,
    /// The set-ups of controllers, by name in byte order, each once; empty in an older format.
    pub boxes: Vec<SetUp>,
    /// The rows of strings, by name in byte order, each once.
    pub rows: Vec<LockRow>,
}

/// What was typed into a controller.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SetUp {
    /// Its name.
    pub name: Box<str>,
    /// Its address on the network; empty where the display did not say it.
    pub host: Box<str>,
    /// Its input as written in a display: `e131 unicast`.
    pub input: Box<str>,
    /// Its first universe in use, from 1; 0 where it has none.
    pub first: u32,
    /// How many universes it listens to.
    pub universes: u32,
    /// The universe that it was to begin with, where the display had a number.
    pub from: Option<u32>,
    /// How it numbers its ports, as written in a display: `per port`.
    pub addressing: Box<str>,
    /// Slots of each universe that its pixel ports use, 1 to 512.
    pub slots: u32,
    /// Whether no node is cut where a universe ends.
    pub whole: bool,
    /// E1.31 priority of its data, 0 to 200; `None` for the usual one.
    pub priority: Option<u32>,
    /// E1.31 universe of its synchronisation packets.
    pub sync: Option<u32>,
    /// Brightness in thousandths of a percent; `None` for full.
    pub level: Option<u32>,
    /// Its line in the lock; empty for one that was not read from a text.
    pub at: Span,
}

/// What was set on a port for a string of nodes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Made {
    /// Nodes that show something, above 0.
    pub nodes: u32,
    /// Slots of each, above 0.
    pub each: u32,
    /// The letters of a node in slot order.
    pub colour: Box<str>,
    /// Its chip; empty where the display did not say it.
    pub chip: Box<str>,
    /// Dark nodes between it and the string before it.
    pub dark: u32,
    /// Dark nodes within it.
    pub within: u32,
    /// Brightness in thousandths of a percent, where its port has one of its own.
    pub level: Option<u32>,
    /// Its place on the port, from 1, on a `per prop` controller; else 0, as strings lie in order.
    pub place: u32,
}

/// Full brightness, in thousandths of a percent.
pub const FULL: u32 = 100_000;

/// What is laid out afresh although the lock holds it.
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

/// Which of two lines is taken where a merge left a string twice in a lock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The first line.
    Ours,
    /// The second line.
    Theirs,
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

/// What the lock says of a string.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LockRow {
    /// The string's full name, as [`Model::name_of`] makes it.
    pub name: Box<str>,
    /// Its controller's name.
    pub controller: Box<str>,
    /// Its output there.
    pub output: Output,
    /// Channel of its first slot, from 0, with the lock's own [`Lock::universe_slots`].
    pub start: u64,
    /// How many slots from its first to its last, padding included; above 0.
    pub slots: u64,
    /// What was set for it; `None` for a string without nodes, and in an older format.
    pub made: Option<Made>,
    /// Whether it was stored, so that nothing was set for it.
    pub stored: bool,
    /// Where it lay before the last build that moved it, and why it could not stay, in words.
    pub moved: Option<Box<str>>,
    /// Its line in the lock; empty for one that was not read from a text.
    pub at: Span,
}

impl Lock {
    /// The lock of a finished plan. Strings that were not placed have no row.
    #[must_use]
    pub fn of(model: &Model, plan: &Plan) -> Self {
        let mut rows: Vec<LockRow> = Vec::with_capacity(model.strings.len());
        for port in &plan.ports {
            rows_of(model, plan, port, &mut rows);
        }
        rows.sort_by(|a, b| a.name.cmp(&b.name));
        let mut renamed: Vec<_> = model.renames.iter().map(names_of).collect();
        renamed.sort();
        renamed.dedup();
        let mut lock = Self {
            display: model.display.name.clone(),
            universe_slots: plan.universe_slots,
            renamed,
            boxes: Vec::new(),
            rows,
        };
        let universes = lock.universes();
        let boxes = model.controllers.iter().filter_map(|controller| {
            let (first, count) = match universes.get(&*controller.name) {
                Some(runs) => span_of(runs),
                None if controller.stock => return None,
                None => (0, 0),
            };
            Some(set_up(model, controller, first, count))
        });
        let mut boxes: Vec<SetUp> = boxes.collect();
        boxes.sort_by(|a, b| a.name.cmp(&b.name));
        lock.boxes = boxes;
        lock
    }

    /// By controller: the universes in which its strings lie, in runs of first and last, by number.
    #[must_use]
    pub fn universes(&self) -> BTreeMap<&str, Vec<(u32, u32)>> {
        let mut owners: BTreeMap<&str, Vec<(u32, u32)>> = BTreeMap::new();
        for row in &self.rows {
            let ends = (self.universe_slot(row.start).0, self.universe_slot(row.last()).0);
            owners.entry(&row.controller).or_default().push(ends);
        }
        for runs in owners.values_mut() {
            runs.sort_unstable();
            runs.dedup_by(|next, run| {
                let joins = next.0 <= run.1 + 1;
                run.1 = if joins { run.1.max(next.1) } else { run.1 };
                joins
            });
        }
        owners
    }

    /// The set-up of a controller.
    #[must_use]
    pub fn set_up(&self, name: &str) -> Option<&SetUp> {
        let at = self.boxes.binary_search_by(|one| (*one.name).cmp(name));
        at.ok().and_then(|at| self.boxes.get(at))
    }

    /// Universe and slot of a channel, both from 1.
    #[must_use]
    pub fn universe_slot(&self, channel: u64) -> (u32, u32) {
        self.universe_slots.split(channel)
    }

    /// The row of a name.
    #[must_use]
    pub fn row(&self, name: &str) -> Option<&LockRow> {
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

/// The first universe of some runs, and how many universes they have together.
#[must_use]
pub fn span_of(runs: &[(u32, u32)]) -> (u32, u32) {
    let count = runs.iter().map(|(first, last)| last - first + 1).sum();
    (runs.first().map_or(0, |run| run.0), count)
}

fn set_up(model: &Model, controller: &Controller, first: u32, universes: u32) -> SetUp {
    let value = |told: Option<crate::model::Stated<u32>>| told.map(|told| told.value);
    let usual = |priority: &u32| *priority != crate::protocol::USUAL_PRIORITY;
    SetUp {
        name: controller.name.clone(),
        host: controller.host.as_ref().map_or_else(Box::default, |host| host.value.clone()),
        input: controller.input.words().into(),
        first,
        universes,
        from: controller.start.written(),
        addressing: controller.addressing.words().into(),
        slots: controller.slots_used(model.display.universe_slots),
        whole: controller.whole_nodes || model.display.whole_nodes,
        priority: value(controller.priority).filter(usual),
        sync: value(controller.sync),
        level: value(controller.dim.or(model.display.dim)),
        at: Span::default(),
    }
}

/// The rows of the strings on an output, in chain order. Strings that were not placed have none.
fn rows_of(model: &Model, plan: &Plan, port: &PortPlan, rows: &mut Vec<LockRow>) {
    let Some(controller) = model.controller(port.controller) else {
        return;
    };
    let per_prop = controller.addressing == Addressing::PerProp;
    let (mut dark, mut place) = (0_u32, 0);
    for piece in &port.pieces {
        let id = match piece.piece.kind {
            PieceKind::String(id, _) => id,
            PieceKind::Skip(nodes) => {
                dark = dark.saturating_add(nodes);
                continue;
            }
            PieceKind::Lead(..) => continue,
        };
        let (Some(placed), Some(string)) = (plan.of(id), model.string(id)) else {
            continue;
        };
        let level = match port.output {
            Output::Pixel(number) => model.port_settings(port.controller, number, piece.receiver),
            Output::Dmx(_) => None,
        };
        let level = level.and_then(|settings| settings.dim);
        let made = model.node_of(id).zip(model.shape_of(id)).map(|(node, shape)| Made {
            nodes: shape.nodes,
            each: node.slots,
            colour: node.colour.clone(),
            chip: model.chip_of(id).map_or_else(Box::default, |chip| chip.name.clone()),
            // A stored string is not on the line: dark nodes before it come before the next one.
            dark: if string.stored { 0 } else { std::mem::take(&mut dark) },
            within: shape.skips,
            level: level.map(|level| level.value),
            place: 0,
        });
        place += u32::from(!string.stored);
        let place = if per_prop && !string.stored { place } else { 0 };
        rows.push(LockRow {
            name: model.name_of(id).into(),
            controller: controller.name.clone(),
            output: port.output,
            start: placed.start,
            slots: placed.end.saturating_sub(placed.start).saturating_add(1),
            made: made.map(|made| Made { place, ..made }),
            stored: string.stored,
            moved: plan.past.as_ref().and_then(|past| past.told.get(&id).cloned()),
            at: Span::default(),
        });
    }
}

/// The names of a rename as the lock has them.
fn names_of(rename: &Rename) -> (Box<str>, Box<str>) {
    (rename.old.clone(), rename.new.clone())
}

impl LockRow {
    /// Channel of its last slot, from 0.
    #[must_use]
    pub fn last(&self) -> u64 {
        self.start.saturating_add(self.slots.max(1)) - 1
    }
}
