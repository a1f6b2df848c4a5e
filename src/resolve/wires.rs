//! `wire`: chains as written to data lines.
//!
//! A port has one chain, so all chains of a `wire` to one port are one line. Elsewhere a line is
//! what stays together on one data line: the items that `->` joins, or each string of a reference
//! that stands alone.

use super::controllers::is_universe;
use super::kinds::{check_kinds, check_mixed};
use super::makes::count;
use super::matching::Reader;
use super::props::number_of;
use super::rewire::{self, Rewire};
use super::settings::MOST_UNIVERSES;
use super::targets::{Ports, Spot};
use super::{gaps, refs};
use crate::ast::{Chain, Expr, Item, Pin, PinKind, Reference, Wire};
use crate::diagnostic::{Diagnostic, Sink};
use crate::keyed::Keyed;
use crate::model::{Line, Model, Piece, PieceKind, PinPlace, Pinned, PropId, StringId, Target};
use crate::rules;
use crate::source::Span;
use crate::unit::Decimal;
use std::collections::BTreeSet;
use std::sync::atomic::Ordering::Relaxed;

/// Builds the lines of a display.
pub struct Wiring<'p, 'a> {
    ports: &'p Ports<'p, 'a>,
    /// The lines that wires made in the last model.
    before: Option<Rewire<'p>>,
    /// Where each string is wired, by string.
    wired: Keyed<StringId, Option<Span>>,
    groups: u32,
    /// Whether something that the current wire names is missing.
    missing: bool,
    /// Props that an unresolved reference of a wire may mean, with any of their strings.
    doubtful: BTreeSet<PropId>,
    /// Buffers, kept so that their memory is used again: the items of the current port, and what a
    /// reference picks.
    items: Items,
    picked: refs::Picked,
}

/// The pieces of some chains, and which of them stay together.
#[derive(Default)]
struct Items {
    pieces: Vec<Piece>,
    /// For each item, where its pieces end and which of them stay together.
    each: Vec<(usize, Together)>,
}

/// Strings of one reference that another reference, at one place, has wired already.
struct Twice {
    /// Where they are wired.
    first: Span,
    /// One of them.
    string: StringId,
    /// How many more.
    more: usize,
}

/// A line before its target is known.
#[derive(Default)]
struct Draft {
    pieces: Vec<Piece>,
    group: u32,
    /// How many of the pieces are strings. Cable before the first of them stays with it.
    strings: usize,
}

impl<'p, 'a> Wiring<'p, 'a> {
    /// For a model whose strings are laid out.
    #[must_use]
    pub fn new(ports: &'p Ports<'p, 'a>, before: Option<Rewire<'p>>, model: &Model) -> Self {
        Self {
            ports,
            before,
            wired: model.strings.map(|_| None),
            groups: 0,
            missing: false,
            doubtful: BTreeSet::new(),
            items: Items::default(),
            picked: refs::Picked::default(),
        }
    }

    /// Resolves one `wire`.
    pub fn wire(&mut self, wire: &Wire, model: &mut Model, sink: &mut Sink) {
        let line = count(model.lines.len() as i64) + 1;
        if !self.again(wire, model) {
            let told = sink.count();
            let found = self.read(wire, model, sink);
            let whole = sink.count() == told && !sink.is_full();
            if let Some(Spot::One(Target::Port(_, _, None))) = found
                && let Some(last) = model.lines.last_mut()
            {
                last.again = whole && rewire::is_plain(wire);
            }
        }
        wire.last.store(line, Relaxed);
    }

    /// Adds the line that a wire made in the last model, if it would make the same one now.
    fn again(&mut self, wire: &Wire, model: &mut Model) -> bool {
        let found = self.before.as_ref().and_then(|before| Some((before, before.line(wire)?)));
        let Some((before, (line, pieces))) = found else {
            return false;
        };
        let free = |piece: &Piece| match before.piece(piece).map(|piece| piece.kind) {
            Some(PieceKind::String(id, _)) => self.wired[id].is_none().then_some(1),
            Some(_) => Some(0),
            None => None,
        };
        let strings: Option<usize> = pieces.iter().map(free).sum();
        if !strings.is_some_and(|strings| self.ports.reader.names.add_picked(strings)) {
            return false;
        }
        let start = count(model.pieces.len() as i64);
        for piece in pieces.iter().filter_map(|piece| before.piece(piece)) {
            if let PieceKind::String(id, _) = piece.kind {
                self.wired[id] = Some(piece.at);
            }
            model.pieces.push(piece);
        }
        Spot::One(line.target).name_in(model);
        self.groups += 1;
        let pieces = start..count(model.pieces.len() as i64);
        model.lines.push(Line { pieces, group: self.groups, ..line.clone() });
        true
    }

    /// Resolves a wire anew. Returns its target; `None` if something that it names is missing.
    fn read(&mut self, wire: &Wire, model: &mut Model, sink: &mut Sink) -> Option<Spot> {
        let ports = self.ports;
        if let Some(finding) = swapped(ports.reader, wire) {
            sink.push(finding);
            let mut items = wire.chains.iter().flat_map(|chain| &chain.items);
            if let (Some(Item::Reference(port, ..)), None) = (items.next(), items.next()) {
                gaps::of_wire(ports, port, model);
            }
            model.incomplete = true;
            self.mark_quietly(&wire.target, model);
            return None;
        }
        let target = ports.find(&wire.target, model, sink);
        let at = wire.target.span;
        if let Some(spot) = &target {
            spot.name_in(model);
        }
        let missing = std::mem::take(&mut self.missing);
        tell_empty(wire, matches!(target, Some(Spot::One(_))), sink);
        match &target {
            Some(Spot::One(target)) => {
                let mut all = std::mem::take(&mut self.items);
                all.pieces.clear();
                all.each.clear();
                for chain in &wire.chains {
                    self.items(chain, &mut all, model, sink);
                }
                check_kinds(&all.pieces, *target, at, model, sink);
                self.groups += 1;
                push_line(model, at, *target, &all.pieces, self.groups);
                self.items = all;
            }
            Some(Spot::Range(spots)) => {
                let lines = self.range_lines(wire, spots.len(), model, sink);
                if lines.len() > spots.len() {
                    sink.push(rules::wire::no_port::too_few(at, lines.len(), spots.len()));
                }
                for (line, target) in lines.iter().zip(spots) {
                    check_kinds(&line.pieces, *target, at, model, sink);
                    push_line(model, at, *target, &line.pieces, line.group);
                }
            }
            Some(Spot::Open(target)) => {
                for line in self.open_lines(wire, model, sink) {
                    check_mixed(&line.pieces, *target, model, sink);
                    push_line(model, at, *target, &line.pieces, line.group);
                }
            }
            // The target has been reported; the strings still count as wired.
            None => {
                model.incomplete = true;
                gaps::of_wire(ports, &wire.target, model);
                self.open_lines(wire, model, sink);
            }
        }
        if std::mem::replace(&mut self.missing, missing) {
            for lacking in target.iter().flat_map(Spot::targets) {
                gaps::of_line(*lacking, model);
            }
            return None;
        }
        target
    }

    /// Adds the items of a chain: the pieces of each, and for a reference what stays together.
    fn items(&mut self, chain: &Chain, items: &mut Items, model: &mut Model, sink: &mut Sink) {
        let reader = self.ports.reader;
        for item in &chain.items {
            match item {
                Item::Skip(at, quantity) => {
                    let read = reader.nodes_of(quantity, "the number of nodes to skip", sink);
                    let piece = |nodes| Piece { at: *at, kind: PieceKind::Skip(nodes) };
                    items.pieces.extend(read.map(piece));
                    items.each.push((items.pieces.len(), Together::Cable));
                }
                Item::Lead(at, length, of) => {
                    let read = super::runs::lead(reader, length, of.as_deref(), model, sink);
                    let kind = read.map(|(length, gauge)| PieceKind::Lead(length, gauge));
                    items.pieces.extend(kind.map(|kind| Piece { at: *at, kind }));
                    items.each.push((items.pieces.len(), Together::Cable));
                }
                Item::Reference(reference, by, pin) => {
                    let range = (1, i64::from(crate::model::MOST_STRINGS));
                    let by = by
                        .as_ref()
                        .and_then(|by| reader.whole(by, "the length of a chain", range, sink));
                    let pin = pin.as_ref().and_then(|pin| self.pin(pin, model, sink));
                    let mut picked = std::mem::take(&mut self.picked);
                    let found = refs::pick_into(&mut picked, reader, model, reference, sink);
                    let mut twice = Vec::new();
                    let at = (reference.span, pin);
                    let cuts = found.map(|()| self.picked(&picked, at, items, &mut twice));
                    self.picked = picked;
                    let Some(cuts) = cuts else {
                        model.incomplete = true;
                        self.missing = true;
                        self.doubtful.extend(gaps::props_meant(reader, reference));
                        continue;
                    };
                    for one in twice {
                        let (at, name) = (reference.span, model.name_of(one.string));
                        sink.push(rules::wire::twice::again(at, one.first, &name, one.more));
                    }
                    let together = match by {
                        Some(by) => Together::By(count(by) as usize),
                        None => Together::Strings(cuts),
                    };
                    items.each.push((items.pieces.len(), together));
                }
            }
        }
    }

    /// Adds the strings of a reference that are not wired yet; the others go to `twice`. Returns
    /// the places at which a further string of the same member begins.
    fn picked(
        &mut self,
        picked: &refs::Picked,
        (at, pin): (Span, Option<Pinned>),
        items: &mut Items,
        twice: &mut Vec<Twice>,
    ) -> Vec<usize> {
        let start = items.pieces.len();
        let mut cuts = Vec::new();
        for strings in picked.members() {
            for (index, id) in strings.iter().enumerate() {
                if index > 0 {
                    cuts.push(items.pieces.len() - start);
                }
                if self.mark(*id, at, twice) {
                    let pinned = pin.filter(|_| items.pieces.len() == start);
                    items.pieces.push(Piece { at, kind: PieceKind::String(*id, pinned) });
                }
            }
        }
        cuts
    }

    /// Marks what a reference picks as wired, without findings.
    fn mark_quietly(&mut self, reference: &Reference, model: &Model) {
        let mut quiet = Sink::default();
        if let Some(picked) = refs::pick(self.ports.reader, model, reference, &mut quiet) {
            for id in picked.strings {
                self.mark(id, reference.span, &mut Vec::new());
            }
        }
    }

    /// Marks a string as wired. If it is wired already, it is added to `twice`: strings in a row
    /// that were wired at the same place are one entry.
    fn mark(&mut self, id: StringId, at: Span, twice: &mut Vec<Twice>) -> bool {
        let place = &mut self.wired[id];
        let Some(first) = *place else {
            *place = Some(at);
            return true;
        };
        match twice.last_mut().filter(|one| one.first == first) {
            Some(one) => one.more += 1,
            None => twice.push(Twice { first, string: id, more: 0 }),
        }
        false
    }

    fn pin(&self, pin: &Pin, model: &Model, sink: &mut Sink) -> Option<Pinned> {
        let reader = self.ports.reader;
        let slots = i64::from(model.display.universe_slots.get());
        let place = match &pin.kind {
            PinKind::UniverseSlot(universe, slot) => {
                let universe = number_of(reader, universe, sink)?;
                let slot = number_of(reader, slot, sink)?;
                if !is_universe(universe) || !(1..=slots).contains(&slot) {
                    sink.push(rules::address::range::pin(pin.span, universe, slot, slots));
                    return None;
                }
                PinPlace::Channel((universe - 1) as u64 * slots as u64 + slot as u64 - 1)
            }
            PinKind::Channel(channel) => {
                let most = slots * MOST_UNIVERSES;
                let channel = reader.whole(channel, "the channel", (1, most), sink)?;
                PinPlace::Channel(channel as u64 - 1)
            }
            PinKind::Slot(slot) => {
                if let Expr::Number(at, digits, places) = *slot
                    && (Decimal { digits, places }).as_whole().is_none()
                {
                    let written = reader.names.text_at(at);
                    sink.push(rules::syntax::number::pin_with_point(at, written));
                    return None;
                }
                let slot = number_of(reader, slot, sink)?;
                if !(1..=slots).contains(&slot) {
                    sink.push(rules::address::range::slot(pin.span, slot, slots));
                    return None;
                }
                PinPlace::Slot(count(slot))
            }
        };
        Some(Pinned { place, at: pin.span })
    }

    /// The lines of a `wire` to a range of ports: one for each chain. A chain with `by` is cut as
    /// where ports are open, and so is one with a single reference if chains are fewer than ports.
    fn range_lines(
        &mut self,
        wire: &Wire,
        ports: usize,
        model: &mut Model,
        sink: &mut Sink,
    ) -> Vec<Draft> {
        let is_reference = |item: &&Item| matches!(item, Item::Reference(..));
        let is_cut = |item: &Item| matches!(item, Item::Reference(_, Some(_), _));
        let mut lines = Vec::with_capacity(wire.chains.len());
        for chain in &wire.chains {
            let alone = chain.items.iter().filter(is_reference).count() == 1;
            if chain.items.iter().any(is_cut) || (alone && wire.chains.len() < ports) {
                self.open_chain(chain, &mut lines, model, sink);
                continue;
            }
            self.groups += 1;
            let mut line = Draft { group: self.groups, ..Draft::default() };
            let mut items = Items::default();
            self.items(chain, &mut items, model, sink);
            line.pieces = items.pieces;
            lines.push(line);
        }
        lines
    }

    /// The lines of a `wire` whose ports are open.
    fn open_lines(&mut self, wire: &Wire, model: &mut Model, sink: &mut Sink) -> Vec<Draft> {
        let mut lines = Vec::new();
        for chain in &wire.chains {
            self.open_chain(chain, &mut lines, model, sink);
        }
        lines
    }

    /// The lines of one chain whose ports are open.
    fn open_chain(
        &mut self,
        chain: &Chain,
        lines: &mut Vec<Draft>,
        model: &mut Model,
        sink: &mut Sink,
    ) {
        let mut items = Items::default();
        self.items(chain, &mut items, model, sink);
        let alone = items.each.len() == 1;
        let mut open = Draft::default();
        let mut begin = 0;
        for (end, together) in items.each {
            let pieces = items.pieces.get(begin..end).unwrap_or(&[]);
            begin = end;
            let starts = together.starts(pieces, alone);
            self.groups += 1;
            let several = starts.len() > 1;
            let mut starts = starts.into_iter().peekable();
            let mut group = self.groups;
            let mut prop = None;
            for (at, piece) in pieces.iter().copied().enumerate() {
                let PieceKind::String(id, _) = piece.kind else {
                    open.pieces.push(piece);
                    continue;
                };
                // Strings of one prop or member belong side by side; members need not.
                let string = &model.strings[id];
                let owner = Some((string.prop, string.member));
                if several && prop.is_some() && prop != owner {
                    self.groups += 1;
                    group = self.groups;
                }
                prop = owner;
                while starts.next_if(|start| *start < at).is_some() {}
                if at > 0 && starts.next_if_eq(&at).is_some() && open.strings > 0 {
                    lines.push(std::mem::take(&mut open));
                }
                if open.group == 0 || several {
                    open.group = group;
                }
                open.strings += 1;
                open.pieces.push(piece);
            }
        }
        if !open.pieces.is_empty() {
            lines.push(open);
        }
    }

    /// Adds lines for the strings that no wire names. Of a prop from `stock`, only its stored
    /// strings are in this display.
    pub fn unasked(&mut self, model: &mut Model) {
        let reader = self.ports.reader;
        if reader.names.picked_too_many() {
            return;
        }
        for id in model.props.ids() {
            let prop = &model.props[id];
            // A prop that an unresolved reference may mean is wired there, so it is not placed.
            let doubtful = self.doubtful.contains(&id);
            model.gaps.anywhere |= prop.broken && !doubtful;
            if prop.broken || doubtful || reader.names.is_mentioned(&prop.name) {
                continue;
            }
            let (at, stock) = (prop.at, prop.stock);
            let members = prop.members_count();
            for member in 1..=members {
                self.groups += 1;
                for id in model.props[id].strings_of(member).map(StringId) {
                    if self.wired[id].is_some() || stock && model.is_up(id) {
                        continue;
                    }
                    let pieces = [Piece { at, kind: PieceKind::String(id, None) }];
                    push_line(model, at, Target::Any, &pieces, self.groups);
                    if let Some(line) = model.lines.last_mut() {
                        line.unasked = !model.gaps.all;
                    }
                }
            }
        }
    }
}

/// Which pieces of an item stay on one data line.
enum Together {
    /// A skip or lead, which stays with the pieces beside it.
    Cable,
    /// Strings of a reference, with the places where a further string of the same member begins.
    Strings(Vec<usize>),
    /// Chains of this many strings.
    By(usize),
}

impl Together {
    /// Where a new line begins among the pieces. `alone`: the reference is the only item of its
    /// chain, so that each string is a line.
    fn starts(&self, pieces: &[Piece], alone: bool) -> Vec<usize> {
        match self {
            Self::Cable => Vec::new(),
            Self::By(by) => (0..pieces.len()).step_by((*by).max(1)).collect(),
            Self::Strings(_) if alone => (0..pieces.len()).collect(),
            Self::Strings(cuts) if cuts.is_empty() => vec![0],
            Self::Strings(cuts) => std::iter::once(0).chain(cuts.iter().copied()).collect(),
        }
    }
}

/// `wire fox: shed.2`: a prop before the `:` and a port after it.
fn swapped(reader: &Reader<'_, '_>, wire: &Wire) -> Option<Diagnostic> {
    let [chain] = wire.chains.as_slice() else {
        return None;
    };
    let [Item::Reference(item, None, None)] = chain.items.as_slice() else {
        return None;
    };
    let names = reader.names;
    let target = names.key(wire.target.name);
    let feeds = |key: &str| {
        let mut boxes = [&names.controllers, &names.receivers].into_iter();
        boxes.find(|table| table.get(key).is_some()).map(|table| table.kind.word())
    };
    if names.props.get(&target).is_none() || feeds(&target).is_some() {
        return None;
    }
    let kind = feeds(&names.key(item.name)).filter(|_| {
        // A prop of that name may be meant as well.
        names.props.get(&names.key(item.name)).is_none()
    })?;
    let (port, prop) = (names.text_at(item.span), names.text_at(wire.target.span));
    Some(rules::name::unknown::swapped(
        wire.target.span,
        &target,
        item.span,
        kind,
        &format!("wire {port}: {prop}"),
    ))
}

fn push_line(model: &mut Model, at: Span, target: Target, pieces: &[Piece], group: u32) {
    let start = count(model.pieces.len() as i64);
    model.pieces.extend_from_slice(pieces);
    model.lines.push(Line {
        at,
        target,
        pieces: start..count(model.pieces.len() as i64),
        group,
        unasked: false,
        again: false,
    });
}

/// Reports chains without a reference. On `one` port all of them count as one chain.
fn tell_empty(wire: &Wire, one: bool, sink: &mut Sink) {
    let is_empty =
        |chain: &Chain| !(chain.items.iter()).any(|item| matches!(item, Item::Reference(..)));
    if one && !wire.chains.iter().all(is_empty) {
        return;
    }
    for chain in wire.chains.iter().filter(|chain| is_empty(chain)) {
        if let (Some(first), Some(last)) = (chain.items.first(), chain.items.last()) {
            let at = first.span().to(last.span());
            sink.push(rules::name::unused::empty_chain(at));
        }
    }
}
