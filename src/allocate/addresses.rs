//! Outputs with all that hangs on them → universe and slot of every string. Section 5 of the language.

use super::fixed::{self, Fixed};
use super::order::{self, Given};
use super::space::Laid;
use super::{dmx, same};
use crate::diagnostic::Sink;
use crate::grid::{Body, Grid};
use crate::model::{
    Addressing, Align, Controller, ControllerId, Model, Output, PieceKind, PropId, Start, StringId,
};
use crate::plan::{ControllerPlan, Placed, Plan, PortPlan, Why};
use crate::rules::address::pin;
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

/// The strings of an output, those that show another's data only if asked for.
pub(super) fn items(model: &Model, port: &PortPlan, with_same: bool) -> Vec<Item> {
    let strings = port.pieces.iter().filter_map(|piece| {
        let PieceKind::String(id, _) = piece.piece.kind else {
            return None;
        };
        Some((id, piece.piece))
    });
    let items = strings.zip(1..).filter_map(|((id, piece), position)| {
        let string = model.string(id)?;
        Some(Item {
            id,
            at: piece.at,
            position,
            pin: fixed::pin_of(model, piece.kind),
            body: Body::of(model, id)?,
            prop: string.prop,
            same: string.same_as,
        })
    });
    items
        .filter(|item| with_same || item.same.is_none())
        .collect()
}

/// The strings of a port and how its controller lays them.
#[derive(Debug)]
pub(super) struct Chain<'a> {
    grid: Grid,
    align: Align,
    items: &'a [Item],
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

    /// Where a string may begin at or behind a channel: a universe's first slot where `align` asks for it.
    pub fn begin(&self, index: usize, at: u64) -> u64 {
        let prop = |index: usize| self.items.get(index).map(|item| item.prop);
        let aligned = match self.align {
            Align::Off => false,
            Align::Port => index == 0,
            Align::Prop => index == 0 || prop(index) != prop(index - 1),
        };
        if aligned { self.grid.up(at) } else { at }
    }

    /// The stretches of its strings, one behind another, the first at a channel.
    fn stretches(&self, start: u64) -> impl Iterator<Item = (&'a Item, Range<u64>)> {
        let mut at = start;
        self.items.iter().enumerate().map(move |(index, item)| {
            let begin = if index == 0 {
                at
            } else {
                self.begin(index, at)
            };
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
    fixed: Fixed,
    /// What the controller at hand has laid, where a pin takes strings away from the cursor.
    laid: Laid,
    /// Whether it has pins at all.
    pins: bool,
    /// What the last search behind a pin found.
    searched: Option<Searched>,
    /// How often anything was stepped over.
    steps: u64,
}

/// A search that found no place for a body in a stretch. What is taken only grows, so none will be there for
/// another that is as long.
#[derive(Clone, Copy)]
struct Searched {
    body: Body,
    aligned: bool,
    stretch: (u64, u64),
}

/// So many steps over what is taken are made in all. A display would need a hundred thousand pins with strings behind
/// them in a maze of gaps to come here; what is left then lies where it falls, and clashes are told.
const MOST_STEPS: u64 = 20_000_000;

/// Lays all outputs.
pub(super) fn lay(model: &Model, ports: Vec<PortPlan>, sink: &mut Sink) -> Plan {
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
    };
    let mut controllers: Vec<ControllerPlan> = spans
        .into_iter()
        .map(|ports| ControllerPlan {
            ports,
            ..ControllerPlan::default()
        })
        .collect();
    let mut given = Given::new(model.controllers.len());
    for index in order::of(model) {
        let Some(declared) = model.controllers.get(index) else {
            continue;
        };
        let begins = match declared.start {
            Start::Auto => given.before(index).saturating_add(1),
            Start::From(first) | Start::Range(first, _) => first.max(1),
            Start::After(other) => {
                let other = controllers.get(other.index());
                other.map_or(1, |other| other.last_given.saturating_add(1))
            }
        };
        let Some(plan) = controllers.get_mut(index) else {
            continue;
        };
        plan.begins = begins;
        layer.controller(index, declared, plan);
        if plan.last_given >= begins || plan.universes.is_some() {
            given.give(index, plan.last_given);
        }
    }
    same::lay(&mut layer);
    let placed = layer.placed;
    Plan {
        universe_slots: model.display.universe_slots,
        placed,
        ports,
        controllers,
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
            let run = Run {
                grid,
                controller: index,
                declared,
                owner,
                first,
            };
            cursor = match port.output {
                Output::Pixel(_) => self.pixel_port(&run, port, cursor),
                Output::Dmx(_) => dmx::output(self, &run, port, cursor),
            };
            // A port that only shows others' data takes nothing, so the next is still the first; a consecutive
            // controller counts its slots all the same.
            first = first && declared.addressing != Addressing::Consecutive && !self.took(port);
        }
        plan.universes = self.universes(grid, plan.ports.clone());
        let spare = self.model.display.spare_universes;
        let used = plan
            .universes
            .map_or(plan.begins - 1, |(_, last)| last.saturating_add(spare));
        plan.last_given = match declared.start {
            Start::Range(_, last) => last.max(used),
            Start::Auto | Start::From(_) | Start::After(_) => used,
        };
    }

    fn took(&self, port: &PortPlan) -> bool {
        let strings = port
            .pieces
            .iter()
            .filter_map(|piece| match piece.piece.kind {
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

    fn pixel_port(&mut self, run: &Run<'_>, port: &PortPlan, cursor: u64) -> u64 {
        let consecutive = run.declared.addressing == Addressing::Consecutive;
        let items = items(self.model, port, consecutive);
        if items.is_empty() {
            return cursor;
        }
        let chain = Chain::new(run.grid, run.declared, &items);
        let end = match run.declared.addressing {
            Addressing::PerPort => self.per_port(run, &chain, cursor),
            Addressing::PerProp => self.per_prop(run, &chain, cursor),
            Addressing::Consecutive => return self.consecutive(run, &chain, cursor),
        };
        end.saturating_add(self.spare(port))
    }

    /// Slots left free behind a used port: spare nodes of the make that hangs there last.
    fn spare(&self, port: &PortPlan) -> u64 {
        let last = port
            .pieces
            .iter()
            .rev()
            .find_map(|piece| match piece.piece.kind {
                PieceKind::String(id, _) => self.model.node_of(id),
                PieceKind::Skip(_) | PieceKind::Lead(..) => None,
            });
        last.map_or(0, |node| {
            u64::from(self.model.display.spare_nodes) * u64::from(node.slots)
        })
    }

    /// An unbroken range with a start of its own.
    fn per_port(&mut self, run: &Run<'_>, chain: &Chain<'_>, cursor: u64) -> u64 {
        let begin = chain.begin(0, cursor);
        // What an offset within a universe makes of the chain is the same in every universe.
        let mut known: Option<(u64, Range<u64>)> = None;
        let (start, stepped) = self.clear(run, chain, 0, begin, Some(run.owner), |at| {
            let offset = run.grid.offset(at);
            if known.as_ref().is_none_or(|(of, _)| *of != offset) {
                known = Some((offset, chain.stretch(offset)));
            }
            let base = at - offset;
            known.as_ref().map_or(at..at, |(_, stretch)| {
                base.saturating_add(stretch.start)..base.saturating_add(stretch.end)
            })
        });
        let ghost = chain.stretch(start);
        let pin = chain.items.first().and_then(|item| item.pin);
        let why = match (pin, stepped) {
            (Some((_, at)), _) => Why::Pinned(at),
            (None, Some(at)) => Why::Stepped(at),
            (None, None) => run.why(cursor, start),
        };
        self.put(run, chain, pin.map_or(start, |(channel, _)| channel), why);
        ghost.end
    }

    /// Puts a chain down from a channel on and holds its pins against where they fall.
    fn put(&mut self, run: &Run<'_>, chain: &Chain<'_>, start: u64, why: Why) -> u64 {
        let mut before = start;
        let mut why = why;
        for (index, (item, stretch)) in chain.stretches(start).enumerate() {
            if let Some((channel, at)) = item.pin
                && channel != stretch.start
                && !self.model.incomplete
            {
                let fall = pin::Fall {
                    item: (item.id, item.at),
                    pin: (channel, at),
                    falls: stretch.start,
                    controller: run.controller,
                };
                self.sink.push(if index == 0 && channel == start {
                    pin::not_whole(self.model, &fall)
                } else {
                    pin::elsewhere(self.model, &fall)
                });
            }
            if index > 0 {
                let aligned = chain.begin(index, before) != before;
                why = if aligned { Why::Aligned } else { Why::Follows };
            }
            before = stretch.end;
            self.set(run, item, &stretch, item.same.map_or(why, Why::SameAs));
        }
        before
    }

    /// Each string has a start of its own.
    fn per_prop(&mut self, run: &Run<'_>, chain: &Chain<'_>, cursor: u64) -> u64 {
        let mut at = cursor;
        for (index, item) in chain.items.iter().enumerate() {
            let stretch = if let Some((channel, pin)) = item.pin {
                let stretch = run.grid.lay(channel, item.body);
                self.set(run, item, &stretch, Why::Pinned(pin));
                if stretch.start != channel {
                    self.sink.push(pin::not_whole(
                        self.model,
                        &pin::Fall {
                            item: (item.id, item.at),
                            pin: (channel, pin),
                            falls: stretch.start,
                            controller: run.controller,
                        },
                    ));
                }
                stretch
            } else {
                let (stretch, stepped) = self.behind(run, chain, index, at);
                let begin = chain.begin(index, at);
                let why = match stepped {
                    Some(at) => Why::Stepped(at),
                    None if index == 0 => run.why(at, begin),
                    None if begin != at => Why::Aligned,
                    None => Why::Follows,
                };
                self.set(run, item, &stretch, why);
                if self.pins {
                    self.laid.add(&stretch, run.owner, item.at);
                }
                stretch
            };
            at = stretch.end;
        }
        if chain.items.iter().all(|item| item.pin.is_none()) {
            return at;
        }
        // Where the port would have ended without its pins.
        (0..chain.items.len()).fold(cursor, |at, index| {
            self.next(run, chain, index, at, Some(run.owner)).0.end
        })
    }

    /// Where a string of a `per prop` port comes to lie behind a channel.
    fn behind(
        &mut self,
        run: &Run<'_>,
        chain: &Chain<'_>,
        index: usize,
        at: u64,
    ) -> (Range<u64>, Option<Span>) {
        let begin = chain.begin(index, at);
        let Some(body) = chain.items.get(index).map(|item| item.body) else {
            return (at..at, None);
        };
        let mut from = at;
        let aligned = begin != at;
        if let Some(known) = self.searched
            && (known.aligned, known.body.each) == (aligned, body.each)
            && known.body.nodes <= body.nodes
            && (known.stretch.0..known.stretch.1).contains(&begin)
        {
            from = known.stretch.1;
        }
        let (stretch, stepped) = self.next(run, chain, index, from, None);
        if stepped.is_some() {
            self.searched = Some(Searched {
                body,
                aligned,
                stretch: (begin, stretch.start),
            });
        }
        let over = self.searched.filter(|_| from != at && stepped.is_none());
        let over =
            over.and_then(|_| self.touched(run.controller, &run.grid.lay(begin, body), None));
        (stretch, stepped.or(over.map(|(_, at)| at)))
    }

    fn next(
        &mut self,
        run: &Run<'_>,
        chain: &Chain<'_>,
        index: usize,
        at: u64,
        without: Option<u32>,
    ) -> (Range<u64>, Option<Span>) {
        let lay = |at| {
            let body = chain.items.get(index).map(|item| item.body);
            body.map_or(at..at, |body| run.grid.lay(at, body))
        };
        let begin = chain.begin(index, at);
        let (start, stepped) = self.clear(run, chain, index, begin, without, lay);
        (lay(start), stepped)
    }

    /// One range over all ports of a controller; only its first slot is free.
    fn consecutive(&mut self, run: &Run<'_>, chain: &Chain<'_>, cursor: u64) -> u64 {
        let first = chain.items.first().filter(|_| run.first);
        let pin = first.and_then(|item| item.pin);
        let shown = first.and_then(|item| item.same);
        let shown = shown.and_then(|id| self.placed.get(id.index()).copied().flatten());
        let (start, why) = match (pin, shown) {
            (Some((channel, at)), _) => (channel, Why::Pinned(at)),
            (None, Some(shown)) => (shown.start, Why::First),
            (None, None) => (cursor, run.why(cursor, cursor)),
        };
        self.put(run, chain, start, why)
    }

    /// The first channel at or behind `at` from which what `lay` makes touches nothing fixed, and what it stepped
    /// over last.
    fn clear(
        &mut self,
        run: &Run<'_>,
        chain: &Chain<'_>,
        index: usize,
        at: u64,
        without: Option<u32>,
        mut lay: impl FnMut(u64) -> Range<u64>,
    ) -> (u64, Option<Span>) {
        let mut at = at;
        let mut stepped = None;
        loop {
            let stretch = lay(at);
            let Some((end, over)) = self.touched(run.controller, &stretch, without) else {
                return (stretch.start, stepped);
            };
            self.steps += 1;
            if self.steps > MOST_STEPS {
                return (stretch.start, stepped);
            }
            at = chain.begin(index, end);
            stepped = Some(over);
        }
    }

    /// What a stretch of a controller touches: the channel behind it and its place.
    pub fn touched(
        &self,
        controller: usize,
        stretch: &Range<u64>,
        without: Option<u32>,
    ) -> Option<(u64, Span)> {
        let fixed = self.fixed.touched(controller, stretch, without);
        let laid = self.laid.touched(stretch, without);
        let furthest = fixed
            .into_iter()
            .chain(laid)
            .max_by_key(|block| block.end)?;
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
    fn why(&self, cursor: u64, start: u64) -> Why {
        if self.first {
            Why::First
        } else if cursor != start && self.declared.align != Align::Off {
            Why::Aligned
        } else {
            Why::Follows
        }
    }
}
