//! Outputs in use → universe and slot of every string ("Where strings lie" in the language guide).

use super::chain::Item;
use super::fixed::{self, Fixed};
use super::keep::{Keeper, Old, Record};
use super::order::{self, Given};
use super::pixels::Searched;
use super::space::Laid;
use super::{dmx, same};
use crate::diagnostic::Sink;
use crate::grid::Grid;
use crate::model::{Addressing, Align, Controller, ControllerId, Model, Output, PieceKind, Start};
use crate::plan::{ControllerPlan, Placed, Plan, PortPlan, Why};
use crate::source::Span;
use std::ops::Range;

/// The plan as it grows.
pub(super) struct Layer<'a> {
    /// The display.
    pub model: &'a Model,
    /// The outputs in use.
    pub ports: &'a [PortPlan],
    /// Where strings lie so far.
    pub placed: Vec<Option<Placed>>,
    /// Findings.
    pub sink: &'a mut Sink,
    /// What is fixed beforehand.
    pub fixed: Fixed,
    /// What the controller at hand has laid so far, where it has pins.
    pub laid: Laid,
    /// Whether that controller has pins.
    pub pins: bool,
    /// The last search that had to step over something.
    pub searched: Option<Searched>,
    /// How often anything was stepped over.
    pub steps: u64,
    /// What hangs on the port at hand; kept so that its memory is used again.
    pub items: Vec<Item>,
}

/// Lays all outputs, around what lay somewhere before.
pub(super) fn lay(
    model: &Model,
    ports: Vec<PortPlan>,
    old: Option<&Old<'_>>,
    sink: &mut Sink,
) -> (Plan, Record) {
    let spans = spans(model, &ports);
    fixed::tell_unlawful(model, &ports, sink);
    let mut layer = Layer {
        model,
        ports: &ports,
        placed: vec![None; model.strings.len()],
        sink,
        fixed: Fixed::gather(model, &ports, &spans),
        laid: Laid::default(),
        pins: false,
        searched: None,
        steps: 0,
        items: Vec::new(),
    };
    let mut keeper = old.map(|old| Keeper::new(model, old, &ports, &spans, &mut layer.fixed));
    let mut controllers: Vec<ControllerPlan> = spans
        .into_iter()
        .map(|ports| ControllerPlan { ports, ..ControllerPlan::default() })
        .collect();
    let mut given = Given::new(model.controllers.len());
    for index in order::of(model) {
        let Some(declared) = model.controllers.as_slice().get(index) else {
            continue;
        };
        let begins = begins(declared.start, &given, index, &controllers);
        let Some(plan) = controllers.get_mut(index) else {
            continue;
        };
        plan.begins = match &keeper {
            Some(keeper) => keeper.begins(model, index, begins),
            None => begins,
        };
        match keeper.as_mut().filter(|keeper| keeper.has(model, index)) {
            Some(keeper) => layer.kept(keeper, index, declared, plan),
            None => {
                layer.controller(index, declared, plan);
                if let Some(keeper) = &mut keeper {
                    layer.note(keeper, index, plan);
                }
            }
        }
        layer.totals(declared, plan);
        if plan.last_given >= begins || plan.universes.is_some() {
            given.give(index, plan.last_given);
        }
    }
    same::lay(&mut layer);
    let placed = layer.placed;
    let record = keeper.map(Keeper::record).unwrap_or_default();
    let plan = Plan {
        universe_slots: model.display.universe_slots,
        placed,
        ports: ports.into(),
        controllers: controllers.into(),
        picked: None,
        past: None,
    };
    (plan, record)
}

/// The first universe of a controller, as the display says.
fn begins(start: Start, given: &Given, index: usize, controllers: &[ControllerPlan]) -> u32 {
    match start {
        Start::Auto => given.before(index).saturating_add(1),
        Start::From(first) | Start::Range(first, _) => first.max(1),
        Start::After(other) => {
            let other = controllers.get(other.index());
            other.map_or(1, |other| other.last_given.saturating_add(1))
        }
    }
}

/// The stretch of the outputs that each controller has.
fn spans(model: &Model, ports: &[PortPlan]) -> Vec<Range<u32>> {
    let mut from = 0;
    let spans = (0..model.controllers.len()).map(|index| {
        let id = ControllerId::from(index);
        let to = ports.partition_point(|port| port.controller <= id) as u32;
        std::mem::replace(&mut from, to)..to
    });
    spans.collect()
}

impl Layer<'_> {
    fn controller(&mut self, index: usize, declared: &Controller, plan: &mut ControllerPlan) {
        let grid = Grid::of(self.model, declared);
        self.laid.clear();
        self.searched = None;
        self.pins = self.fixed.pins(index);
        let mut cursor = grid.begin(plan.begins);
        let mut first = true;
        for owner in plan.ports.clone() {
            let Some(port) = self.ports.get(owner as usize) else {
                continue;
            };
            let run = Run { grid, controller: index, declared, owner, first };
            cursor = match port.output {
                Output::Pixel(_) => self.pixel_port(&run, port, cursor),
                Output::Dmx(_) => dmx::output(self, &run, port, cursor),
            };
            // A port that only shows others' data takes nothing, so the next is still the first. A
            // consecutive controller counts its slots all the same.
            first = first && declared.addressing != Addressing::Consecutive && !self.took(port);
        }
    }

    /// What a controller takes in the end.
    fn totals(&self, declared: &Controller, plan: &mut ControllerPlan) {
        plan.universes = self.universes(Grid::of(self.model, declared), plan.ports.clone());
        let spare = self.model.display.spare_universes;
        let used = plan.universes.map_or(plan.begins - 1, |(_, last)| last.saturating_add(spare));
        plan.last_given = match declared.start {
            Start::Range(_, last) => last.max(used),
            Start::Auto | Start::From(_) | Start::After(_) => used,
        };
    }

    /// Whether an output has strings of its own.
    pub fn took(&self, port: &PortPlan) -> bool {
        let strings = port.pieces.iter().filter_map(|piece| match piece.piece.kind {
            PieceKind::String(id, _) => self.model.string(id),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
        strings.into_iter().any(|string| string.same_as.is_none())
    }

    /// First and last universe that a controller's own strings use.
    fn universes(&self, grid: Grid, ports: Range<u32>) -> Option<(u32, u32)> {
        let mut used: Option<(u64, u64)> = None;
        for port in ports {
            let Some(port) = self.ports.get(port as usize) else {
                continue;
            };
            for piece in &port.pieces {
                let PieceKind::String(id, _) = piece.piece.kind else {
                    continue;
                };
                let own = self.model.string(id).is_some_and(|s| s.same_as.is_none());
                let Some(Some(placed)) = self.placed.get(id.index()).filter(|_| own) else {
                    continue;
                };
                let (first, last) = used.unwrap_or((placed.start, placed.end));
                used = Some((first.min(placed.start), last.max(placed.end)));
            }
        }
        used.map(|(first, last)| (grid.universe(first), grid.universe(last)))
    }

    /// What a stretch of a controller touches: the channel after it, and the place that says so.
    pub fn touched(
        &self,
        controller: usize,
        stretch: &Range<u64>,
        without: Option<u32>,
    ) -> Option<(u64, Span)> {
        let fixed = self.fixed.touched(controller, stretch, without);
        let laid = self.laid.touched(stretch, without);
        let furthest = fixed.into_iter().chain(laid).max_by_key(|block| block.end)?;
        Some((furthest.end, furthest.at))
    }

    /// Puts a string down.
    pub fn set(&mut self, run: &Run<'_>, item: &Item, stretch: &Range<u64>, why: Why) {
        if let Some(placed) = self.placed.get_mut(item.id.index()) {
            *placed = Some(Placed {
                port: run.owner,
                position: item.position,
                start: stretch.start,
                end: stretch.end.saturating_sub(1),
                why,
            });
        }
    }
}

/// The output at hand.
pub(super) struct Run<'a> {
    /// The controller's universes.
    pub grid: Grid,
    /// Its index.
    pub controller: usize,
    /// The controller.
    pub declared: &'a Controller,
    /// The output, as an index of the plan's; the owner of what it pins.
    pub owner: u32,
    /// Whether nothing of the controller is laid yet.
    pub first: bool,
}

impl Run<'_> {
    /// Why a port that stepped over nothing begins where it does.
    pub fn why(&self, cursor: u64, start: u64) -> Why {
        if self.first {
            Why::First
        } else if cursor != start && self.declared.align != Align::Off {
            Why::Aligned
        } else {
            Why::Follows
        }
    }
}
