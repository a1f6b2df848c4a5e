//! The settings `string`, `strings`, `split` and `slots`, before shapes are made of them.

use super::makes::count;
use super::matching::Matched;
use super::settings::Key;
use crate::source::Span;

/// One setting that describes a shape.
#[derive(Clone)]
pub enum Sketch<'a> {
    /// Strings that are alike, perhaps in strands.
    Plain {
        /// The setting.
        at: Span,
        /// How many strings.
        strings: u32,
        /// Nodes of each.
        nodes: u32,
        /// Nodes of one strand.
        strand: Option<u32>,
    },
    /// One string of runs.
    Runs {
        /// The setting.
        at: Span,
        /// Its values.
        set: Matched<'a>,
    },
    /// Strands or single nodes that the compiler cuts into strings.
    Split {
        /// The setting.
        at: Span,
        /// How many strands or single nodes.
        units: u32,
        /// Nodes of each; 1 for single nodes.
        nodes: u32,
    },
    /// A fixture.
    Fixture {
        /// The setting.
        at: Span,
        /// Its footprint.
        slots: u32,
    },
}

impl Sketch<'_> {
    /// The setting.
    pub fn at(&self) -> Span {
        match self {
            Self::Plain { at, .. }
            | Self::Runs { at, .. }
            | Self::Split { at, .. }
            | Self::Fixture { at, .. } => *at,
        }
    }
}

/// The shape that a setting describes; `None` for any other setting.
pub fn sketch<'a>(set: &Matched<'a>) -> Option<Sketch<'a>> {
    let at = set.at();
    let number = |place| count(set.number(place));
    let plain = |strings, nodes, strand| Some(Sketch::Plain { at, strings, nodes, strand });
    // A product that does not fit becomes the largest number, which no port can drive.
    match set.key {
        Key::String => plain(1, number(0), None),
        Key::Strings => plain(number(0), number(1), None),
        Key::Strands => plain(number(0), number(1).saturating_mul(number(2)), Some(number(2))),
        Key::StringRuns => Some(Sketch::Runs { at, set: *set }),
        Key::SplitNodes => Some(Sketch::Split { at, units: number(0), nodes: 1 }),
        Key::SplitStrands => Some(Sketch::Split { at, units: number(0), nodes: number(1) }),
        Key::Slots => Some(Sketch::Fixture { at, slots: number(0) }),
        _ => None,
    }
}
