//! What people type into a controller, field by field, in the numbers that its set-up uses.
//!
//! All of it is read from a lock, the old one and the one that a build would write.

use crate::grid::{Body, Grid};
use crate::lock::{FULL, Lock, LockRow, Made, SetUp};
use crate::model::Output;
use crate::protocol::{Input, USUAL_PRIORITY};
use crate::unit::{Dimension, quantity};
use std::collections::BTreeMap;

/// A field of a set-up, in the order of the sheet.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Field {
    /// Where the controller is on the network.
    Host,
    /// What it listens to.
    Input,
    /// Its first universe.
    FirstUniverse,
    /// How many universes it listens to.
    Universes,
    /// The channel of the display that its data begin at, where its input counts from there.
    DataFromChannel,
    /// Slots that it uses of each universe.
    UniverseSlots,
    /// E1.31 priority.
    Priority,
    /// E1.31 universe of the synchronisation packets.
    SyncUniverse,
    /// How its ports are addressed.
    Addressing,
    /// Whether nodes are kept whole where a universe ends.
    WholeNodes,
    /// The universe of a DMX output.
    Universe,
    /// The first slot of a controller, a port or a row, or its offset in bytes.
    Start,
    /// Nodes that light.
    Nodes,
    /// Slots of what has no nodes.
    Slots,
    /// Dark nodes before it.
    Dark,
    /// Dark nodes within it.
    DarkWithin,
    /// The slot order of a node.
    Colour,
    /// The chip.
    Chip,
    /// Brightness.
    Level,
}

impl Field {
    /// Its key in JSON.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Host => "host",
            Self::Input => "input",
            Self::FirstUniverse => "first_universe",
            Self::Universes => "universes",
            Self::DataFromChannel => "data_from_channel",
            Self::UniverseSlots => "universe_slots",
            Self::Priority => "priority",
            Self::SyncUniverse => "sync_universe",
            Self::Addressing => "addressing",
            Self::WholeNodes => "whole_nodes",
            Self::Universe => "universe",
            Self::Start => "start",
            Self::Nodes => "nodes",
            Self::Slots => "slots",
            Self::Dark => "dark_before",
            Self::DarkWithin => "dark_within",
            Self::Colour => "colour",
            Self::Chip => "chip",
            Self::Level => "level",
        }
    }
}

/// Where a field stands: an output and the row of its set-up, from 1; `(None, 0)` for the
/// controller as a whole.
pub type Place = (Option<Output>, u32);

/// What stands in the fields of a controller.
#[derive(Default)]
pub struct Typed {
    /// Each field.
    pub fields: BTreeMap<(Place, Field), String>,
    /// The first string of each row.
    pub strings: BTreeMap<Place, Box<str>>,
}

/// The set-up of a controller in a lock; nothing where the lock does not have it.
#[must_use]
pub fn typed(lock: &Lock, name: &str) -> Typed {
    let mut typed = Typed::default();
    let Some(set_up) = lock.set_up(name) else { return typed };
    let rows = || lock.rows.iter().filter(|row| *row.controller == *name);
    let own = Own {
        lock,
        set_up,
        input: Input::find(&set_up.input).unwrap_or_default(),
        first: rows().map(|row| begins(lock, row)).min(),
        consecutive: &*set_up.addressing == "consecutive",
    };
    let mut outputs: BTreeMap<Output, Vec<&LockRow>> = BTreeMap::new();
    for row in rows() {
        outputs.entry(row.output).or_default().push(row);
    }
    own.whole(&outputs, &mut typed);
    for (output, mut rows) in outputs {
        let place = |row: &&LockRow| (row.made.as_ref().map_or(0, |made| made.place), row.start);
        rows.sort_by_key(place);
        match output {
            Output::Dmx(_) => {
                let first = rows.iter().map(|row| row.start).min().unwrap_or(0);
                let universe = own.start(lock.universe_slot(first).0, None);
                let place = (Some(output), 1);
                typed.fields.insert((place, Field::Universe), universe);
                let first = rows.first().map(|row| row.name.clone());
                typed.strings.extend(first.map(|name| (place, name)));
            }
            Output::Pixel(_) => own.port(output, &rows, &mut typed),
        }
    }
    typed
}

/// The first channel of what a row's output sends: a DMX output sends its whole universe.
fn begins(lock: &Lock, row: &LockRow) -> u64 {
    match row.output {
        Output::Pixel(_) => row.start,
        Output::Dmx(_) => lock.universe_slots.begin(lock.universe_slot(row.start).0),
    }
}

/// A controller of a lock.
struct Own<'a> {
    lock: &'a Lock,
    set_up: &'a SetUp,
    input: Input,
    /// Its first channel.
    first: Option<u64>,
    consecutive: bool,
}

impl Own<'_> {
    /// The fields of the controller as a whole.
    fn whole(&self, outputs: &BTreeMap<Output, Vec<&LockRow>>, typed: &mut Typed) {
        let set_up = self.set_up;
        let counts = self.input.protocol.data_offset(0).is_some();
        let mut put = |field, value: Option<String>| {
            if let Some(value) = value {
                typed.fields.insert(((None, 0), field), value);
            }
        };
        let some = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
        put(Field::Host, some(&set_up.host));
        put(Field::Input, some(&set_up.input));
        put(Field::Addressing, some(&set_up.addressing));
        let whole = if set_up.whole { "yes" } else { "no" };
        put(Field::WholeNodes, some(whole));
        put(Field::Level, Some(percent(set_up.level.unwrap_or(FULL))));
        if counts {
            let channel = self.first.map(|first| (first + 1).to_string());
            put(Field::DataFromChannel, channel);
        } else {
            put(Field::UniverseSlots, Some(set_up.slots.to_string()));
            let first = Some(set_up.first).filter(|first| *first > 0);
            put(Field::FirstUniverse, first.map(|first| self.input.number(first).to_string()));
            put(Field::Universes, first.map(|_| set_up.universes.to_string()));
        }
        if self.input.protocol.has_priority() {
            let priority = set_up.priority.unwrap_or(USUAL_PRIORITY);
            put(Field::Priority, Some(priority.to_string()));
            put(Field::SyncUniverse, set_up.sync.map(|sync| sync.to_string()));
        }
        if self.consecutive {
            let pixel = outputs.iter().filter(|(output, _)| matches!(output, Output::Pixel(_)));
            let up = pixel.flat_map(|(_, rows)| rows).filter(|row| !row.stored);
            let first = up.map(|row| row.start).min();
            put(Field::Start, first.map(|first| self.at(first)));
        }
    }

    /// A port: strings with like settings and no gap between them are one row of its set-up.
    fn port(&self, output: Output, rows: &[&LockRow], typed: &mut Typed) {
        let mut number = 0;
        let mut before: Option<&LockRow> = None;
        let mut nodes = 0;
        for row in rows.iter().filter(|row| !row.stored) {
            if before.is_none_or(|before| !self.goes_on(before, row)) {
                number += 1;
                nodes = 0;
                typed.strings.insert((Some(output), number), row.name.clone());
                self.row((Some(output), number), row, typed);
            }
            if let Some(made) = &row.made {
                nodes += u64::from(made.nodes);
                let key = ((Some(output), number), Field::Nodes);
                typed.fields.insert(key, nodes.to_string());
            }
            before = Some(row);
        }
    }

    fn row(&self, place: Place, row: &LockRow, typed: &mut Typed) {
        let mut put = |field, value: String| typed.fields.insert((place, field), value);
        if !self.consecutive {
            put(Field::Start, self.at(row.start));
        }
        let Some(made) = &row.made else {
            put(Field::Slots, row.slots.to_string());
            return;
        };
        for (field, nodes) in [(Field::Dark, made.dark), (Field::DarkWithin, made.within)] {
            if nodes > 0 {
                put(field, nodes.to_string());
            }
        }
        put(Field::Colour, made.colour.to_string());
        if !made.chip.is_empty() {
            put(Field::Chip, made.chip.to_string());
        }
        if let Some(level) = made.level {
            put(Field::Level, percent(level));
        }
    }

    /// Whether a string goes on where the one before it ends, with the same settings.
    fn goes_on(&self, before: &LockRow, row: &LockRow) -> bool {
        let (Some(old), Some(new)) = (&before.made, &row.made) else {
            return false;
        };
        let alike = |made: &Made| (made.each, made.colour.clone(), made.chip.clone(), made.level);
        let body = Body { nodes: u64::from(new.nodes), each: u64::from(new.each) };
        alike(old) == alike(new)
            && [old.within, new.within, new.dark, new.place] == [0; 4]
            && self.grid().lay(before.last() + 1, body).start == row.start
    }

    fn grid(&self) -> Grid {
        grid(self.lock, Some(self.set_up), Output::Pixel(1))
    }

    /// A channel as it is typed into this controller.
    fn at(&self, channel: u64) -> String {
        let (universe, slot) = self.lock.universe_slot(channel);
        self.start(universe, Some((slot, channel)))
    }

    /// A universe, or a slot of it with its channel, as it is typed into this controller.
    fn start(&self, universe: u32, slot: Option<(u32, u64)>) -> String {
        let channel = self.lock.universe_slots.begin(universe);
        let channel = slot.map_or(channel, |(_, channel)| channel);
        let before = channel.saturating_sub(self.first.unwrap_or(0));
        if let Some(offset) = self.input.protocol.data_offset(before) {
            return offset.to_string();
        }
        let number = self.input.number(universe);
        match slot {
            Some((slot, _)) => format!("{number}/{slot}"),
            None => number.to_string(),
        }
    }
}

/// How an output of a controller filled its universes, as a lock has it.
#[must_use]
pub fn grid(lock: &Lock, set_up: Option<&SetUp>, output: Output) -> Grid {
    let whole = set_up.is_some_and(|set_up| set_up.whole);
    let grid = Grid::new(lock.universe_slots, whole);
    match (output, set_up) {
        (Output::Pixel(_), Some(set_up)) => grid.using(set_up.slots),
        (Output::Pixel(_), None) | (Output::Dmx(_), _) => grid,
    }
}

fn percent(level: u32) -> String {
    quantity(i64::from(level), Dimension::Share)
}
