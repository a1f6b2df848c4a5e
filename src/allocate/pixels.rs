//! Pixel ports: an unbroken range each, an unbroken range all together, or a start for each string.

use super::addresses::{Layer, Run};
use super::chain::{Chain, Item, fill};
use crate::grid::Body;
use crate::model::{Addressing, PieceKind};
use crate::plan::{PortPlan, Why};
use crate::rules::address::pin;
use crate::source::Span;
use std::ops::Range;

/// A search that found no place for a body in a stretch. What is taken only grows, so a body that
/// is at least as long finds none there either.
#[derive(Clone, Copy, Debug)]
pub(super) struct Searched {
    body: Body,
    aligned: bool,
    stretch: (u64, u64),
}

/// At most this many steps over taken stretches are made in all. Only a display with about a
/// hundred thousand pins, strings after them and a maze of gaps comes here; what is left then lies
/// where it falls, and clashes are reported.
const MOST_STEPS: u64 = 20_000_000;

impl Layer<'_> {
    /// Lays a port at or after a channel; returns where the next goes on.
    pub fn pixel_port(&mut self, run: &Run<'_>, port: &PortPlan, cursor: u64) -> u64 {
        let consecutive = run.declared.addressing == Addressing::Consecutive;
        let mut items = std::mem::take(&mut self.items);
        fill(&mut items, self.model, port, consecutive);
        let chain = Chain::new(run.grid, run.declared, &items);
        let next = match run.declared.addressing {
            _ if items.is_empty() => cursor,
            Addressing::PerPort => {
                self.per_port(run, &chain, cursor).saturating_add(self.spare(port))
            }
            Addressing::PerProp => {
                self.per_prop(run, &chain, cursor).saturating_add(self.spare(port))
            }
            Addressing::Consecutive => self.consecutive(run, &chain, cursor),
        };
        self.items = items;
        next
    }

    /// Slots left free after a used port: spare nodes of the make that hangs there last.
    fn spare(&self, port: &PortPlan) -> u64 {
        let last = port.pieces.iter().rev().find_map(|piece| match piece.piece.kind {
            PieceKind::String(id, _) => self.model.node_of(id),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
        last.map_or(0, |node| u64::from(self.model.display.spare_nodes) * u64::from(node.slots))
    }

    /// An unbroken range with a start of its own.
    fn per_port(&mut self, run: &Run<'_>, chain: &Chain<'_>, cursor: u64) -> u64 {
        // A chain lies alike in every universe if it begins at the same offset.
        let mut known: Option<(u64, Range<u64>)> = None;
        let (stretch, stepped) = self.clear(run, cursor, Some(run.owner), |at| {
            let at = chain.begin(0, at);
            let offset = run.grid.offset(at);
            if known.as_ref().is_none_or(|(of, _)| *of != offset) {
                known = Some((offset, chain.stretch(offset)));
            }
            let base = at - offset;
            known.as_ref().map_or(at..at, |(_, stretch)| {
                base.saturating_add(stretch.start)..base.saturating_add(stretch.end)
            })
        });
        let start = stretch.start;
        let pin = chain.items.first().and_then(|item| item.pin);
        let why = match (pin, stepped) {
            (Some((_, at)), _) => Why::Pinned(at),
            (None, Some(at)) => Why::Stepped(at),
            (None, None) => run.why(cursor, start),
        };
        self.put(run, chain, pin.map_or(start, |(channel, _)| channel), why);
        stretch.end
    }

    /// Lays a chain from a channel on and checks its pins against where the strings fall.
    pub fn put(&mut self, run: &Run<'_>, chain: &Chain<'_>, start: u64, why: Why) -> u64 {
        let mut before = start;
        let mut why = why;
        for (index, (item, stretch)) in chain.stretches(start).enumerate() {
            if let Some((channel, at)) = item.pin
                && channel != stretch.start
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
            let stretch = if let Some(pin) = item.pin {
                self.pinned(run, item, pin)
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
            self.clear(run, at, Some(run.owner), |at| chain.one(index, at)).0.end
        })
    }

    /// Puts a string of a `per prop` port where it is pinned.
    pub fn pinned(&mut self, run: &Run<'_>, item: &Item, pin: (u64, Span)) -> Range<u64> {
        let (channel, at) = pin;
        let stretch = run.grid.lay(channel, item.body);
        self.set(run, item, &stretch, Why::Pinned(at));
        if stretch.start != channel {
            self.sink.push(pin::not_whole(
                self.model,
                &pin::Fall {
                    item: (item.id, item.at),
                    pin,
                    falls: stretch.start,
                    controller: run.controller,
                },
            ));
        }
        stretch
    }

    /// Where a string of a `per prop` port lies at or after a channel.
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
        let aligned = chain.aligned(index);
        if let Some(known) = self.searched
            && (known.aligned, known.body.each) == (aligned, body.each)
            && known.body.nodes <= body.nodes
            && (known.stretch.0..known.stretch.1).contains(&begin)
        {
            from = known.stretch.1;
        }
        let (stretch, stepped) = self.clear(run, from, None, |at| chain.one(index, at));
        if stepped.is_some() {
            self.searched = Some(Searched { body, aligned, stretch: (begin, stretch.start) });
        }
        let over = self.searched.filter(|_| from != at && stepped.is_none());
        let over =
            over.and_then(|_| self.touched(run.controller, &run.grid.lay(begin, body), None));
        (stretch, stepped.or(over.map(|(_, at)| at)))
    }

    /// One range over all ports of a controller; only its start can be chosen.
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

    /// The first stretch that `lay` makes at or after a channel and that touches nothing fixed, and
    /// what was stepped over last.
    fn clear(
        &mut self,
        run: &Run<'_>,
        mut at: u64,
        without: Option<u32>,
        mut lay: impl FnMut(u64) -> Range<u64>,
    ) -> (Range<u64>, Option<Span>) {
        let mut stepped = None;
        loop {
            let stretch = lay(at);
            let Some((end, over)) = self.touched(run.controller, &stretch, without) else {
                return (stretch, stepped);
            };
            self.steps += 1;
            if self.steps > MOST_STEPS {
                return (stretch, stepped);
            }
            (at, stepped) = (end, Some(over));
        }
    }
}
