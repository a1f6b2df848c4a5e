//! What is laid first: reserved universes, pins, and what follows a pin on an unbroken port.
//!
//! A controller's own pins block their slots for the rest of it; those of others, whole universes.

use super::chain::{Chain, items};
use super::space::{Block, Blocks, NOBODY};
use crate::diagnostic::Sink;
use crate::grid::Grid;
use crate::model::{Addressing, Controller, Model, Output, PieceKind, PinPlace, Start};
use crate::plan::{ChainPiece, PortPlan};
use crate::protocol::UNIVERSES;
use crate::rules;
use crate::source::Span;
use std::ops::Range;

/// All that is fixed.
#[derive(Debug)]
pub(super) struct Fixed {
    reserved: Blocks,
    /// By universe, for controllers other than the owner.
    foreign: Blocks,
    /// By slot, owned by the port, for each controller itself.
    own: Vec<Blocks>,
    /// What stays where the lock has it: by universe, for controllers other than the owner.
    kept: Blocks,
    /// Around a lock, the universes that controllers say they have, `N..M`, used or not: no
    /// controller without such a range may use them.
    declared: Blocks,
    /// By controller: whether it has such a range.
    says: Vec<bool>,
}

fn says(controller: &Controller) -> bool {
    matches!(controller.start, Start::Range(..))
}

/// The universes that controllers say they have, `N..M`.
fn declared(model: &Model) -> Blocks {
    let slots = model.display.universe_slots.each();
    let rows = model.controllers.iter().enumerate();
    let rows = rows.filter_map(|(index, controller)| {
        let Start::Range(first, last) = controller.start else {
            return None;
        };
        let block = Block {
            end: u64::from(last) * slots,
            owner: u32::try_from(index).unwrap_or(u32::MAX),
            at: controller.start_at.unwrap_or(controller.at),
        };
        Some((model.display.universe_slots.begin(first), block))
    });
    Blocks::new(rows.collect())
}

impl Fixed {
    /// The furthest block that a stretch of a controller touches, what `without` owns left out.
    pub fn touched(
        &self,
        controller: usize,
        stretch: &Range<u64>,
        without: Option<u32>,
    ) -> Option<Block> {
        let owner = u32::try_from(controller).unwrap_or(NOBODY);
        let own = self.own.get(controller);
        [
            self.reserved.touched(stretch, None),
            self.foreign.touched(stretch, Some(owner)),
            own.and_then(|own| own.touched(stretch, without)),
            self.kept.touched(stretch, Some(owner)),
            self.declared
                .touched(stretch, None)
                .filter(|_| self.says.get(controller) == Some(&false)),
        ]
        .into_iter()
        .flatten()
        .max_by_key(|block| block.end)
    }

    /// Sets what stays, owned by the controllers.
    pub fn keep(&mut self, kept: Blocks) {
        self.kept = kept;
    }

    /// Keeps the universes that controllers say they have (`N..M`) from those without a range.
    pub fn keep_declared(&mut self, model: &Model) {
        self.declared = declared(model);
        self.says = model.controllers.iter().map(says).collect();
    }

    /// Whether a controller has anything pinned.
    pub fn pins(&self, controller: usize) -> bool {
        self.own.get(controller).is_some_and(|own| !own.is_empty())
    }

    /// Gathers them. `spans` holds the stretch of `ports` that each controller has.
    pub fn gather(model: &Model, ports: &[PortPlan], spans: &[Range<u32>]) -> Self {
        let mut foreign = Vec::new();
        let mut own = Vec::with_capacity(spans.len());
        for (index, (controller, span)) in model.controllers.iter().zip(spans).enumerate() {
            let grid = Grid::of(model, controller);
            let blocks = pins_of(model, ports, span, index);
            let owner = u32::try_from(index).unwrap_or(NOBODY);
            foreign.extend(blocks.iter().map(|(start, block)| {
                let stretch = grid.universes(&(*start..block.end));
                let end = stretch.end;
                (stretch.start, Block { end, owner, ..*block })
            }));
            own.push(Blocks::new(blocks));
        }
        Self {
            reserved: Blocks::new(reserved(model)),
            foreign: Blocks::new(foreign),
            own,
            kept: Blocks::default(),
            declared: Blocks::default(),
            says: Vec::new(),
        }
    }
}

fn reserved(model: &Model) -> Vec<(u64, Block)> {
    let slots = model.display.universe_slots.each();
    let rows = model.reserved_universes.iter().map(|row| {
        let end = u64::from(row.last) * slots;
        let owner = NOBODY;
        let at = row.at;
        (model.display.universe_slots.begin(row.first), Block { end, owner, at })
    });
    rows.collect()
}

fn pins_of(
    model: &Model,
    ports: &[PortPlan],
    span: &Range<u32>,
    controller: usize,
) -> Vec<(u64, Block)> {
    let mut blocks = Vec::new();
    let Some(declared) = model.controllers.as_slice().get(controller) else {
        return blocks;
    };
    let grid = Grid::of(model, declared);
    let consecutive = declared.addressing == Addressing::Consecutive;
    // Where a consecutive controller goes on after the pin of its first string.
    let mut cursor: Option<(u64, Span)> = None;
    let mut first = true;
    for owner in span.clone() {
        let Some(port) = ports.get(owner as usize) else {
            continue;
        };
        let mut add = |stretch: Range<u64>, at: Span| {
            let end = stretch.end;
            blocks.push((stretch.start, Block { end, owner, at }));
        };
        if let Output::Dmx(_) = port.output {
            if let Some((channel, at)) = universe_pin(model, port) {
                add(grid.universes(&(channel..channel + 1)), at);
            }
            continue;
        }
        let pinned = |piece: &ChainPiece| pin_of(model, piece.piece.kind).is_some();
        if !consecutive && !port.pieces.iter().any(pinned) {
            continue;
        }
        let items = items(model, port, consecutive);
        let chain = Chain::new(grid, declared, &items);
        match declared.addressing {
            Addressing::PerProp => {
                for item in &items {
                    if let Some((channel, at)) = item.pin {
                        add(grid.lay(channel, item.body), at);
                    }
                }
            }
            Addressing::PerPort => {
                if let Some((channel, at)) = items.first().and_then(|item| item.pin) {
                    add(chain.stretch(channel), at);
                }
            }
            Addressing::Consecutive => {
                if first {
                    cursor = items.first().and_then(|item| item.pin);
                }
                if let Some((channel, at)) = cursor {
                    let stretch = chain.stretch(channel);
                    cursor = Some((stretch.end, at));
                    add(stretch, at);
                }
            }
        }
        first = first && items.is_empty();
    }
    blocks
}

/// The first channel of the universe that a pin of a DMX output's fixtures gives it, with the place
/// of the pin.
pub(super) fn universe_pin(model: &Model, port: &PortPlan) -> Option<(u64, Span)> {
    port.pieces.iter().find_map(|piece| {
        let PieceKind::String(id, Some(pin)) = piece.piece.kind else {
            return None;
        };
        let PinPlace::Channel(channel) = pin.place else {
            return None;
        };
        let slots = model.display.universe_slots.each();
        let same = model.string(id).is_some_and(|s| s.same_as.is_some());
        (!same && lawful(model, channel)).then_some((channel / slots * slots, pin.at))
    })
}

/// Whether a channel lies in a universe that a display may have.
pub(super) fn lawful(model: &Model, channel: u64) -> bool {
    channel < u64::from(*UNIVERSES.end()) * model.display.universe_slots.each()
}

/// The pin of a string as a channel, if it is a channel that exists.
pub(super) fn pin_of(model: &Model, item: PieceKind) -> Option<(u64, Span)> {
    match item {
        PieceKind::String(_, Some(pin)) => match pin.place {
            PinPlace::Channel(channel) if lawful(model, channel) => Some((channel, pin.at)),
            PinPlace::Channel(_) | PinPlace::Slot(_) => None,
        },
        PieceKind::String(_, None) | PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    }
}

/// Reports the pins that no output can hold: to a universe that does not exist, or to a slot
/// without a universe on a pixel port.
pub(super) fn tell_unlawful(model: &Model, ports: &[PortPlan], sink: &mut Sink) {
    for port in ports {
        for piece in &port.pieces {
            let PieceKind::String(id, Some(pin)) = piece.piece.kind else {
                continue;
            };
            let at = piece.piece.at;
            match (pin.place, port.output) {
                (PinPlace::Channel(channel), _) if !lawful(model, channel) => {
                    sink.push(rules::address::range::channel(model, id, at, pin, channel));
                }
                (PinPlace::Slot(_), Output::Pixel(_)) => {
                    sink.push(rules::address::pin::slot_alone(model, id, at, pin));
                }
                (PinPlace::Channel(_) | PinPlace::Slot(_), _) => {}
            }
        }
    }
}
