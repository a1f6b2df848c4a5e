//! Props, their members and their strings.

use super::{CircuitId, PropId, ShapeId, StringId};
use crate::source::Span;
use std::{ops::Range, sync::Arc};

/// A prop, or a family of `* N` props. A display has many, so rare settings are boxed in `details`.
#[derive(Debug, Clone)]
pub struct Prop {
    /// Its name.
    pub name: Arc<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// How many members; `None` for a prop that is not `* N`.
    pub count: Option<u32>,
    /// Its first string in the table.
    pub first: u32,
    /// How the table is cut into members.
    pub cut: Cut,
    /// Its other settings; `None` if it has none.
    pub details: Option<Box<Details>>,
    /// Whether it did not parse or resolve, so that its strings are unknown.
    pub broken: bool,
    /// Whether it is from a `stock` file.
    pub stock: bool,
}

/// The settings of a prop other than its strings.
#[derive(Debug, Clone, Default)]
pub struct Details {
    /// A label for people.
    pub label: Option<Box<str>>,
    /// Where data comes in: one place for all strings, or one for each in order.
    pub enters: Box<[Box<str>]>,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
    /// What a fixture draws from the mains, in milliwatts.
    pub draw_mw: Option<i64>,
    /// The mains circuit it is on.
    pub circuit: Option<CircuitId>,
    /// Settings of single members, in rising order of member.
    pub members: Vec<Member>,
}

/// How a prop's strings are cut into members.
#[derive(Debug, Clone)]
pub enum Cut {
    /// Each member has this many strings.
    Even(u32),
    /// Member `m` has the strings from entry `m - 1` up to entry `m`, counted from the first.
    Odd(Box<[u32]>),
}

/// The settings of one member of a family that has overrides.
#[derive(Debug, Clone)]
pub struct Member {
    /// Its number, from 1.
    pub number: u32,
    /// A label for people.
    pub label: Option<Box<str>>,
    /// Where data comes in, as [`Details::enters`].
    pub enters: Box<[Box<str>]>,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
}

impl Details {
    /// The settings of one member, if it has overrides.
    #[must_use]
    pub fn member(&self, number: u32) -> Option<&Member> {
        self.members.iter().find(|one| one.number == number)
    }
}

impl Prop {
    /// Where data comes into a member (1 for a prop that is no family): one place for all its
    /// strings, or one for each.
    #[must_use]
    pub fn enters_at(&self, member: u32) -> &[Box<str>] {
        let Some(details) = &self.details else { return &[] };
        details.member(member).map_or(&details.enters, |own| &own.enters)
    }

    /// How many members it has; 1 for a prop that is no family.
    #[must_use]
    pub fn members_count(&self) -> u32 {
        self.count.unwrap_or(1)
    }

    /// The strings of a member (1 for a prop that is no family), as a stretch of the string table.
    #[must_use]
    pub fn strings_of(&self, member: u32) -> Range<u32> {
        let m = member.saturating_sub(1);
        let (from, to) = match &self.cut {
            Cut::Even(each) => (m * each, (m + 1) * each),
            Cut::Odd(ends) => {
                let from = ends.get(m as usize).copied().unwrap_or(0);
                (from, ends.get(m as usize + 1).copied().unwrap_or(from))
            }
        };
        self.first + from..self.first + to
    }

    /// All its strings, as a stretch of the string table.
    #[must_use]
    pub fn strings(&self) -> Range<u32> {
        self.first..self.strings_of(self.members_count()).end
    }
}

/// One string of one prop or member, or one fixture.
#[derive(Debug, Clone, Copy)]
pub struct StringDef {
    /// Its prop.
    pub prop: PropId,
    /// Its member from 1; 0 for a prop that is no family.
    pub member: u32,
    /// Its number from 1; 0 for a fixture.
    pub number: u32,
    /// What it is made of.
    pub shape: ShapeId,
    /// Whether it is not put up this season.
    pub stored: bool,
    /// The string whose data it shows.
    pub same_as: Option<StringId>,
}
