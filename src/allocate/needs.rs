//! What an open line needs from an output, and why an output does not offer it.

use crate::model::{ChipId, Line, Model, PieceKind, StringId, Target};
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
    /// Open lines that the compiler put there.
    Picked,
    /// Lines whose wire names it, or open lines that keep an unbroken port.
    Wired,
}

/// Outputs to look at: of one kind, in one state.
pub(super) type Way = (Kind, State);

/// The key under which the search for a fixture's output resumes: way, scope and slots.
pub(super) type Hint = (Way, usize, u32);

/// What a line needs.
#[derive(Clone, Debug)]
pub(super) struct Need {
    /// Where it may go.
    pub target: Target,
    /// Whether it is made of fixtures.
    pub fixture: bool,
    /// Its first string, with the reference.
    pub first: (StringId, Span),
    /// How many strings.
    pub strings: usize,
    /// Slots of its strings.
    slots: u32,
    /// Its pieces, as a stretch of the model's.
    pub pieces: Range<u32>,
    /// Whether it must come first on an unbroken port: its first string is pinned.
    pub head: bool,
    /// Whether it must be alone on an unbroken port: its first string shows another's data.
    pub alone: bool,
    /// Whether no fuse of the ports that it may use feeds it, even alone. Then fuses do not limit
    /// where it goes, and it is reported with the currents.
    pub unfed: bool,
}

impl Need {
    /// Of a line; `None` if it has no string.
    pub fn of(model: &Model, line: &Line) -> Option<Self> {
        let pieces = model.pieces_of(line);
        let mut strings = pieces.iter().filter_map(|piece| match piece.kind {
            PieceKind::String(id, pin) => Some((id, piece.at, pin)),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
        let (id, at, pin) = strings.next()?;
        let count = 1 + strings.clone().count();
        let slots = std::iter::once(id).chain(strings.map(|(id, ..)| id));
        let slots = slots.filter_map(|id| model.shape_of(id)).map(|shape| shape.slots);
        let slots = slots.fold(0, u32::saturating_add);
        let string = model.string(id)?;
        let shape = model.shape_of(id)?;
        let same = string.same_as.is_some();
        Some(Self {
            target: line.target,
            fixture: shape.node.is_none(),
            first: (id, at),
            strings: count,
            slots,
            pieces: line.pieces.clone(),
            head: pin.is_some(),
            alone: same,
            unfed: false,
        })
    }

    /// What to say where there is no output of its kind.
    pub fn none(&self) -> &'static str {
        if self.fixture { "there is no DMX output" } else { "there is no pixel port" }
    }

    /// The key under which the search for its output resumes.
    pub fn hint(&self, way: Way, scope: usize) -> Hint {
        // `Any` begins at the same row as the first controller; the odd number keeps them apart.
        (way, 2 * scope + usize::from(self.target == Target::Any), self.slots)
    }
}

/// Why a line does not fit.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Reason {
    /// Out of scope; not reported.
    Elsewhere,
    /// Reserved.
    Reserved,
    /// It does not drive the chip.
    Chip(ChipId),
    /// It supplies another voltage than this, in millivolts.
    Volts(i64),
    /// How many nodes are over the limit.
    Nodes(u64),
    /// How many nodes are more than a frame has time for.
    Time(u64),
    /// How many microamperes are more than its fuse carries.
    Fuse(u64),
    /// How many slots are over the limit.
    Slots(u64),
    /// It is in use, and the line must come first, or be alone.
    Taken,
    /// Nodes of another make hang on it.
    Unlike,
}

/// Reasons in words, with how many ports have each. Those that differ only in a figure are one.
pub(super) fn in_words(model: &Model, rows: &BTreeMap<Reason, usize>, ports: &str) -> Vec<String> {
    let mut reasons: Vec<(&'static str, usize, String)> = Vec::new();
    for (reason, many) in rows {
        let rate = i64::try_from(model.display.frame_rate_mhz).unwrap_or(i64::MAX);
        let (key, words) = match *reason {
            Reason::Elsewhere => continue,
            Reason::Reserved => ("reserved", "reserved".to_owned()),
            Reason::Chip(id) => {
                let name = model.chips.as_slice().get(id.index()).map_or("", |chip| &*chip.name);
                ("chip", format!("not made for `{name}`"))
            }
            Reason::Volts(volts) => {
                let volts = quantity(volts, Dimension::Voltage);
                ("volts", format!("of another voltage than {volts}"))
            }
            Reason::Nodes(over) => (
                "nodes",
                format!(
                    "too small or too full (the roomiest lacks room for {})",
                    counted(over, "node")
                ),
            ),
            Reason::Time(over) => {
                let rate = quantity(rate, Dimension::Frequency);
                (
                    "time",
                    format!(
                        "too slow at {rate} (the fastest lacks time for {})",
                        counted(over, "node")
                    ),
                )
            }
            Reason::Fuse(over) => {
                let over = i64::try_from(over).unwrap_or(i64::MAX);
                let over = quantity(over, Dimension::Current);
                ("fuse", format!("after a fuse that is too small (by at least {over})"))
            }
            Reason::Slots(over) => (
                "slots",
                format!(
                    "too small or too full (the roomiest lacks room for {})",
                    counted(over, "slot")
                ),
            ),
            Reason::Unlike => ("unlike", "in use for other nodes".to_owned()),
            Reason::Taken => ("taken", "in use, and the line needs one of its own".to_owned()),
        };
        // The map is sorted, so the first of a kind has the smallest figure.
        match reasons.iter_mut().find(|(of, ..)| *of == key) {
            Some(row) => row.1 += many,
            None => reasons.push((key, *many, words)),
        }
    }
    let told = reasons.into_iter().map(|(_, many, words)| {
        let is = if many == 1 { "is" } else { "are" };
        format!("{} {is} {words}", counted(many, ports))
    });
    told.collect()
}
