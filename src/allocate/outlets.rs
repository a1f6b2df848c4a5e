//! All outputs that a line may be given, how full each is, and whether a line fits.

use super::chains::Seat;
use super::fuse;
use super::makes::{Hangs, Make, Named};
use super::needs::{Kind, Need, Reason, State, Way};
use crate::keyed::Keyed;
use crate::limits::{Load, NodeTime, PortLimit, fed_apart, reserved_slots};
use crate::model::{
    Addressing, Controller, ControllerId, Model, Output, PieceKind, PortSettings, ReceiverId,
    StringId, Target,
};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::Arc;

/// What ports of one controller share if they take the same lines whenever the same hangs on them.
pub(super) type Look = (ControllerId, Option<ReceiverId>, usize, bool);

/// An output.
#[derive(Debug, Clone)]
pub(super) struct OutletRoom {
    /// Its controller.
    pub controller: ControllerId,
    /// Which output of it.
    pub output: Output,
    /// What it drives.
    pub kind: Kind,
    state: State,
    /// The first receiver that its port comes out of.
    pub receiver: Option<ReceiverId>,
    /// Receivers in use on it.
    pub receivers: Vec<ReceiverId>,
    load: Load,
    /// What its nodes draw at full white where that is known, in microamperes.
    draw: u64,
    /// Slots of a DMX output that are reserved.
    reserved_slots: u64,
    reserved: bool,
    /// Whether nothing may follow what is there.
    closed: bool,
    /// Whether a string there is stored: only a line that hung there before may follow it.
    stored: bool,
    /// Whether a string that lay there before would move if something joined it.
    pub kept: bool,
    /// Which make of node hangs on it.
    hangs: Hangs,
    /// Whether `any` may use it.
    any: bool,
}

/// All outputs: by controller, pixel ports first, by number.
pub(super) struct Outlets<'a> {
    /// The display.
    pub model: &'a Model,
    /// Each output.
    pub rows: Vec<OutletRoom>,
    pub spans: Vec<Range<usize>>,
    apart: Keyed<StringId, bool>,
    injected: Vec<bool>,
    /// Whether only lines are asked about that hung on the same output before.
    pub staying: bool,
}

impl<'a> Outlets<'a> {
    /// All outputs of a display, with the lines that have a seat hung on them.
    pub fn new(model: &'a Model, seats: &[Option<Seat>]) -> Self {
        let named = Named::of(model);
        let reserved: BTreeSet<(ControllerId, Output)> = model
            .reserved_outputs
            .iter()
            .filter(|row| row.slots.is_none())
            .map(|row| (row.controller, row.output))
            .collect();
        let mut carriers: BTreeMap<ControllerId, Vec<(ReceiverId, u32, u32)>> = BTreeMap::new();
        for (index, receiver) in model.receivers.iter().enumerate() {
            let id = ReceiverId::from(index);
            if !receiver.stock || named.receivers.contains(&id) {
                let row = (id, receiver.first, receiver.last);
                carriers.entry(receiver.controller).or_default().push(row);
            }
        }
        let outputs = |one: &Controller| one.ports.len() + one.dmx.len();
        let mut outlets = Self {
            model,
            rows: Vec::with_capacity(model.controllers.iter().map(outputs).sum()),
            spans: Vec::with_capacity(model.controllers.len()),
            apart: fed_apart(model),
            injected: fuse::injected(model),
            staying: false,
        };
        for (index, controller) in model.controllers.iter().enumerate() {
            let id = ControllerId::from(index);
            let carriers = carriers.get(&id).map_or(&[][..], Vec::as_slice);
            let from = outlets.rows.len();
            let ports = controller.ports.iter().map(|port| Output::Pixel(port.number));
            let dmx = controller.dmx.iter().map(|dmx| Output::Dmx(dmx.value));
            for output in ports.chain(dmx) {
                let carrier = match output {
                    Output::Pixel(port) => {
                        carriers.iter().find(|(_, first, last)| (*first..=*last).contains(&port))
                    }
                    Output::Dmx(_) => None,
                };
                outlets.rows.push(OutletRoom {
                    controller: id,
                    output,
                    kind: kind(model, id, output, carrier.map(|c| c.0)),
                    state: State::Free,
                    receiver: carrier.map(|carrier| carrier.0),
                    receivers: Vec::new(),
                    load: Load::default(),
                    draw: 0,
                    reserved_slots: 0,
                    reserved: reserved.contains(&(id, output)),
                    closed: false,
                    stored: false,
                    kept: false,
                    hangs: Hangs::Nothing,
                    any: !controller.stock || named.controllers.contains(&id),
                });
            }
            outlets.spans.push(from..outlets.rows.len());
        }
        outlets.reserve_slots();
        outlets.hang(seats);
        outlets
    }

    fn reserve_slots(&mut self) {
        for ((controller, output), slots) in reserved_slots(self.model) {
            let at = self.find(controller, output);
            if let Some(outlet) = at.and_then(|at| self.rows.get_mut(at)) {
                outlet.reserved_slots = slots;
            }
        }
    }

    fn hang(&mut self, seats: &[Option<Seat>]) {
        let model = self.model;
        let injected = std::mem::take(&mut self.injected);
        for (line, seat) in model.lines.iter().zip(seats) {
            let Some(seat) = seat else {
                continue;
            };
            let at = self.find(seat.controller, seat.output);
            let Some(outlet) = at.and_then(|at| self.rows.get_mut(at)) else {
                continue;
            };
            outlet.hang(model, &injected, &line.pieces, seat.receiver);
            // An open line keeps its output: where strings have their own starts, more may join it.
            let kept =
                matches!(line.target, Target::Controller(_) | Target::Receiver(_) | Target::Any);
            let addressing = model.controller(seat.controller).map(|c| c.addressing);
            let unbroken =
                addressing != Some(Addressing::PerProp) && matches!(seat.output, Output::Pixel(_));
            outlet.state = match outlet.state {
                State::Free | State::Picked if kept && !unbroken => State::Picked,
                State::Free | State::Picked | State::Wired => State::Wired,
            };
        }
        self.injected = injected;
    }

    /// Whether something that lies on an output would move if a line joined it.
    pub fn is_kept(&self, at: usize) -> bool {
        self.rows.get(at).is_some_and(|row| row.kept)
    }

    /// The index of an output among the rows.
    pub fn find(&self, controller: ControllerId, output: Output) -> Option<usize> {
        let span = self.spans.get(controller.index())?.clone();
        let rows = self.rows.get(span.clone())?;
        let at = rows.binary_search_by_key(&output, |row| row.output).ok()?;
        Some(span.start + at)
    }

    /// Whether several lines fit on an output together.
    pub fn fit_together(&mut self, at: usize, needs: &[&Need]) -> bool {
        let Some(before) = self.rows.get(at).cloned() else {
            return false;
        };
        let fit =
            needs.iter().all(|need| self.fits(at, need).is_ok() && self.take(at, need).is_some());
        if let Some(row) = self.rows.get_mut(at) {
            *row = before;
        }
        fit
    }

    /// The rows to look at for a target: those of its controller, or all.
    pub fn scope(&self, target: Target) -> Range<usize> {
        let controller = match target {
            Target::Controller(id) => id,
            Target::Receiver(id) => match self.model.receivers.as_slice().get(id.index()) {
                Some(receiver) => receiver.controller,
                None => return 0..0,
            },
            Target::Any | Target::Port(..) | Target::Dmx(..) => return 0..self.rows.len(),
        };
        self.spans.get(controller.index()).cloned().unwrap_or(0..0)
    }

    /// Whether an output is of a kind and in a state.
    pub fn is(&self, at: usize, way: Way) -> bool {
        self.rows.get(at).is_some_and(|row| (row.kind, row.state) == way)
    }

    /// Whether an output is of the kind asked for: for fixtures, or for pixels.
    pub fn is_for(&self, at: usize, fixtures: bool) -> bool {
        self.rows.get(at).is_some_and(|row| (row.kind != Kind::Pixel) == fixtures)
    }

    /// Slots that an output for fixtures has left.
    pub fn slots_left(&self, at: usize) -> u64 {
        let Some(outlet) = self.rows.get(at).filter(|row| !row.reserved && row.any) else {
            return 0;
        };
        let most = match (outlet.kind, outlet.output) {
            (Kind::Dmx, _) => self.model.display.universe_slots.each(),
            (Kind::Slots, Output::Pixel(port)) => {
                let receivers = outlet.receivers.iter().copied().chain(outlet.receiver);
                match PortLimit::of(self.model, outlet.controller, port, receivers) {
                    PortLimit::Slots(most) => u64::from(most.value),
                    PortLimit::Nodes(_) | PortLimit::Time => 0,
                }
            }
            (Kind::Slots | Kind::Pixel, _) => 0,
        };
        most.saturating_sub(outlet.load.slots + outlet.reserved_slots)
    }

    /// Whether a line fits on an output.
    pub fn fits(&self, at: usize, need: &Need) -> Result<(), Reason> {
        let outlet = self.rows.get(at).ok_or(Reason::Elsewhere)?;
        let receiver = self.seat(outlet, need).ok_or(Reason::Elsewhere)?;
        if outlet.reserved {
            return Err(Reason::Reserved);
        }
        if outlet.kind == Kind::Dmx {
            return self.fits_dmx(outlet, need);
        }
        let controller = self.model.controller(outlet.controller).ok_or(Reason::Elsewhere)?;
        let per_prop = controller.addressing == Addressing::PerProp;
        let closed = outlet.closed || outlet.stored && !self.staying;
        if outlet.state != State::Free && !per_prop && (closed || need.head || need.alone) {
            return Err(Reason::Taken);
        }
        let Output::Pixel(port) = outlet.output else {
            return Err(Reason::Elsewhere);
        };
        let settings = self.model.port_settings(outlet.controller, port, receiver);
        let settings = settings.ok_or(Reason::Elsewhere)?;
        let mut load = outlet.load;
        for piece in pieces(self.model, &need.pieces) {
            load.add(self.model, piece);
            if let PieceKind::String(id, _) = piece {
                self.accepts(&settings, id)?;
                match outlet.hangs {
                    _ if self.model.string(id).is_some_and(|string| string.stored) => {}
                    Hangs::One(make) if Make::of(self.model, id) == Some(make) => {}
                    Hangs::Nothing => {}
                    Hangs::One(_) | Hangs::Unlike => return Err(Reason::Unlike),
                }
            }
        }
        let receivers = outlet.receivers.iter().copied().chain(receiver);
        let limit = PortLimit::of(self.model, outlet.controller, port, receivers);
        room(self.model, limit, &load)?;
        let own = drawn(self.model, &self.injected, &need.pieces);
        let draw = outlet.draw.saturating_add(own);
        match fuse::most(self.model, outlet.controller, &settings) {
            Some(most) if own > 0 && draw > most && !need.unfed => Err(Reason::Fuse(draw - most)),
            Some(_) | None => Ok(()),
        }
    }

    /// Marks the lines that every fuse of the ports they may use is too small for, even alone.
    pub fn mark_unfed(&self, lines: &mut [(usize, Need)]) {
        let own = self.model.controllers.iter().map(|one| &one.ports);
        let mut ports = own.chain(self.model.receivers.iter().map(|one| &one.ports)).flatten();
        if ports.all(|port| port.settings.fuse.is_none()) {
            return;
        }
        // Of free outputs that are alike, only one is tried.
        let mut seen = BTreeSet::new();
        let mut apart: Vec<usize> = (0..self.rows.len()).collect();
        apart.retain(|at| {
            let free = self.state(*at) == Some(State::Free);
            self.look(*at).filter(|_| free).is_none_or(|look| seen.insert(look))
        });
        for (_, need) in lines {
            let own = drawn(self.model, &self.injected, &need.pieces);
            if own == 0 {
                continue;
            }
            let mut too_small = false;
            let feeds = |at: &usize| match self.fits(*at, need) {
                Ok(()) => true,
                Err(Reason::Fuse(over)) => {
                    too_small = true;
                    let taken = self.rows.get(*at).map_or(0, |row| row.draw);
                    over <= taken
                }
                Err(_) => false,
            };
            let scope = self.scope(need.target);
            let fed = apart.iter().filter(|at| scope.contains(*at)).any(feeds);
            need.unfed = too_small && !fed;
        }
    }

    fn fits_dmx(&self, outlet: &OutletRoom, need: &Need) -> Result<(), Reason> {
        let mut load = outlet.load;
        for piece in pieces(self.model, &need.pieces) {
            load.add(self.model, piece);
        }
        let taken = load.slots + outlet.reserved_slots;
        match taken.checked_sub(self.model.display.universe_slots.each()) {
            Some(over) if over > 0 => Err(Reason::Slots(over)),
            Some(_) | None => Ok(()),
        }
    }

    fn accepts(&self, settings: &PortSettings, id: StringId) -> Result<(), Reason> {
        let stored = self.model.string(id).is_some_and(|string| string.stored);
        let Some(node) = self.model.node_of(id).filter(|_| !stored) else {
            return Ok(());
        };
        if let Some(chip) = node.chip
            && !settings.chips.is_empty()
            && settings.chips.iter().all(|driven| driven.value != chip.value)
        {
            return Err(Reason::Chip(chip.value));
        }
        let apart = self.fed_apart(id);
        if let (Some(port), Some(volts)) = (settings.volts, node.volts)
            && !apart
            && port.value != volts.value
        {
            return Err(Reason::Volts(volts.value));
        }
        Ok(())
    }

    /// `seats` with `lines` put on `outputs`, one output for each line.
    pub fn seated(
        &self,
        mut seats: Vec<Option<Seat>>,
        lines: &[(usize, Need)],
        outputs: &[usize],
    ) -> Vec<Option<Seat>> {
        for ((index, need), at) in lines.iter().zip(outputs) {
            if let (Some(outlet), Some(seat)) = (self.rows.get(*at), seats.get_mut(*index)) {
                let (controller, output) = (outlet.controller, outlet.output);
                let receiver = self.seat(outlet, need);
                *seat = receiver.map(|receiver| Seat { controller, output, receiver });
            }
        }
        seats
    }

    /// The receiver where a line would come out; `None` where the target does not allow the output.
    pub fn seat(&self, outlet: &OutletRoom, need: &Need) -> Option<Option<ReceiverId>> {
        let last = outlet.receivers.iter().max().copied();
        match need.target {
            Target::Any => outlet.any.then_some(last.or(outlet.receiver)),
            Target::Receiver(id) => {
                let receiver = self.model.receivers.as_slice().get(id.index())?;
                let Output::Pixel(port) = outlet.output else {
                    return None;
                };
                let own = outlet.controller == receiver.controller
                    && (receiver.first..=receiver.last).contains(&port);
                own.then_some(Some(id))
            }
            Target::Controller(id) if id != outlet.controller => None,
            Target::Controller(_) | Target::Port(..) | Target::Dmx(..) => {
                Some(last.or(outlet.receiver))
            }
        }
    }

    /// How many DMX outputs of a controller have something on them.
    pub fn dmx_in_use(&self, controller: ControllerId) -> u64 {
        let rows = self.scope(Target::Controller(controller));
        let rows = self.rows.get(rows).unwrap_or(&[]).iter();
        rows.filter(|row| row.kind == Kind::Dmx && row.state != State::Free).count() as u64
    }

    /// What is on an output.
    pub fn state(&self, at: usize) -> Option<State> {
        self.rows.get(at).map(|row| row.state)
    }

    /// Nodes and slots that hang on an output.
    pub fn taken(&self, at: usize) -> (u64, u64) {
        self.rows.get(at).map_or((0, 0), |row| (row.load.length(), row.load.slots))
    }

    /// Whether a string is fed apart from its port.
    pub fn fed_apart(&self, id: StringId) -> bool {
        self.apart[id]
    }

    /// The load of a line.
    pub fn load(model: &Model, need: &Need) -> Load {
        let mut load = Load::default();
        for piece in pieces(model, &need.pieces) {
            load.add(model, piece);
        }
        load
    }

    /// What one node of a line draws at most, in microamperes; 0 where that is not known.
    pub fn draw(&self, need: &Need) -> u64 {
        let strings = pieces(self.model, &need.pieces).filter_map(|piece| match piece {
            PieceKind::String(id, _) => Some(fuse::draw(self.model, &self.injected, id)),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
        strings.max().unwrap_or(0)
    }

    /// What a line draws at full white where that is known, in microamperes.
    pub fn drawn(&self, need: &Need) -> u64 {
        drawn(self.model, &self.injected, &need.pieces)
    }

    /// What hangs on an output.
    pub fn hangs(&self, at: usize) -> Hangs {
        self.rows.get(at).map_or(Hangs::Nothing, |row| row.hangs)
    }

    /// What decides what else an output takes, among ports of one look.
    pub fn filled(&self, at: usize) -> Option<impl PartialEq> {
        let row = self.rows.get(at)?;
        Some((row.state, &row.receivers, row.load, row.draw, (row.closed, row.stored), row.hangs))
    }

    /// The look of a port; `None` where it cannot be compared with others.
    pub fn look(&self, at: usize) -> Option<Look> {
        let row = self.rows.get(at)?;
        let Output::Pixel(number) = row.output else {
            return None;
        };
        // Ports of several receivers, and of a receiver with settings by port, are not compared.
        let mut receivers = self.model.receivers_of(row.controller, number);
        let own = receivers.next().map(|(id, ..)| id);
        let by_port = own.and_then(|id| self.model.receivers.as_slice().get(id.index()));
        if receivers.next().is_some() || by_port.is_some_and(|one| !one.ports.is_empty()) {
            return None;
        }
        let settings = &self.model.controller(row.controller)?.port(number)?.settings;
        let settings = Arc::as_ptr(settings).addr();
        Some((row.controller, row.receiver, settings, row.reserved))
    }

    /// How many more nodes like those of a line fit on a pixel port, and the current that its fuse
    /// still feeds, in microamperes. `None` where the line may not hang there at all.
    pub fn room(&self, at: usize, need: &Need) -> Option<(u64, u64)> {
        let outlet = self.rows.get(at).filter(|row| row.kind == Kind::Pixel)?;
        match self.fits(at, need) {
            Ok(()) | Err(Reason::Nodes(_) | Reason::Time(_) | Reason::Fuse(_)) => {}
            Err(_) => return None,
        }
        let receiver = self.seat(outlet, need)?;
        let Output::Pixel(port) = outlet.output else {
            return None;
        };
        let receivers = outlet.receivers.iter().copied().chain(receiver);
        let nodes = match PortLimit::of(self.model, outlet.controller, port, receivers) {
            PortLimit::Nodes(most) => u64::from(most.value).saturating_sub(outlet.load.length()),
            PortLimit::Time => u64::from(u32::MAX),
            PortLimit::Slots(_) => return None,
        };
        let time = NodeTime::of(self.model, need.first.0);
        let time = time.and_then(|time| outlet.load.room(self.model, time));
        let settings = self.model.port_settings(outlet.controller, port, receiver)?;
        let most = fuse::most(self.model, outlet.controller, &settings);
        let most = most.filter(|_| !need.unfed);
        let current = most.map_or(u64::MAX, |most| most.saturating_sub(outlet.draw));
        Some((time.map_or(nodes, |time| time.min(nodes)), current))
    }

    /// How many nodes like those of a line an output still takes; 0 where it takes none.
    pub fn nodes_left(&self, at: usize, need: &Need) -> u64 {
        let Some((nodes, current)) = self.room(at, need) else {
            return 0;
        };
        let fed = match current {
            u64::MAX => None,
            current => current.checked_div(self.draw(need)),
        };
        fed.map_or(nodes, |fed| fed.min(nodes))
    }

    /// How many more nodes the fuse of a port feeds; `None` where that is not known.
    pub fn fed(
        &self,
        outlet: &OutletRoom,
        port: u32,
        receiver: Option<ReceiverId>,
        draw: u64,
    ) -> Option<u64> {
        let settings = self.model.port_settings(outlet.controller, port, receiver)?;
        let most = fuse::most(self.model, outlet.controller, &settings)?;
        most.saturating_sub(outlet.draw).checked_div(draw)
    }

    /// Hangs a line on an output.
    pub fn take(&mut self, at: usize, need: &Need) -> Option<Seat> {
        let receiver = self.seat(self.rows.get(at)?, need)?;
        let outlet = self.rows.get_mut(at)?;
        outlet.hang(self.model, &self.injected, &need.pieces, receiver);
        if outlet.state == State::Free {
            outlet.state = State::Picked;
        }
        Some(Seat { controller: outlet.controller, output: outlet.output, receiver })
    }
}

impl OutletRoom {
    fn hang(
        &mut self,
        model: &Model,
        injected: &[bool],
        stretch: &Range<u32>,
        receiver: Option<ReceiverId>,
    ) {
        self.draw = self.draw.saturating_add(drawn(model, injected, stretch));
        for piece in pieces(model, stretch) {
            self.load.add(model, piece);
            if let PieceKind::String(id, _) = piece
                && let Some(string) = model.string(id)
            {
                if let Some(make) = Make::of(model, id).filter(|_| !string.stored) {
                    self.hangs = match self.hangs {
                        Hangs::Nothing => Hangs::One(make),
                        Hangs::One(one) if one == make => Hangs::One(one),
                        Hangs::One(_) | Hangs::Unlike => Hangs::Unlike,
                    };
                }
                // What follows a string that shows another's data would lie wrong.
                self.closed |= string.same_as.is_some();
                self.stored |= string.stored;
            }
        }
        if let Some(id) = receiver.filter(|id| !self.receivers.contains(id)) {
            self.receivers.push(id);
        }
    }
}

fn kind(model: &Model, id: ControllerId, output: Output, receiver: Option<ReceiverId>) -> Kind {
    let Output::Pixel(port) = output else {
        return Kind::Dmx;
    };
    match PortLimit::of(model, id, port, receiver.into_iter()) {
        PortLimit::Slots(_) => Kind::Slots,
        PortLimit::Nodes(_) | PortLimit::Time => Kind::Pixel,
    }
}

pub(super) fn pieces(model: &Model, stretch: &Range<u32>) -> impl Iterator<Item = PieceKind> {
    let pieces = model.pieces.get(stretch.start as usize..stretch.end as usize);
    pieces.unwrap_or(&[]).iter().map(|piece| piece.kind)
}

/// What a line's nodes draw at full white where that is known, in microamperes.
fn drawn(model: &Model, injected: &[bool], stretch: &Range<u32>) -> u64 {
    let strings = pieces(model, stretch).map(|piece| match piece {
        PieceKind::String(id, _) => {
            let nodes = model.shape_of(id).map_or(0, |shape| shape.nodes);
            fuse::draw(model, injected, id).saturating_mul(u64::from(nodes))
        }
        PieceKind::Skip(_) | PieceKind::Lead(..) => 0,
    });
    strings.fold(0, u64::saturating_add)
}

fn room(model: &Model, limit: PortLimit, load: &Load) -> Result<(), Reason> {
    let over = |length: u64, most: u32| length.saturating_sub(u64::from(most));
    match limit {
        PortLimit::Slots(most) => {
            return match over(load.slots, most.value) {
                0 => Ok(()),
                over => Err(Reason::Slots(over)),
            };
        }
        PortLimit::Nodes(most) if over(load.length(), most.value) > 0 => {
            return Err(Reason::Nodes(over(load.length(), most.value)));
        }
        PortLimit::Nodes(_) | PortLimit::Time => {}
    }
    if load.in_time(model) {
        return Ok(());
    }
    let fits = load.frame_nodes(model).unwrap_or(0);
    Err(Reason::Time(load.length().saturating_sub(fits).max(1)))
}
