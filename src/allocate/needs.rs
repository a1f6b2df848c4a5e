//! What an open line asks of an output, and why an output does not give it.

use crate::model::{ChipId, Line, Model, NodeId, PieceKind, PropId, StringId, Target};
use crate::source::Span;
use crate::unit::{Dimension, counted, quantity};
use std::collections::BTreeMap;
use std::ops::Range;

/// What an output drives.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Kind {
    /// Pixels.
    Pixel,
    /// `slots` props on a pixel port that feeds a panel driver.
    Slots,
    /// Fixtures.
    Dmx,
}

/// What is on an output.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum State {
    /// Nothing.
    Free,
    /// Lines that were given it here.
    Picked,
    /// Lines whose wire names it.
    Wired,
}

/// Outputs to look at: of one kind, in one state.
pub(super) type Way = (Kind, State);

/// What a place to go on looking is kept by.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Hint {
    /// Runs, by the start of their scope.
    Run(usize),
    /// Single strings that are alike: way, start and end of the scope, make and nodes.
    Alike(Way, usize, NodeId, u32),
}

/// What a line asks for.
#[derive(Clone, Debug)]
pub(super) struct Need {
    /// Where it may go.
    pub target: Target,
    /// Whether it is made of fixtures.
    pub fixture: bool,
    /// Its first string, with the reference.
    pub first: (StringId, Span),
    /// The prop of that.
    pub prop: PropId,
    /// How many strings.
    pub strings: usize,
    /// Its pieces, as a stretch of the model's.
    pub pieces: Range<u32>,
    /// The make and nodes of a line that is one plain string.
    alike: Option<(NodeId, u32)>,
    /// Whether, on an unbroken port, it must come first (a pin).
    pub head: bool,
    /// Whether, on an unbroken port, it must be alone (another's data).
    pub alone: bool,
    /// Whether no fuse of the ports that it may use feeds it, even alone: then none holds it back, and it is told with
    /// the currents.
    pub unfed: bool,
}

impl Need {
    /// Of a line; `None` if it has no string. `apart` says whether any string is fed apart from its port, so that
    /// strings of one make may differ.
    pub fn of(model: &Model, line: &Line, apart: bool) -> Option<Self> {
        let pieces = model.pieces_of(line);
        let mut strings = pieces.iter().filter_map(|piece| match piece.kind {
            PieceKind::String(id, pin) => Some((id, piece.at, pin)),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
        let (id, at, pin) = strings.next()?;
        let count = 1 + strings.count();
        let string = model.string(id)?;
        let shape = model.shape_of(id)?;
        let same = string.same_as.is_some();
        let plain = pieces.len() == 1 && pin.is_none() && !same && !string.stored;
        Some(Self {
            target: line.target,
            fixture: shape.node.is_none(),
            first: (id, at),
            prop: string.prop,
            strings: count,
            pieces: line.pieces.clone(),
            alike: (plain && !apart)
                .then_some(shape.node)
                .flatten()
                .map(|node| (node, shape.nodes.saturating_add(shape.skips))),
            head: pin.is_some(),
            alone: same,
            unfed: false,
        })
    }

    /// What to say where there is no output of its kind.
    pub fn none(&self) -> &'static str {
        if self.fixture {
            "there is no DMX output"
        } else {
            "there is no pixel port"
        }
    }

    /// What to keep a place to go on looking by; `None` for a line that is like no other.
    pub fn hint(&self, way: Way, scope: usize) -> Option<Hint> {
        // A receiver's scope lies within its controller's, so it has no place of its own.
        if matches!(self.target, Target::Receiver(_)) {
            return None;
        }
        // `any` begins where the first controller does, so it is kept apart by an odd number.
        let scope = 2 * scope + usize::from(self.target == Target::Any);
        let (node, nodes) = self.alike?;
        Some(Hint::Alike(way, scope, node, nodes))
    }
}

/// Why a line does not fit.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Reason {
    /// Out of scope: not worth telling.
    Elsewhere,
    /// Reserved.
    Reserved,
    /// It does not drive the chip.
    Chip(ChipId),
    /// It supplies another voltage than this, in millivolts.
    Volts(i64),
    /// So many nodes too many.
    Nodes(u64),
    /// So many nodes too many for a frame.
    Time(u64),
    /// So many microamperes too many for its fuse.
    Fuse(u64),
    /// So many slots too many.
    Slots(u64),
    /// It is in use, and the line must come first, or be alone.
    Taken,
}

pub(super) fn count(count: u64, one: &str) -> String {
    counted(i64::try_from(count).unwrap_or(i64::MAX), one)
}

/// Reasons with how many ports have each, in words; those that differ in a figure only are one.
pub(super) fn told(model: &Model, rows: &BTreeMap<Reason, usize>, ports: &str) -> Vec<String> {
    let mut reasons: Vec<(&'static str, usize, String)> = Vec::new();
    for (reason, many) in rows {
        let rate = i64::try_from(model.display.frame_rate_mhz).unwrap_or(i64::MAX);
        let (key, words) = match *reason {
            Reason::Elsewhere => continue,
            Reason::Reserved => ("reserved", "reserved".to_owned()),
            Reason::Chip(id) => {
                let name = model.chips.get(id.index()).map_or("", |chip| &*chip.name);
                ("chip", format!("not made for `{name}`"))
            }
            Reason::Volts(volts) => {
                let volts = quantity(volts, Dimension::Voltage);
                ("volts", format!("of another voltage than {volts}"))
            }
            Reason::Nodes(over) => (
                "nodes",
                format!(
                    "too short or too full (the roomiest by {})",
                    count(over, "node")
                ),
            ),
            Reason::Time(over) => {
                let rate = quantity(rate, Dimension::Frequency);
                (
                    "time",
                    format!(
                        "too slow at {rate} (the roomiest by {})",
                        count(over, "node")
                    ),
                )
            }
            Reason::Fuse(over) => {
                let over = i64::try_from(over).unwrap_or(i64::MAX);
                let over = quantity(over, Dimension::Current);
                (
                    "fuse",
                    format!("behind too small a fuse ({over} too much at best)"),
                )
            }
            Reason::Slots(over) => (
                "slots",
                format!(
                    "too short or too full (the roomiest by {})",
                    count(over, "slot")
                ),
            ),
            Reason::Taken => ("taken", "in use, and it needs one of its own".to_owned()),
        };
        // The map is in order, so the first of a kind has the smallest figure.
        match reasons.iter_mut().find(|(of, ..)| *of == key) {
            Some(row) => row.1 += many,
            None => reasons.push((key, *many, words)),
        }
    }
    let told = reasons.into_iter().map(|(_, many, words)| {
        let is = if many == 1 { "is" } else { "are" };
        format!("{} {is} {words}", count(many as u64, ports))
    });
    told.collect()
}
