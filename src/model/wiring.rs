//! Wiring: data lines and their pieces, pins, outputs, reservations, names carried over.

use super::{ControllerId, ReceiverId, StringId};
use crate::source::Span;
use crate::unit::Gauge;
use std::ops::Range;

/// Where a line is wired to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// A pixel port; the receiver, if it is named by its number there.
    Port(ControllerId, u32, Option<ReceiverId>),
    /// A DMX output.
    Dmx(ControllerId, u32),
    /// Any port of a controller.
    Controller(ControllerId),
    /// Any port of a receiver.
    Receiver(ReceiverId),
    /// Any port at all.
    Any,
}

impl Target {
    /// Whether it leaves the output open.
    #[must_use]
    pub fn is_open(self) -> bool {
        matches!(self, Self::Controller(_) | Self::Receiver(_) | Self::Any)
    }
}

/// One data line as a wire describes it: its pieces in data order.
///
/// Several lines may go to one port; they follow one another in the order of `Model::lines`.
#[derive(Debug, Clone)]
pub struct Line {
    /// The place of the target (or, for strings no wire names, of the prop).
    pub at: Span,
    /// Where it goes.
    pub target: Target,
    /// Its pieces, as a stretch of `Model::pieces`.
    pub pieces: Range<u32>,
    /// Lines with the same group belong side by side: the strings of one prop in an open chain.
    pub group: u32,
    /// Whether no wire names its strings.
    pub unasked: bool,
    /// Whether it may be kept after an edit that leaves its wire, port and strings unchanged.
    pub again: bool,
}

/// A piece of a line.
#[derive(Debug, Clone, Copy)]
pub struct Piece {
    /// Where it is written.
    pub at: Span,
    /// What it is.
    pub kind: PieceKind,
}

/// What a piece of a line is.
#[derive(Debug, Clone, Copy)]
pub enum PieceKind {
    /// A string, perhaps pinned.
    String(StringId, Option<Pinned>),
    /// Dark nodes.
    Skip(u32),
    /// Cable, in micrometres, and its conductor.
    Lead(i64, Option<Gauge>),
}

/// A pin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pinned {
    /// Where.
    pub place: PinPlace,
    /// The place of the pin, from `at` on.
    pub at: Span,
}

/// Where a pin pins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PinPlace {
    /// A channel, counted from 0: `(universe - 1) * universe_slots + slot - 1`.
    Channel(u64),
    /// A slot of a DMX output, from 1.
    Slot(u32),
}

/// Universes that something else uses.
#[derive(Debug, Clone)]
pub struct ReservedUniverses {
    /// The statement.
    pub at: Span,
    /// First.
    pub first: u32,
    /// Last.
    pub last: u32,
    /// Why.
    pub reason: Option<Box<str>>,
}

/// A port, a DMX output or slots of one that something else uses.
#[derive(Debug, Clone)]
pub struct ReservedOutput {
    /// The statement.
    pub at: Span,
    /// The controller.
    pub controller: ControllerId,
    /// Which output.
    pub output: Output,
    /// Slots of a DMX output; `None` for the whole.
    pub slots: Option<(u32, u32)>,
    /// Why.
    pub reason: Option<Box<str>>,
}

/// An output of a controller. Pixel ports come before DMX outputs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Output {
    /// A pixel port by number.
    Pixel(u32),
    /// A DMX output by number.
    Dmx(u32),
}

impl Output {
    /// Its name after the `.` of its controller: `3`, `dmx1`.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Pixel(number) => number.to_string(),
            Self::Dmx(number) => format!("dmx{number}"),
        }
    }
}

/// A name carried over.
#[derive(Debug, Clone)]
pub struct Rename {
    /// The statement.
    pub at: Span,
    /// The name it had, in NFC without blanks and comments (`heron`, `heron[2]`, `boathouse`).
    pub old: Box<str>,
    /// Where the old name stands.
    pub old_at: Span,
    /// The name it has, in the same form.
    pub new: Box<str>,
    /// Where the new name stands.
    pub new_at: Span,
}
