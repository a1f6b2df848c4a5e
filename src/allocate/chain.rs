//! The strings of one output in chain order, and the stretches they take from a channel on.

use super::fixed;
use crate::grid::{Body, Grid};
use crate::model::{
    Addressing, Align, Controller, Model, Output, Piece, PieceKind, PropId, StringId,
};
use crate::plan::PortPlan;
use crate::source::Span;
use std::ops::Range;

/// A string as it stands in a chain.
#[derive(Clone, Copy, Debug)]
pub(super) struct Item {
    /// Which.
    pub id: StringId,
    /// The reference in the wire.
    pub at: Span,
    /// Its place among all strings of the output, from 1.
    pub position: u32,
    /// The channel it is pinned to, with the place of the pin.
    pub pin: Option<(u64, Span)>,
    /// What it takes.
    pub body: Body,
    /// Its prop.
    pub prop: PropId,
    /// Whose data it shows.
    pub same: Option<StringId>,
}

impl Item {
    /// The string that a piece names; `position` is its place on the output.
    pub fn of(model: &Model, id: StringId, piece: Piece, position: u32) -> Option<Self> {
        let string = model.string(id)?;
        Some(Self {
            id,
            at: piece.at,
            position,
            pin: fixed::pin_of(model, piece.kind),
            body: Body::of(model, id)?,
            prop: string.prop,
            same: string.same_as,
        })
    }
}

/// The strings of an output in chain order; those that show another's data only `with_same`. On an
/// unbroken port stored strings come last, since the line closes up where a string is stored.
pub(super) fn items(model: &Model, port: &PortPlan, with_same: bool) -> Vec<Item> {
    let mut items = Vec::with_capacity(port.pieces.len());
    fill(&mut items, model, port, with_same);
    items
}

/// The same, written into an earlier list to reuse its memory.
pub(super) fn fill(items: &mut Vec<Item>, model: &Model, port: &PortPlan, with_same: bool) {
    items.clear();
    let strings = port.pieces.iter().filter_map(|piece| {
        let PieceKind::String(id, _) = piece.piece.kind else {
            return None;
        };
        Some((id, piece.piece))
    });
    let of = strings.zip(1..);
    let of = of.filter_map(|((id, piece), position)| Item::of(model, id, piece, position));
    items.extend(of.filter(|item| with_same || item.same.is_none()));
    let declared = model.controller(port.controller);
    let unbroken = declared.is_some_and(|c| c.addressing != Addressing::PerProp);
    let stored = |item: &Item| model.string(item.id).is_some_and(|string| string.stored);
    if unbroken && matches!(port.output, Output::Pixel(_)) && items.iter().any(stored) {
        items.sort_by_key(stored);
    }
}

/// The strings of a port and how its controller lays them.
#[derive(Debug)]
pub(super) struct Chain<'a> {
    /// The universes of its controller.
    pub grid: Grid,
    /// What begins at slot 1 of a universe.
    pub align: Align,
    /// The strings in chain order.
    pub items: &'a [Item],
}

impl<'a> Chain<'a> {
    /// As a controller lays them; a consecutive one leaves no gaps.
    pub fn new(grid: Grid, controller: &Controller, items: &'a [Item]) -> Self {
        let align = match controller.addressing {
            Addressing::Consecutive => Align::Off,
            Addressing::PerPort | Addressing::PerProp => controller.align,
        };
        Self { grid, align, items }
    }

    /// Of a controller without `align`.
    pub fn unaligned(grid: Grid, items: &'a [Item]) -> Self {
        let align = Align::Off;
        Self { grid, align, items }
    }

    /// Whether `align` asks that a string begins at a universe's first slot.
    pub fn aligned(&self, index: usize) -> bool {
        let prop = |index: usize| self.items.get(index).map(|item| item.prop);
        match self.align {
            Align::Off => false,
            Align::Port => index == 0,
            Align::Prop => index == 0 || prop(index) != prop(index - 1),
        }
    }

    /// Where a string may begin at or after a channel: at slot 1 of a universe if `align` asks it.
    pub fn begin(&self, index: usize, at: u64) -> u64 {
        if self.aligned(index) { self.grid.up(at) } else { at }
    }

    /// The stretch of one string, at or after a channel.
    pub fn one(&self, index: usize, at: u64) -> Range<u64> {
        let begin = self.begin(index, at);
        let item = self.items.get(index);
        item.map_or(begin..begin, |item| self.grid.lay(begin, item.body))
    }

    /// The stretches of its strings, one after another, the first at a channel.
    pub fn stretches(&self, start: u64) -> impl Iterator<Item = (&'a Item, Range<u64>)> {
        let mut at = start;
        self.items.iter().enumerate().map(move |(index, item)| {
            let begin = if index == 0 { at } else { self.begin(index, at) };
            let stretch = self.grid.lay(begin, item.body);
            at = stretch.end;
            (item, stretch)
        })
    }

    /// The stretch of it all, from where its first string begins.
    pub fn stretch(&self, start: u64) -> Range<u64> {
        let mut whole: Option<Range<u64>> = None;
        for (_, stretch) in self.stretches(start) {
            let first = whole.map_or(stretch.start, |whole| whole.start);
            whole = Some(first..stretch.end);
        }
        whole.unwrap_or(start..start)
    }
}
