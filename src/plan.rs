//! What was decided: each string's port and addresses, and why.
//!
//! Channels count from 0 over the whole display: `(universe - 1) * universe_slots + (slot - 1)`.

use crate::keyed::{Keyed, id};
use crate::model::{ControllerId, Output, Piece, ReceiverId, StringId};
use crate::protocol::UniverseSlots;
use crate::source::Span;
use std::collections::BTreeMap;
use std::ops::{Index, Range};

id!(
    /// An output in use.
    PortId
);

/// Everything that was decided.
#[derive(Debug, Default)]
pub struct Plan {
    /// Slots in a universe, as the model has it.
    pub universe_slots: UniverseSlots,
    /// Where each string lies, by string; `None` where it could not be placed.
    pub placed: Vec<Option<Placed>>,
    /// The outputs in use, by controller as declared; of each first pixel ports, then DMX, by
    /// number.
    pub ports: Keyed<PortId, PortPlan>,
    /// By controller: what it uses.
    pub controllers: Keyed<ControllerId, ControllerPlan>,
    /// How good the picked ports of pixel lines are; `None` where the search picked none.
    pub picked: Option<Picked>,
    /// What the lock held and what became of it; `None` where there is no lock.
    pub past: Option<Box<Past>>,
}

/// What is known of all picked ports together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Picked {
    /// Ports in use that nothing hung on before.
    pub opened: u64,
    /// Proven: no fewer could be opened.
    pub bound: u64,
    /// The sum of straight lines from prop to controller or receiver, over the placed lines, in
    /// tenths of a metre; 0 for a line with an unknown end.
    pub lead_dm: u64,
    /// Proven: no less lead is possible.
    pub least_lead: bool,
    /// The fewest opened ports that were found when ports count before side by side.
    pub fewest: u64,
    /// Props whose strings found no room on one controller together.
    pub split: u64,
    /// Props on one controller whose strings do not hang side by side in order.
    pub apart: u64,
    /// Whether the search ended by itself, not for lack of steps.
    pub finished: bool,
    /// Steps of search.
    pub steps: u64,
}

/// Where a string lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    /// Its output, as an index of [`Plan::ports`].
    pub port: u32,
    /// Its place among the strings of that output, from 1.
    pub position: u32,
    /// Channel of its first slot, from 0.
    pub start: u64,
    /// Channel of its last slot, from 0.
    pub end: u64,
    /// Why it begins there.
    pub why: Why,
}

/// Why a string begins where it does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// First of its controller.
    First,
    /// After what lies before it.
    Follows,
    /// `align` moved it to the start of a universe.
    Aligned,
    /// It stepped over reserved or pinned slots; the place of what it stepped over.
    Stepped(Span),
    /// A pin.
    Pinned(Span),
    /// It shows this string's data.
    SameAs(StringId),
    /// It lay there before: the lock.
    Kept,
    /// The first free place beside what stays.
    Free,
}

/// An output in use.
#[derive(Debug, Clone)]
pub struct PortPlan {
    /// Its controller.
    pub controller: ControllerId,
    /// Which output of it.
    pub output: Output,
    /// Everything on it in data order: strings, skips and leads.
    pub pieces: Vec<ChainPiece>,
    /// Nodes that light on it (stored strings and skips left out).
    pub nodes: u32,
    /// Nodes that show nothing: skips of the chain and of the strings.
    pub skipped: u32,
    /// Slots of its strings (stored ones included).
    pub slots: u32,
    /// The smaller of its node limit and what one frame has time for, skipped nodes included. In
    /// nodes; in slots for a DMX output and a port with `slots at most`. `None` for no limit.
    pub limit: Option<u32>,
}

/// A piece of an output's chain, with the receiver it hangs on.
#[derive(Debug, Clone, Copy)]
pub struct ChainPiece {
    /// What it is.
    pub piece: Piece,
    /// The receiver whose port it comes out of.
    pub receiver: Option<ReceiverId>,
}

/// What a controller uses.
#[derive(Debug, Clone, Default)]
pub struct ControllerPlan {
    /// Its outputs in use, as a stretch of [`Plan::ports`].
    pub ports: Range<u32>,
    /// The universe that it begins with, from 1.
    pub begins: u32,
    /// Its first and last universe with a slot in use; `None` where it uses none of its own.
    pub universes: Option<(u32, u32)>,
    /// The last universe that belongs to it, with spare universes and a declared range.
    pub last_given: u32,
}

/// What the lock held and what became of it.
#[derive(Debug, Default)]
pub struct Past {
    /// Slots in a universe as the lock has it; the channels in [`Past::was`] count by it.
    pub universe_slots: UniverseSlots,
    /// Where each string lay, by string; `None` for a new one.
    pub was: Vec<Option<Was>>,
    /// What did not stay, by string.
    pub moves: Vec<Move>,
    /// Rows of the lock whose string is gone.
    pub freed: Vec<Freed>,
    /// By a controller's name in the lock: which one it is now. One that is gone has no entry.
    pub controllers: BTreeMap<Box<str>, ControllerId>,
    /// By string that an earlier build moved: where it lay before and why it could not stay.
    pub told: BTreeMap<StringId, Box<str>>,
    /// By controller: the universe that it was to begin with, where the display had a number.
    pub begins: BTreeMap<ControllerId, u32>,
    /// By rename: what became of it.
    pub carried: Vec<Carried>,
    /// Strings with another name since their prop has another shape, each after its old name.
    pub reshaped: Vec<(Box<str>, StringId)>,
    /// Where the search for the least move was cut short: how many slots fewer might move at most.
    pub off: Option<u64>,
    /// A line that could leave its port so that fewer slots move.
    pub trade: Option<Trade>,
}

/// What it costs and saves if one line does not keep its port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Trade {
    /// The line, as an index of [`Model::lines`](crate::model::Model::lines).
    pub line: usize,
    /// The port that it would hang on.
    pub to: (ControllerId, Output),
    /// How many strings change their port: without the trade, and with it.
    pub plugs: (u64, u64),
    /// How many slots move: without the trade, and with it.
    pub slots: (u64, u64),
}

/// What became of a rename.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Carried {
    /// Nothing: the lock does not hold the old name.
    Nothing,
    /// It carries addresses over in this build.
    Now,
    /// Nothing: an earlier build has carried it over.
    Before,
}

/// Where a string lay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Was {
    /// Its controller; `None` where that is gone.
    pub controller: Option<ControllerId>,
    /// Its output there.
    pub output: Output,
    /// Channel of its first slot, from 0.
    pub start: u64,
    /// How many slots from its first to its last; above 0.
    pub slots: u64,
    /// Its row in the lock, as an index.
    pub row: usize,
    /// Its line in the lock.
    pub at: Span,
}

/// A row of the lock whose string is gone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Freed {
    /// The string's name.
    pub name: Box<str>,
    /// The controller's name, as the lock has it.
    pub controller_name: Box<str>,
    /// Where it lay.
    pub was: Was,
}

/// A string that lies elsewhere than in the lock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Move {
    /// Which.
    pub string: StringId,
    /// Why it could not stay.
    pub cause: Cause,
}

/// Why a string could not stay where it lay. Every move has one of these causes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// The lock counts universes of another size; how many slots those had.
    UniverseSize(u32),
    /// A pin says where it lies.
    Pinned(Span),
    /// A wire puts it on another output.
    Rewired,
    /// No wire names its output, and it could not stay on the one it had.
    Replaced(Unseated),
    /// The lock has this string on the same slots, as after a merge of two branches.
    Shared(StringId),
    /// Something before it on its line changed, or before it on its `consecutive` controller.
    Before(Change),
    /// Its line changed and is too long for its old place; the string after that place, if known.
    NoRoom(Change, Option<StringId>),
    /// It gave way to this one, whose line changed and needs the room.
    GaveWay(StringId, Change),
    /// It made room for this string: no gap in the controller's universes was long enough.
    MadeRoom(StringId),
    /// Its old place is reserved now, or pinned for another string; the place that says so.
    Taken(Span),
    /// Its controller moved as a whole and begins so many universes later (below 0: earlier).
    Shifted(i64),
    /// Its old place is outside the universes that its controller has now.
    Outside,
    /// `align` or `whole nodes` do not let it begin there any more.
    Align,
    /// A re-layout was asked for.
    Compact,
}

/// Why a string could not stay on the output that it had.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unseated {
    /// The output is reserved now; the place that says so.
    Reserved(Span),
    /// Its controller has no such output any more.
    Gone,
    /// The output no longer drives its chip.
    Chip,
    /// The output has another voltage.
    Volts,
    /// The output takes fewer nodes or slots than before, or other strings need the room.
    Room,
}

/// What changed on a data line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// A string was added.
    Added(StringId),
    /// A string has another length.
    Length(StringId),
    /// A string has another place on the line, or came from another line.
    Order(StringId),
    /// A string is stored, so the line closes up.
    Stored(StringId),
    /// A string is gone; an index of [`Past::freed`].
    Gone(u32),
    /// A string hangs on another output now.
    Left(StringId),
    /// Nothing in the order or length of its strings: the settings of its controller.
    Settings,
}

impl Past {
    /// Where a string lay.
    #[must_use]
    pub fn of(&self, id: StringId) -> Option<&Was> {
        self.was.get(id.index())?.as_ref()
    }
}

impl Was {
    /// The channel after its last slot.
    #[must_use]
    pub fn end(&self) -> u64 {
        self.start.saturating_add(self.slots)
    }
}

impl Plan {
    /// The output that a string lies on.
    #[must_use]
    pub fn port_of(&self, id: StringId) -> Option<&PortPlan> {
        self.of(id).map(|placed| &self.ports[PortId(placed.port)])
    }

    /// The outputs of a controller that are in use.
    #[must_use]
    pub fn ports_of(&self, id: ControllerId) -> &[PortPlan] {
        let Range { start, end } = self.controllers[id].ports.clone();
        self.ports.as_slice().index(start as usize..end as usize)
    }

    /// Where a string lies.
    #[must_use]
    pub fn of(&self, id: StringId) -> Option<&Placed> {
        self.placed.get(id.index())?.as_ref()
    }

    /// Universe and slot of a channel, both from 1.
    #[must_use]
    pub fn universe_slot(&self, channel: u64) -> (u32, u32) {
        self.universe_slots.split(channel)
    }
}
